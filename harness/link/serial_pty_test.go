//go:build linux || darwin

package link_test

import (
	"context"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"syscall"
	"testing"
	"time"

	"bufferstop/harness/link"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// terminal returns a pseudo-terminal: its far end, and the name of the device at its near end.
func terminal(t *testing.T) (far *os.File, device string) {
	t.Helper()
	noLeak(t)
	blocking, tty, err := pty.Open()
	require.NoError(t, err)
	// Open leaves it in blocking mode, in which Close would wait for a blocked Write of ours.
	number, err := syscall.Dup(int(blocking.Fd()))
	require.NoError(t, err)
	require.NoError(t, blocking.Close())
	syscall.CloseOnExec(number)
	require.NoError(t, syscall.SetNonblock(number, true))
	far = os.NewFile(uintptr(number), "far end")
	t.Cleanup(func() { _, _ = far.Close(), tty.Close() })
	return far, tty.Name()
}

func overPTY(t *testing.T) (link.Link, io.ReadWriteCloser) {
	t.Helper()
	far, device := terminal(t)
	near, err := link.OpenSerial(link.SerialConfig{Device: device})
	require.NoError(t, err)
	t.Cleanup(func() { _ = near.Close() })
	return near, far
}

func TestSerialKeepsTheRulesOfLink(t *testing.T) { checkWall(t, overPTY) }

func TestSerialAwaitsItsPatternAndKeepsWhatComesAfter(t *testing.T) {
	far, device := terminal(t)
	go func() {
		for _, text := range []string{"boot\r\nver", "sion 3 rea", "dy\r\n", "first"} {
			_, _ = far.Write([]byte(text))
			time.Sleep(5 * time.Millisecond)
		}
	}()
	near, err := link.Open(t.Context(), "serial:"+device+"?baud=9600&await=ready%5Cr%5Cn&limit=5s")
	require.NoError(t, err)
	defer near.Close()
	assert.Equal(t, "first", readAll(t, near, 5))
}

func TestSerialSettlesAndDiscardsWhatTheBoardSaysMeanwhile(t *testing.T) {
	far, device := terminal(t)
	_, err := far.Write([]byte("chatter"))
	require.NoError(t, err)
	start := time.Now()
	near, err := link.OpenSerial(link.SerialConfig{Device: device, Settle: 50 * time.Millisecond})
	require.NoError(t, err)
	defer near.Close()
	assert.GreaterOrEqual(t, time.Since(start), 50*time.Millisecond)
	_, err = far.Write([]byte("answer"))
	require.NoError(t, err)
	assert.Equal(t, "answer", readAll(t, near, 6))
}

func TestSerialPatternThatNeverComesEndsAtItsLimitDespiteAFlood(t *testing.T) {
	far, device := terminal(t)
	stopped := make(chan struct{})
	go func() {
		defer close(stopped)
		for noise := pattern(1000); ; {
			if _, err := far.Write(noise); err != nil {
				return
			}
		}
	}()
	start := time.Now()
	_, err := link.OpenSerial(link.SerialConfig{Device: device, Await: regexp.MustCompile("never there"),
		AwaitLimit: 50 * time.Millisecond})
	require.ErrorIs(t, err, link.ErrTimeout)
	assert.ErrorContains(t, err, `want a match of "never there" within 50ms`)
	assert.Less(t, time.Since(start), slow)
	require.NoError(t, far.Close())
	<-stopped
}

func TestSerialOpeningEndsWithItsContext(t *testing.T) {
	_, device := terminal(t)
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Millisecond)
	defer cancel()
	_, err := link.Open(ctx, "serial:"+device+"?settle=1m")
	require.ErrorIs(t, err, context.DeadlineExceeded)
}

func TestSerialPlugPulledWhileTheBoardStartsIsErrClosed(t *testing.T) {
	far, device := terminal(t)
	time.AfterFunc(20*time.Millisecond, func() { _ = far.Close() })
	_, err := link.OpenSerial(link.SerialConfig{Device: device, Settle: time.Minute})
	require.ErrorIs(t, err, link.ErrClosed)
}

func TestSerialOpenSaysWhatToDo(t *testing.T) {
	_, device := terminal(t)
	file := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	for address, want := range map[string]string{
		"serial:" + file + ".gone":            "is it plugged in?",
		"serial:" + file:                      "it may be no serial port",
		"serial:" + device + "?dtr=on&rts=on": "hold dtr and rts", // a pseudo-terminal has no control lines
		"serial:" + device + "?dtr=off":       "a port without control lines wants dtr=hold",
	} {
		_, err := link.Open(t.Context(), address)
		assert.ErrorContains(t, err, want)
	}
}

func TestSerialPortCanBeOpenedAgainAfterABlockedWriter(t *testing.T) {
	far, device := terminal(t)
	for range 3 {
		near, err := link.OpenSerial(link.SerialConfig{Device: device})
		require.NoError(t, err)
		fillUp(t, near)
		require.NoError(t, near.Close())
	}
	near, err := link.OpenSerial(link.SerialConfig{Device: device})
	require.NoError(t, err)
	defer near.Close()
	_, err = far.Write([]byte("x"))
	require.NoError(t, err)
	assert.Equal(t, "x", readAll(t, near, 1))
}
