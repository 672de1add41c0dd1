//go:build linux || darwin

package link_test

import (
	"os"
	"slices"
	"testing"
	"time"

	"bufferstop/harness/link"

	"github.com/creack/pty"
	"github.com/stretchr/testify/require"
	"go.bug.st/serial"
	"golang.org/x/sys/unix"
)

// What the link may cost: its round trip against that of the library alone, at the median. Below so many pairs of round
// trips a median says nothing.
const (
	mostOverhead = 1.2
	fewestPairs  = 1000
)

// BenchmarkSerialOverhead asks the same question over the same pseudo-terminal, in turn through the library alone and
// through the link, so that whatever else the machine does falls on both.
func BenchmarkSerialOverhead(b *testing.B) {
	tty := echo(b)
	near, err := link.OpenSerial(link.SerialConfig{Device: tty.Name()})
	require.NoError(b, err)
	defer near.Close()
	require.NoError(b, unix.IoctlSetInt(int(tty.Fd()), unix.TIOCNXCL, 0)) // or only root could open it once more
	port, err := serial.Open(tty.Name(), &serial.Mode{BaudRate: 115200})
	require.NoError(b, err)
	defer port.Close()
	require.NoError(b, port.SetReadTimeout(time.Second))

	ctx := b.Context()
	alone := func() time.Duration { return roundTrip(b, port.Write, port.Read) }
	linked := func() time.Duration {
		return roundTrip(b, func(p []byte) (int, error) { return near.Write(ctx, p, time.Second) },
			func(p []byte) (int, error) { return near.Read(ctx, p, time.Second) })
	}
	var raw, ours []time.Duration
	for n := 0; b.Loop(); n++ {
		if n%2 == 0 { // neither is always the one that comes after the other
			raw, ours = append(raw, alone()), append(ours, linked())
		} else {
			ours, raw = append(ours, linked()), append(raw, alone())
		}
	}
	ratio := float64(median(ours)) / float64(median(raw))
	b.ReportMetric(float64(median(raw)), "library-ns")
	b.ReportMetric(float64(median(ours)), "link-ns")
	b.ReportMetric(ratio, "ratio")
	if len(raw) >= fewestPairs && ratio > mostOverhead {
		b.Errorf("the link takes %.2f times as long as the library alone, want at most %.1f", ratio, mostOverhead)
	}
}

func median(all []time.Duration) time.Duration {
	slices.Sort(all)
	return all[len(all)/2]
}

// roundTrip asks a question and reads as many bytes of answer.
func roundTrip(b *testing.B, write, read func([]byte) (int, error)) time.Duration {
	question, answer := [8]byte([]byte("read 29\n")), [64]byte{}
	start := time.Now()
	if _, err := write(question[:]); err != nil {
		b.Fatal(err)
	}
	for got := 0; got < len(question); {
		n, err := read(answer[:])
		if err != nil || n == 0 {
			b.Fatal(n, err)
		}
		got += n
	}
	return time.Since(start)
}

// echo returns the near end of a pseudo-terminal whose far end says what it hears.
func echo(b *testing.B) *os.File {
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
	return tty
}
