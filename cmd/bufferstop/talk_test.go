//go:build unix

package main

import (
	"bytes"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"bufferstop/harness/link"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/rigs"
	"bufferstop/rigs/serving"
	"bufferstop/rigs/simulated"
	"bufferstop/rigs/wire"
)

// A keyboard is a program on a terminal, and what it has shown there.
type keyboard struct {
	t     *testing.T
	cmd   *exec.Cmd
	ours  *os.File
	mu    sync.Mutex
	shown strings.Builder
	asked int           // how much was shown when something was typed last
	ended chan struct{} // closed when the terminal is
}

// atKeyboard starts bufferstop with a terminal for its input, its output and its errors.
func atKeyboard(t *testing.T, args ...string) *keyboard {
	t.Helper()
	cmd := exec.Command("bufferstop", args...)
	cmd.Env = append(os.Environ(), "TERM=xterm")
	blocking, err := pty.StartWithSize(cmd, &pty.Winsize{Rows: 24, Cols: 120})
	if err != nil {
		t.Skipf("no pseudo terminal here: %v", err)
	}
	// In blocking mode a Close would wait for the Read below.
	number, err := syscall.Dup(int(blocking.Fd()))
	require.NoError(t, err)
	require.NoError(t, blocking.Close())
	syscall.CloseOnExec(number)
	require.NoError(t, syscall.SetNonblock(number, true))
	ours := os.NewFile(uintptr(number), "keyboard and screen")
	k := &keyboard{t: t, cmd: cmd, ours: ours, ended: make(chan struct{})}
	go func() {
		defer close(k.ended)
		b := make([]byte, 1024)
		for {
			n, err := ours.Read(b)
			k.mu.Lock()
			k.shown.Write(b[:n])
			k.mu.Unlock()
			if err != nil {
				return // nobody has the other side open any more
			}
		}
	}()
	t.Cleanup(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
		ours.Close()
		<-k.ended
	})
	return k
}

func (k *keyboard) text() string {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.shown.String()
}

// sees waits until the terminal has shown the text.
func (k *keyboard) sees(text string) {
	k.t.Helper()
	require.Eventually(k.t, func() bool { return strings.Contains(k.text(), text) }, time.Minute, 5*time.Millisecond,
		"%q in %q", text, stillText{k})
}

// stillText is formatted only when it is needed.
type stillText struct{ *keyboard }

func (s stillText) String() string { return s.text() }

func (k *keyboard) types(text string) {
	k.t.Helper()
	if text != drawAnew {
		k.asked = len(k.text())
	}
	_, err := k.ours.WriteString(text)
	require.NoError(k.t, err)
}

// exits waits for the end of the program and returns its exit code.
func (k *keyboard) exits() int {
	k.t.Helper()
	hangs := time.AfterFunc(time.Minute, func() { _ = k.cmd.Process.Kill() })
	defer hangs.Stop()
	_ = k.cmd.Wait()
	return k.cmd.ProcessState.ExitCode()
}

func TestTalkOnATerminalPromptsAndEndsSafelyOnCtrlC(t *testing.T) {
	k := atKeyboard(t, "talk")
	k.sees("> ")
	k.types("read cv 29\r")
	k.sees("read cv 29: 6 (0x06")
	assert.NotContains(t, k.text(), "the main track is off")
	k.types("\x03")
	k.sees("the main track is off\r\n")
	k.sees("the programming track is off\r\n")
	assert.Equal(t, verdict.ExitConforms, k.exits())
}

func TestQuitEndsATalkOnATerminal(t *testing.T) {
	k := atKeyboard(t, "talk")
	k.sees("> ")
	k.types("quit\r")
	k.sees("the programming track is off\r\n")
	assert.Equal(t, verdict.ExitConforms, k.exits())
}

func TestWhatAStationSaysByItselfDoesNotDisturbWhatIsTyped(t *testing.T) {
	t.Setenv(locksVariable, filepath.Join(t.TempDir(), "locks"))
	port, err := serving.TCP("127.0.0.1:0", func(serving.Notice) {})
	require.NoError(t, err)
	defer port.Close()
	k := atKeyboard(t, "talk", "--link", port.Address().String())
	k.sees("> ")
	k.types("hel")
	k.sees("> hel")
	_, err = port.Read(t.Context(), make([]byte, 1), 200*time.Millisecond) // lets the client in
	require.ErrorIs(t, err, link.ErrTimeout)
	_, err = port.Write(t.Context(), []byte("hot!\n"), time.Second)
	require.NoError(t, err)
	k.sees(`by itself: "hot!"` + "\r\n> hel")
	k.types("p\r")
	k.sees("read cv CV")
}

// serveStation serves a simulated station until the test ends, and tells how its tracks stand then.
func serveStation(t *testing.T) (address string, end func() *simulated.Rig) {
	t.Helper()
	rig, err := simulated.New(simulated.Options{Seed: 1})
	require.NoError(t, err)
	require.NoError(t, serving.FitDecoder(rig, serving.OrdinaryDecoder))
	port, err := serving.TCP("127.0.0.1:0", func(serving.Notice) {})
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	served := make(chan error, 1)
	go func() { served <- wire.Serve(ctx, rig, port, true) }()
	var once sync.Once
	end = func() *simulated.Rig {
		once.Do(func() {
			cancel()
			assert.NoError(t, <-served)
			assert.NoError(t, port.Close())
		})
		return rig
	}
	t.Cleanup(func() {
		end()
		assert.NoError(t, rig.Close())
	})
	return port.Address().String(), end
}

// powerOf asks a station on its own rig.
func powerOf(t *testing.T, rig *simulated.Rig, track station.Track) station.PowerState {
	t.Helper()
	file, err := station.LoadFS(rigs.Files, "reference.station.toml")
	require.NoError(t, err)
	state, err := file.Driver(rig.Link(), rig).Power(t.Context(), track)
	require.NoError(t, err)
	return state
}

func TestATalkThatIsInterruptedLeavesTheTracksOff(t *testing.T) {
	t.Setenv(locksVariable, filepath.Join(t.TempDir(), "locks"))
	for _, sent := range ending(t) {
		t.Run(sent.String(), func(t *testing.T) {
			address, end := serveStation(t)
			cmd := exec.Command("bufferstop", "talk", "--link", address)
			stdin, err := cmd.StdinPipe()
			require.NoError(t, err)
			var stdout, stderr watched
			cmd.Stdout, cmd.Stderr = &stdout, &stderr
			require.NoError(t, cmd.Start())
			_, err = stdin.Write([]byte("power main on\n"))
			require.NoError(t, err)
			stdout.sees(t, "power main on: done\n")
			require.NoError(t, cmd.Process.Signal(sent))
			_ = cmd.Wait()
			assert.Equal(t, verdict.ExitInterrupted, cmd.ProcessState.ExitCode(), stderr.text())
			assert.Contains(t, stdout.text(), "the main track is off\n")
			assert.Equal(t, station.Off, powerOf(t, end(), station.Main))
		})
	}
}

func TestWhatAStationSaysByItselfIsShownWhileNobodyTypes(t *testing.T) {
	t.Setenv(locksVariable, filepath.Join(t.TempDir(), "locks"))
	port, err := serving.TCP("127.0.0.1:0", func(serving.Notice) {})
	require.NoError(t, err)
	defer port.Close()
	cmd := exec.Command("bufferstop", "talk", "--link", port.Address().String())
	stdin, err := cmd.StdinPipe()
	require.NoError(t, err)
	var stdout, stderr watched
	cmd.Stdout, cmd.Stderr = &stdout, &stderr
	require.NoError(t, cmd.Start())
	defer func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	}()
	stdout.sees(t, "talking with")
	_, err = port.Read(t.Context(), make([]byte, 1), 200*time.Millisecond) // lets the client in
	require.ErrorIs(t, err, link.ErrTimeout)
	_, err = port.Write(t.Context(), []byte("\x1b[2Jhot!\n"), time.Second)
	require.NoError(t, err)
	stdout.sees(t, `by itself: "\x1b[2Jhot!"`+"\n")
	assert.Contains(t, stdout.text(), `< "\x1b[2Jhot!\n"`)
	assert.NotContains(t, stdout.text(), "\x1b")

	// A cable that is pulled out ends the talk, and is no fault of the user's.
	require.NoError(t, port.Close())
	defer stdin.Close()
	_ = cmd.Wait()
	assert.Equal(t, verdict.ExitFault, cmd.ProcessState.ExitCode())
	assert.Contains(t, stderr.text(), "the link to the station broke")
	assert.Contains(t, stderr.text(), "hint: the track power may still be on")
}

// watched is an output that a test waits on.
type watched struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (w *watched) Write(p []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.b.Write(p)
}

func (w *watched) text() string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.b.String()
}

func (w *watched) sees(t *testing.T, text string) {
	t.Helper()
	require.Eventually(t, func() bool { return strings.Contains(w.text(), text) }, time.Minute, 5*time.Millisecond, text)
}
