//go:build linux

package link_test

import (
	"fmt"
	"io"
	"os"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"
	"unsafe"

	"bufferstop/harness/link"
	"bufferstop/harness/link/linktest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/term"
)

// The server of these tests is not ours: Debian's ser2net, with a pseudo-terminal as its serial port. A pseudo-terminal has
// no control lines, keeps a baud rate without using it, and drops parity (the kernel's pty_set_termios).

// behindSer2net returns the far end of a pseudo-terminal and where its near end is served.
func behindSer2net(t *testing.T) (far *os.File, config link.RFC2217Config) {
	t.Helper()
	far, device := terminal(t)
	// Raw from the start, as a serial port is: what comes before ser2net has set it would be echoed and changed.
	tty, err := os.OpenFile(device, os.O_RDWR|syscall.O_NOCTTY, 0)
	require.NoError(t, err)
	defer tty.Close()
	_, err = term.MakeRaw(int(tty.Fd()))
	require.NoError(t, err)
	return far, link.RFC2217Config{Address: linktest.Ser2net(t, device), AgreeLimit: time.Minute}
}

func throughSer2net(t *testing.T, line link.SerialConfig) (near link.Link, far *os.File) {
	t.Helper()
	far, config := behindSer2net(t)
	config.Line = line
	near, err := link.DialRFC2217(t.Context(), config)
	require.NoError(t, err)
	t.Cleanup(func() { _ = near.Close() })
	return near, far
}

func TestSer2netKeepsTheRulesOfLink(t *testing.T) {
	checkWall(t, func(t *testing.T) (link.Link, io.ReadWriteCloser) {
		if strings.HasSuffix(t.Name(), "/peer_that_goes_during_a_blocked_write_is_ErrClosed") {
			t.Skip("ser2net 4.3 does not see that its device has gone while it has something to write to it: it keeps the " +
				"connection and spins; our own server stands in, in TestRFC2217KeepsTheRulesOfLink")
		}
		return throughSer2net(t, link.SerialConfig{})
	})
}

func TestSer2netCarriesEveryByteBothWays(t *testing.T) {
	near, far := throughSer2net(t, link.SerialConfig{})
	all := pattern(1024) // each byte four times, and in different company
	all = append(all, 255, 255, 255, 13, 0, 13, 10, 255, 240, 255, 250, 44)
	for range 3 {
		write(t, near, string(all))
		got := make([]byte, len(all))
		_, err := io.ReadFull(far, got)
		require.NoError(t, err)
		require.Equal(t, all, got)
		_, err = far.Write(all)
		require.NoError(t, err)
		require.Equal(t, string(all), readAll(t, near, len(all)))
	}
}

func TestSer2netSetsTheLine(t *testing.T) {
	for _, c := range []struct {
		line     link.SerialConfig
		rate     uint32
		stopBits uint32
	}{
		{link.SerialConfig{}, syscall.B115200, 0},
		{link.SerialConfig{Baud: 9600, Parity: link.ParityEven}, syscall.B9600, 0},
		{link.SerialConfig{Baud: 57600, Parity: link.ParityOdd, StopBits: 2}, syscall.B57600, syscall.CSTOPB},
		{link.SerialConfig{Baud: 300, Parity: link.ParityNone, StopBits: 1}, syscall.B300, 0},
	} {
		t.Run(fmt.Sprintf("%d %s %d", c.line.Baud, c.line.Parity, c.line.StopBits), func(t *testing.T) {
			_, far := throughSer2net(t, c.line)
			flags := controlFlags(t, far)
			assert.Equal(t, c.rate, flags&baudMask)
			assert.Equal(t, c.stopBits, flags&syscall.CSTOPB)
			assert.Equal(t, uint32(syscall.CS8), flags&syscall.CSIZE)
		})
	}
}

// baudMask are the bits of c_cflag that hold the baud rate (CBAUD of Linux's asm-generic/termbits.h).
const baudMask = 0o010017

// controlFlags reads c_cflag of a pseudo-terminal at its far end, which has the settings of the near one.
func controlFlags(t *testing.T, far *os.File) uint32 {
	t.Helper()
	raw, err := far.SyscallConn()
	require.NoError(t, err)
	var settings syscall.Termios
	var failed syscall.Errno
	require.NoError(t, raw.Control(func(fd uintptr) {
		_, _, failed = syscall.Syscall(syscall.SYS_IOCTL, fd, syscall.TCGETS, uintptr(unsafe.Pointer(&settings)))
	}))
	require.Zero(t, failed)
	return settings.Cflag
}

func TestSer2netDoesNotConfirmControlLinesThatItsPortDoesNotHave(t *testing.T) {
	_, config := behindSer2net(t)
	for name, line := range map[string]link.SerialConfig{"dtr=on": {DTR: link.LineAssert}, "rts=off": {RTS: link.LineRelease}} {
		config.Line, config.AgreeLimit = line, 500*time.Millisecond
		_, err := link.DialRFC2217(t.Context(), config)
		require.ErrorIs(t, err, link.ErrTimeout)
		require.ErrorContains(t, err, "did not confirm "+name)
		require.ErrorContains(t, err, "a port without control lines wants "+name[:3]+"=hold")
	}
}

func TestSer2netCanBeOpenedAgainAtOnce(t *testing.T) {
	far, config := behindSer2net(t)
	times := 100
	if testing.Short() {
		times = 20
	}
	for i := range times {
		near, err := link.DialRFC2217(t.Context(), config)
		require.NoError(t, err, "opening %d", i)
		write(t, near, "ask")
		p := make([]byte, 3)
		_, err = io.ReadFull(far, p)
		require.NoError(t, err)
		_, err = far.Write([]byte("tell"))
		require.NoError(t, err)
		require.Equal(t, "tell", readAll(t, near, 4))
		require.NoError(t, near.Close())
	}
}

func TestSer2netThatIsTakenSaysSo(t *testing.T) {
	_, config := behindSer2net(t)
	near, err := link.DialRFC2217(t.Context(), config)
	require.NoError(t, err)
	defer near.Close()
	_, err = link.DialRFC2217(t.Context(), config)
	require.ErrorIs(t, err, link.ErrClosed)
	require.ErrorContains(t, err, "in use")
}

func TestSer2netLetsAStationStart(t *testing.T) {
	far, config := behindSer2net(t)
	config.Line = link.SerialConfig{Await: regexp.MustCompile(`version 3 ready\r\n`), AwaitLimit: slow}
	open := make(chan struct{})
	stopped := make(chan struct{})
	go func() { // a board that says so again and again, because nothing shows when the server has opened its port
		defer close(stopped)
		for {
			_, _ = far.Write([]byte("version 3 ready\r\n"))
			select {
			case <-open:
				return
			case <-time.After(5 * time.Millisecond):
			}
		}
	}()
	near, err := link.DialRFC2217(t.Context(), config)
	close(open)
	<-stopped
	require.NoError(t, err)
	defer near.Close()
	_, err = far.Write([]byte("first!"))
	require.NoError(t, err)
	got := ""
	for !strings.HasSuffix(got, "!") {
		got += readAll(t, near, 1)
	}
	assert.Regexp(t, `^(version 3 ready\r\n)*first!$`, got, "whole lines, as what was awaited ended with one")
}
