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
	far, tty := openTerminal(t)
	return far, tty.Name()
}

// openTerminal returns both ends of a pseudo-terminal. The near end is open so that the far end does not hang up before a
// link has opened it.
func openTerminal(t *testing.T) (far, tty *os.File) {
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
	return far, tty
}

type openSerial func(link.SerialConfig) (link.Link, error)

// overPTY connects a link, opened in the given way, with a station at the other end of a pseudo-terminal.
func overPTY(open openSerial) func(*testing.T) (link.Link, io.ReadWriteCloser) {
	return func(t *testing.T) (link.Link, io.ReadWriteCloser) {
		t.Helper()
		far, device := terminal(t)
		near, err := open(link.SerialConfig{Device: device})
		require.NoError(t, err)
		t.Cleanup(func() { _ = near.Close() })
		return near, far
	}
}

func TestSerialKeepsTheRulesOfLink(t *testing.T) { checkWall(t, overPTY(link.OpenSerial)) }

func TestSerialKeepsTheRulesOfLinkWhereOnlyAGoroutineCanWrite(t *testing.T) {
	checkWall(t, overPTY(link.OpenSerialByGoroutine))
}

// Another program that reads from the device may take the byte that a read has been told of. The settings are those of the
// device, so a read over any descriptor shows how the link's own ends then.
func TestSerialReadOfADeviceThatHasNothingEnds(t *testing.T) {
	for name, open := range map[string]openSerial{"direct": link.OpenSerial, "by goroutine": link.OpenSerialByGoroutine} {
		t.Run(name, func(t *testing.T) {
			far, tty := openTerminal(t)
			near, err := open(link.SerialConfig{Device: tty.Name()})
			require.NoError(t, err)
			defer near.Close()
			ended := make(chan int, 1)
			go func() {
				n, _ := syscall.Read(int(tty.Fd()), make([]byte, 1))
				ended <- n
			}()
			select {
			case n := <-ended:
				assert.Zero(t, n)
			case <-time.After(5 * time.Second):
				_, _ = far.Write([]byte("x")) // frees it
				<-ended
				assert.Fail(t, "the read waits for more")
			}
		})
	}
}

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
	for _, open := range []openSerial{link.OpenSerial, link.OpenSerialByGoroutine, link.OpenSerial} {
		near, err := open(link.SerialConfig{Device: device})
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

func TestSerialCloseSendsWhatIsTakenUnlessTheFarEndTakesNoMore(t *testing.T) {
	for _, open := range []openSerial{link.OpenSerial, link.OpenSerialByGoroutine} {
		far, device := terminal(t) // its near end stays open, so that the far end can still read
		near, err := open(link.SerialConfig{Device: device})
		require.NoError(t, err)
		write(t, near, "power off\n")
		require.NoError(t, near.Close())
		require.NoError(t, far.SetReadDeadline(time.Now().Add(slow)))
		p := make([]byte, 100)
		n, err := far.Read(p)
		require.NoError(t, err)
		assert.Equal(t, "power off\n", string(p[:n]))

		near, err = open(link.SerialConfig{Device: device})
		require.NoError(t, err)
		sent := fillUp(t, near)
		require.NoError(t, near.Close())
		require.NoError(t, far.SetReadDeadline(time.Now().Add(50*time.Millisecond)))
		rest, err := io.Copy(io.Discard, far)
		require.ErrorIs(t, err, os.ErrDeadlineExceeded)
		assert.Less(t, rest, int64(sent/2), "the driver is made to forget it, or it would wait when the port is closed")
	}
}

func TestSerialCloseFromElsewhereEndsACall(t *testing.T) {
	for _, open := range []openSerial{link.OpenSerial, link.OpenSerialByGoroutine} {
		for name, call := range map[string]func(link.Link) error{
			"read":  func(l link.Link) error { _, err := read(t, l, time.Hour); return err },
			"write": func(l link.Link) error { _, err := l.Write(t.Context(), pattern(1<<20), time.Hour); return err },
		} {
			_, device := terminal(t)
			near, err := open(link.SerialConfig{Device: device})
			require.NoError(t, err)
			closed := make(chan error, 1)
			time.AfterFunc(20*time.Millisecond, func() { closed <- near.Close() })
			start := time.Now()
			require.ErrorIs(t, call(near), link.ErrClosed, name)
			require.NoError(t, <-closed)
			assert.Less(t, time.Since(start), slow)
		}
	}
}

func TestSerialPortIsNotInheritedByAChildThatOutlivesTheLink(t *testing.T) {
	far, tty := openTerminal(t)
	near, err := link.OpenSerial(link.SerialConfig{Device: tty.Name()})
	require.NoError(t, err)
	defer near.Close()
	require.NoError(t, tty.Close())
	child := startChild(t, "deaf", link.ProcessConfig{Grace: time.Millisecond})
	assert.Equal(t, "here\n", readAll(t, child, 5))
	require.NoError(t, near.Close())
	require.NoError(t, far.SetReadDeadline(time.Now().Add(slow)))
	_, err = far.Read(make([]byte, 1))
	require.Error(t, err)
	assert.NotErrorIs(t, err, os.ErrDeadlineExceeded, "nobody holds the device any more")
	_, err = read(t, child, 0)
	require.ErrorIs(t, err, link.ErrTimeout, "the child lives on")
}
