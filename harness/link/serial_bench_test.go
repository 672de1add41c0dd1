//go:build linux || darwin

package link_test

import (
	"os"
	"testing"
	"time"

	"bufferstop/harness/link"

	"github.com/creack/pty"
	"github.com/stretchr/testify/require"
	"go.bug.st/serial"
)

// The two benchmarks ask the same question over a pseudo-terminal, one through the library alone and one through the link.

func BenchmarkSerialRoundTripOfTheLibrary(b *testing.B) {
	port, err := serial.Open(echo(b), &serial.Mode{BaudRate: 115200})
	require.NoError(b, err)
	defer port.Close()
	roundTrips(b, port.Write, port.Read)
}

func BenchmarkSerialRoundTripOfTheLink(b *testing.B) {
	near, err := link.OpenSerial(link.SerialConfig{Device: echo(b)})
	require.NoError(b, err)
	defer near.Close()
	roundTrips(b, func(p []byte) (int, error) { return near.Write(b.Context(), p, time.Second) },
		func(p []byte) (int, error) { return near.Read(b.Context(), p, time.Second) })
}

// echo returns the device of a pseudo-terminal whose far end says what it hears.
func echo(b *testing.B) string {
	far, tty, err := pty.Open()
	require.NoError(b, err)
	done := make(chan struct{})
	go func(far *os.File) {
		defer close(done)
		p := make([]byte, 64)
		for {
			n, err := far.Read(p)
			if err != nil {
				return
			}
			_, _ = far.Write(p[:n])
		}
	}(far)
	b.Cleanup(func() {
		_ = tty.Close() // the last near end gone, the far end's read fails
		<-done
		_ = far.Close()
	})
	return tty.Name()
}

func roundTrips(b *testing.B, write, read func([]byte) (int, error)) {
	question, answer := []byte("read 29\n"), make([]byte, 64)
	for b.Loop() {
		_, err := write(question)
		require.NoError(b, err)
		for got := 0; got < len(question); {
			n, err := read(answer)
			require.NoError(b, err)
			got += n
		}
	}
}
