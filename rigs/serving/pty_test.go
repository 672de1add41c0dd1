//go:build linux

package serving_test

import (
	"context"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"bufferstop/harness/link"
	"bufferstop/rigs/serving"
)

func TestClientsOfAPseudoTerminalComeAndGo(t *testing.T) {
	path := filepath.Join(t.TempDir(), "station.tty")
	var heard events
	p, err := serving.PTY(path, heard.tell)
	require.NoError(t, err)
	defer p.Close()
	assert.Equal(t, "serial:"+path, p.Address().String())
	for range 3 {
		_, err := p.Write(t.Context(), []byte("to nobody"), time.Second)
		require.NoError(t, err)
		client, err := link.Open(t.Context(), p.Address().String())
		require.NoError(t, err)
		// Every byte comes over as it is: the terminal is raw, also for the next client.
		every := make([]byte, 256)
		for i := range every {
			every[i] = byte(i)
		}
		_, err = client.Write(t.Context(), every, time.Second)
		require.NoError(t, err)
		until(t, p, is(string(every)))
		_, err = p.Write(t.Context(), every, time.Second)
		require.NoError(t, err)
		until(t, client, is(string(every)))
		require.NoError(t, client.Close())
		until(t, p, func(string) bool { return heard[len(heard)-1] == serving.Went })
	}
	c, w := serving.Came, serving.Went
	assert.Equal(t, events{c, w, c, w, c, w}, heard)
	require.NoError(t, p.Close())
	_, err = os.Lstat(path)
	require.ErrorIs(t, err, os.ErrNotExist, "the symbolic link is removed")
}

func TestALinkToAPseudoTerminalOrToNothingIsReplacedAndNothingElse(t *testing.T) {
	dir := t.TempDir()
	quiet := func(serving.Notice) {}
	file := filepath.Join(dir, "file")
	require.NoError(t, os.WriteFile(file, []byte("mine"), 0o600))
	device := filepath.Join(dir, "device")
	require.NoError(t, os.Symlink("/dev/null", device))
	for _, taken := range []string{file, device, dir} {
		require.ErrorContains(t, serving.Vacant(taken), "is there already")
		_, err := serving.PTY(taken, quiet)
		require.ErrorContains(t, err, "is there already")
	}
	kept, err := os.ReadFile(file)
	require.NoError(t, err)
	assert.Equal(t, "mine", string(kept))
	target, err := os.Readlink(device)
	require.NoError(t, err)
	assert.Equal(t, "/dev/null", target)

	// A link that a process has left which was killed, to a name that is another terminal's by now.
	path := filepath.Join(dir, "tty")
	another, err := serving.PTY("", quiet)
	require.NoError(t, err)
	defer another.Close()
	left := another.Address().Serial.Device
	require.NoError(t, os.Symlink(left, path))
	require.NoError(t, serving.Vacant(path))
	first, err := serving.PTY(path, quiet)
	require.NoError(t, err)
	target, err = os.Readlink(path)
	require.NoError(t, err)
	assert.NotEqual(t, left, target)

	// Another's link is not removed.
	require.NoError(t, os.Remove(path))
	require.NoError(t, os.Symlink("/nowhere", path))
	require.NoError(t, first.Close())
	_, err = os.Lstat(path)
	require.NoError(t, err)
	second, err := serving.PTY(path, quiet)
	require.NoError(t, err)
	require.NoError(t, second.Close())
	require.NoError(t, serving.Vacant(path))
	_, err = serving.PTY(filepath.Join(dir, "no", "tty"), quiet)
	require.Error(t, err)
}

// However short the time that is given to each read, and however busy the machine.
func TestNobodyIsTakenForAClientWhoIsNotThere(t *testing.T) {
	var heard []serving.Notice
	port, err := serving.PTY("", func(n serving.Notice) { heard = append(heard, n) })
	require.NoError(t, err)
	defer port.Close()
	ctx, stop := context.WithCancel(t.Context())
	for range 2 * runtime.GOMAXPROCS(0) {
		go func() { // keeps the machine busy
			for ctx.Err() == nil {
				_ = strings.Repeat("x", 100)
			}
		}()
	}
	defer stop()
	for range 300 {
		_, err := port.Read(t.Context(), make([]byte, 10), 0)
		require.ErrorIs(t, err, link.ErrTimeout)
	}
	assert.Empty(t, heard)
}
