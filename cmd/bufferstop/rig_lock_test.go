//go:build unix

package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/rigs"
	"bufferstop/rigs/lock"
)

// benchFiles writes a rig file of a bench and its station, and returns the name of the rig file.
func benchFiles(t *testing.T, rig string) string {
	t.Helper()
	dir := t.TempDir()
	for _, name := range []string{"reference.station.toml", "reference.dialect.toml"} {
		data, err := rigs.Files.ReadFile(name)
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), data, 0o600))
	}
	name := filepath.Join(dir, "bench.rig.toml")
	require.NoError(t, os.WriteFile(name, []byte(rig), 0o600))
	return name
}

const outside = "kind = \"bench\"\nname = \"b\"\n\n[station]\nfile = \"reference.station.toml\"\n"

func TestARigThatIsHeldIsBusyAndTheHolderIsNamed(t *testing.T) {
	locks := lock.Directory(filepath.Join(t.TempDir(), "locks"))
	t.Setenv(locksVariable, string(locks))
	held, err := locks.Acquire(t.Context(), lock.Self("bufferstop run --rig other"), "192.0.2.1:4000")
	require.NoError(t, err)
	defer held.Release()
	rig := benchFiles(t, outside)
	for _, args := range [][]string{
		{"run", "--rig", rig, "--link", "tcp://192.0.2.1:4000", "--out", t.TempDir()},
		{"rig", "check", "--rig", rig, "--link", "tcp://192.0.2.1:4000"},
		{"talk", "--link", "tcp://192.0.2.1:04000"},
	} {
		var stdout, stderr bytes.Buffer
		assert.Equal(t, verdict.ExitBusy, run(args, strings.NewReader(""), &stdout, &stderr), args)
		assert.Empty(t, stdout.String())
		assert.Regexp(t, fmt.Sprintf(`^bufferstop: the rig is busy, "192.0.2.1:4000": got one held by ".*" on ".*" `+
			`\(process %d, "bufferstop run --rig other"\) since 20.*, lease until 20.*, wanted a rig that nobody uses\n`+
			`hint: wait until that run has ended, or end process %[1]d\n$`, os.Getpid()), stderr.String())
	}
}

func TestTheRigOfAKilledProcessIsTakenOverAndGivenBackInTheEnd(t *testing.T) {
	locks := filepath.Join(t.TempDir(), "locks")
	t.Setenv(locksVariable, locks)
	address, _ := serveStation(t)
	killed := exec.Command("bufferstop", "talk", "--link", address)
	stdin, err := killed.StdinPipe()
	require.NoError(t, err)
	defer stdin.Close()
	var shown watched
	killed.Stdout = &shown
	require.NoError(t, killed.Start())
	shown.sees(t, "talking with")
	require.NoError(t, killed.Process.Kill())
	_ = killed.Wait()

	rig := benchFiles(t, outside)
	for _, stale := range []bool{true, false} {
		var stdout, stderr bytes.Buffer
		code := run([]string{"rig", "check", "--rig", rig, "--link", address}, strings.NewReader(""), &stdout, &stderr)
		assert.Equal(t, verdict.ExitConforms, code, "%s%s", stdout.String(), stderr.String())
		if stale {
			assert.Regexp(t, fmt.Sprintf(`^bufferstop: rig ".*" was held by .*\(process %d, .*which has ended without giving it back; taken over\n$`,
				killed.Process.Pid), stderr.String())
		} else {
			assert.Empty(t, stderr.String(), "what was given back is nobody's")
		}
	}
}

func TestARunThatIsInterruptedGivesItsRigBack(t *testing.T) {
	locks := filepath.Join(t.TempDir(), "locks")
	t.Setenv(locksVariable, locks)
	rig := benchFiles(t, outside+"\n[inside]\nserve = \"pty\"\npath = \"inside.tty\"\n")
	out := t.TempDir()
	cmd := exec.Command("bufferstop", "run", "--rig", rig, "--out", out)
	var stdout, stderr watched
	cmd.Stdout, cmd.Stderr = &stdout, &stderr
	require.NoError(t, cmd.Start())
	t.Cleanup(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	})
	stdout.sees(t, "\npass") // the run is in the middle of it
	says, err := filepath.Glob(filepath.Join(locks, "*.json"))
	require.NoError(t, err)
	require.Len(t, says, 2, "the path and the device")
	held := func(name string) bool {
		info, err := os.Stat(name)
		require.NoError(t, err)
		return info.Size() > 0
	}
	assert.True(t, held(says[0]) && held(says[1]))

	second := exec.Command("bufferstop", "run", "--rig", rig, "--out", out)
	message, err := second.CombinedOutput()
	require.Error(t, err)
	assert.Equal(t, verdict.ExitBusy, second.ProcessState.ExitCode(), string(message))

	third := exec.Command("bufferstop", "talk", "--link", "serial:"+filepath.Join(filepath.Dir(rig), "inside.tty"))
	message, err = third.CombinedOutput()
	require.Error(t, err)
	assert.Equal(t, verdict.ExitBusy, third.ProcessState.ExitCode(), string(message))

	require.NoError(t, cmd.Process.Signal(syscall.SIGINT))
	_ = cmd.Wait()
	assert.Equal(t, verdict.ExitInterrupted, cmd.ProcessState.ExitCode(), stderr.text())
	assert.False(t, held(says[0]) || held(says[1]), "it was given back")
	_, err = os.Lstat(filepath.Join(filepath.Dir(rig), "inside.tty"))
	require.ErrorIs(t, err, os.ErrNotExist)
}

func TestTheSameAdapterCommandIsAnotherRigInAnotherFolder(t *testing.T) {
	one := adapterIdentity(&station.Adapter{Command: []string{"./mine", "a b"}, Folder: "/one"})
	assert.Equal(t, "adapter ./mine 'a b' in /one", one)
	assert.NotEqual(t, one, adapterIdentity(&station.Adapter{Command: []string{"./mine", "a b"}, Folder: "/two"}))
	assert.NotEqual(t, one, adapterIdentity(&station.Adapter{Command: []string{"./mine", "a", "b"}, Folder: "/one"}))
}

func TestAPathHasOneIdentityHoweverItIsNamed(t *testing.T) {
	folder, err := filepath.EvalSymlinks(t.TempDir())
	require.NoError(t, err)
	require.NoError(t, os.Mkdir(filepath.Join(folder, "real"), 0o755))
	require.NoError(t, os.Symlink("real", filepath.Join(folder, "other")))
	t.Chdir(folder)
	want := "served at " + filepath.Join(folder, "real", "a.tty")
	for _, path := range []string{"real/a.tty", "./other/../real/a.tty", "other/a.tty", filepath.Join(folder, "other", "a.tty")} {
		identity, err := servedAt(path)
		require.NoError(t, err)
		assert.Equal(t, want, identity, path)
	}
	identity, err := servedAt("")
	require.NoError(t, err)
	assert.Empty(t, identity)
}
