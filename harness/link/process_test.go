package link_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"net"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"bufferstop/harness/link"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// lines keeps what is written to it, write by write.
type lines struct {
	mu  sync.Mutex
	all []string
}

func (l *lines) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.all = append(l.all, string(p))
	return len(p), nil
}

func (l *lines) written() []string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return append([]string(nil), l.all...)
}

// startChild starts this test program in a role.
func startChild(t *testing.T, role string, config link.ProcessConfig) link.Link {
	t.Helper()
	noLeak(t)
	t.Setenv(childRole, role)
	t.Setenv("GORACE", "atexit_sleep_ms=0") // the race detector would hold the child for a second at its end
	config.Command = append([]string{os.Args[0]}, config.Command...)
	near, err := link.OpenProcess(t.Context(), config)
	require.NoError(t, err)
	t.Cleanup(func() { _ = near.Close() })
	return near
}

func TestProcessCarriesBytesBothWaysAndEndsWithItsInput(t *testing.T) {
	var stderr lines
	near := startChild(t, "echo", link.ProcessConfig{Stderr: &stderr, Grace: time.Minute})
	write(t, near, "there\n\x00\xff")
	assert.Equal(t, "there\n\x00\xff", readAll(t, near, 8))
	n, err := near.Read(t.Context(), nil, time.Hour)
	require.NoError(t, err)
	assert.Zero(t, n)
	start := time.Now()
	require.NoError(t, near.Close())
	assert.Less(t, time.Since(start), slow, "no grace is spent on a program that ends")
	assert.Equal(t, []string{"input has ended\n"}, stderr.written())
	require.NoError(t, near.Close())
	_, err = read(t, near, time.Hour)
	require.ErrorIs(t, err, link.ErrClosed)
	_, err = near.Write(t.Context(), []byte("x"), time.Hour)
	require.ErrorIs(t, err, link.ErrClosed)
}

func TestProcessThatExitsIsErrClosedWithItsStatusAfterItsLastWords(t *testing.T) {
	near := startChild(t, "exit", link.ProcessConfig{})
	write(t, near, "jump\n")
	assert.Equal(t, "last words\n", readAll(t, near, 11))
	for range 2 {
		_, err := read(t, near, time.Hour)
		require.ErrorIs(t, err, link.ErrClosed)
		assert.ErrorContains(t, err, `has ended: exit status 3; its last line on standard error: "no such order: jump"`)
	}
	var err error
	require.Eventually(t, func() bool {
		_, err = near.Write(t.Context(), []byte("x"), time.Second)
		return err != nil
	}, slow, time.Millisecond)
	require.ErrorIs(t, err, link.ErrClosed)
	assert.ErrorContains(t, err, "exit status 3")
	require.NoError(t, near.Close())
}

func TestProcessThatExitsEndsAPollingReader(t *testing.T) {
	near := startChild(t, "exit", link.ProcessConfig{})
	write(t, near, "\n")
	var err error
	require.Eventually(t, func() bool {
		_, err = read(t, near, 0)
		return errors.Is(err, link.ErrClosed)
	}, slow, time.Millisecond)
}

func TestProcessThatWritesHalfALineIsReadAsFarAsItWent(t *testing.T) {
	near := startChild(t, "half a line", link.ProcessConfig{})
	assert.Equal(t, "half a li", readAll(t, near, 9))
	start := time.Now()
	_, err := read(t, near, 30*time.Millisecond)
	require.ErrorIs(t, err, link.ErrTimeout)
	assert.GreaterOrEqual(t, time.Since(start), 30*time.Millisecond)
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Millisecond)
	defer cancel()
	_, err = near.Read(ctx, make([]byte, 1), time.Hour)
	require.ErrorIs(t, err, context.DeadlineExceeded)
	write(t, near, "\n")
	assert.Equal(t, "ne\n", readAll(t, near, 3))
}

func TestProcessThatNeverReadsEndsEachWriteInTimeAndIsKilled(t *testing.T) {
	near := startChild(t, "deaf", link.ProcessConfig{Grace: 50 * time.Millisecond})
	assert.Equal(t, "here\n", readAll(t, near, 5))
	assert.Positive(t, fillUp(t, near))
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Millisecond)
	defer cancel()
	_, err := near.Write(ctx, []byte("x"), time.Hour)
	require.ErrorIs(t, err, context.DeadlineExceeded)
	start := time.Now()
	require.NoError(t, near.Close())
	assert.GreaterOrEqual(t, time.Since(start), 50*time.Millisecond, "its grace")
	assert.Less(t, time.Since(start), slow)
}

func TestProcessThatFloodsIsHeldUpUntilReadAndEnds(t *testing.T) {
	near := startChild(t, "flood", link.ProcessConfig{Grace: 50 * time.Millisecond})
	assert.Equal(t, strings.Repeat("noise ", 50_000), readAll(t, near, 300_000)[:300_000])
	start := time.Now()
	require.NoError(t, near.Close())
	assert.Less(t, time.Since(start), slow)
}

func TestProcessMaySayFarewellAtLengthBeforeItEnds(t *testing.T) {
	var stderr lines
	near := startChild(t, "slow farewell", link.ProcessConfig{Stderr: &stderr, Grace: time.Minute})
	start := time.Now()
	require.NoError(t, near.Close())
	assert.Less(t, time.Since(start), slow)
	assert.Equal(t, []string{"power is off\n"}, stderr.written(), "it was neither killed nor held up")
}

func TestProcessStandardErrorIsPassedOnLineByLineAndHarmsNoTerminal(t *testing.T) {
	var stderr lines
	near := startChild(t, "noisy", link.ProcessConfig{Stderr: &stderr, Grace: time.Minute})
	require.NoError(t, near.Close())
	assert.Equal(t, []string{"one\n", `\x1b[2Jtwo\xff\u202e` + "\n",
		strings.Repeat("x", 4096) + " ... and 5905 bytes more\n", "\n", "no end\n"}, stderr.written())
}

func TestProcessStandardErrorIsBounded(t *testing.T) {
	var stderr bytes.Buffer // the process writes from one goroutine, and not after Close
	near := startChild(t, "noisier", link.ProcessConfig{Stderr: &stderr, Grace: time.Minute})
	_, err := read(t, near, time.Minute)
	require.ErrorIs(t, err, link.ErrClosed)
	require.NoError(t, near.Close())
	assert.Less(t, stderr.Len(), 1<<20+300*40)
	assert.Regexp(t, `y\.\.\. and \d+ bytes more\n$|\n\.\.\. and \d+ bytes more\n$`, stderr.String()[stderr.Len()-40:])
}

// awaitCall has the child's own child call, and returns the call.
func awaitCall(t *testing.T) (call func() net.Conn) {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(func() { _ = listener.Close() })
	t.Setenv(childCalls, listener.Addr().String())
	return func() net.Conn {
		conn, err := listener.Accept()
		require.NoError(t, err)
		t.Cleanup(func() { _ = conn.Close() })
		return conn
	}
}

// hangsUp waits for the end of the call, which is that of the caller.
func hangsUp(t *testing.T, call net.Conn) {
	t.Helper()
	require.NoError(t, call.SetReadDeadline(time.Now().Add(slow)))
	_, err := call.Read(make([]byte, 1))
	require.Error(t, err)
	assert.NotErrorIs(t, err, os.ErrDeadlineExceeded)
}

func TestProcessThatIsKilledTakesItsOwnChildrenWithIt(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("no process groups there")
	}
	call := awaitCall(t)
	near := startChild(t, "parent", link.ProcessConfig{Grace: 10 * time.Millisecond})
	assert.Equal(t, "here\n", readAll(t, near, 5))
	grandchild := call()
	start := time.Now()
	require.NoError(t, near.Close())
	assert.Less(t, time.Since(start), slow)
	hangsUp(t, grandchild)
}

func TestProcessThatGoesAndLeavesAChildBehindIsOver(t *testing.T) {
	for _, role := range []string{"parent that goes", "parent that frees its child"} {
		t.Run(role, func(t *testing.T) {
			call := awaitCall(t)
			near := startChild(t, role, link.ProcessConfig{Grace: time.Minute})
			assert.Equal(t, "here\n", readAll(t, near, 5))
			grandchild := call()
			write(t, near, "\n")
			var err error
			require.Eventually(t, func() bool {
				_, err = read(t, near, time.Millisecond)
				return !errors.Is(err, link.ErrTimeout)
			}, slow, time.Millisecond)
			require.ErrorIs(t, err, link.ErrClosed)
			assert.ErrorContains(t, err, "exit status 0")
			if role == "parent that goes" && runtime.GOOS == "linux" {
				hangsUp(t, grandchild) // elsewhere, or freed, it holds the pipes until our end of the call goes
			}
			start := time.Now()
			require.NoError(t, near.Close())
			assert.Less(t, time.Since(start), slow)
		})
	}
}

func TestProcessThatClosesItsOutputIsErrClosed(t *testing.T) {
	near := startChild(t, "closed output", link.ProcessConfig{})
	_, err := read(t, near, time.Hour)
	require.ErrorIs(t, err, link.ErrClosed)
	assert.ErrorContains(t, err, "has closed its side and runs on")
}

func TestProcessIsClosedFromElsewhereDuringACall(t *testing.T) {
	near := startChild(t, "deaf", link.ProcessConfig{Grace: 10 * time.Millisecond})
	assert.Equal(t, "here\n", readAll(t, near, 5))
	timer := time.AfterFunc(20*time.Millisecond, func() { _ = near.Close() })
	defer timer.Stop()
	_, err := read(t, near, time.Hour)
	require.ErrorIs(t, err, link.ErrClosed)
}

func TestProcessWorksInItsDirectoryAndGetsItsArgumentsAsTheyAre(t *testing.T) {
	directory, err := filepath.EvalSymlinks(t.TempDir())
	require.NoError(t, err)
	near := startChild(t, "directory", link.ProcessConfig{Dir: directory, Command: []string{"$HOME *", "; exit 1"}})
	want := directory + " [$HOME * ; exit 1]\n"
	assert.Equal(t, want, readAll(t, near, len(want)))
}

func TestProcessWithARelativePathIsLookedForInItsDirectory(t *testing.T) {
	directory := t.TempDir()
	program, err := os.Open(os.Args[0])
	require.NoError(t, err)
	defer program.Close()
	name := "adapter" + filepath.Ext(os.Args[0])
	copied, err := os.OpenFile(filepath.Join(directory, name), os.O_CREATE|os.O_WRONLY, 0o700)
	require.NoError(t, err)
	_, err = io.Copy(copied, program)
	require.NoError(t, err)
	require.NoError(t, copied.Close())
	t.Setenv(childRole, "echo")
	t.Setenv("GORACE", "atexit_sleep_ms=0")
	near, err := link.OpenProcess(t.Context(), link.ProcessConfig{Command: []string{"./" + name}, Dir: directory})
	require.NoError(t, err)
	defer near.Close()
	write(t, near, "x")
	assert.Equal(t, "x", readAll(t, near, 1))
}

func TestProcessThatDoesNotStartSaysWhich(t *testing.T) {
	noLeak(t)
	for want, command := range map[string][]string{
		"program to start: got none":                                nil,
		`program "no-such\x1bprogram" does not start`:               {"no-such\x1bprogram"},
		"is it there, and executable?":                              {"./nowhere/adapter"},
		"got none, want its name or path":                           {""},
		`link: program "` + os.DevNull + `" does not start: fork/e`: {os.DevNull},
	} {
		_, err := link.OpenProcess(t.Context(), link.ProcessConfig{Command: command})
		if os.DevNull != "/dev/null" && strings.Contains(want, os.DevNull) {
			want = "does not start"
		}
		assert.ErrorContains(t, err, want)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err := link.OpenProcess(ctx, link.ProcessConfig{Command: []string{os.Args[0]}})
	require.ErrorIs(t, err, context.Canceled)
}
