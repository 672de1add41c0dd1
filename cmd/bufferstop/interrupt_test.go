//go:build unix

package main

import (
	"bufio"
	"bytes"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"bufferstop/harness/record"
	"bufferstop/harness/verdict"
)

func TestAnInterruptLeavesAPartialRecordAndExits130(t *testing.T) {
	for _, sent := range ending(t) {
		t.Run(sent.String(), func(t *testing.T) {
			out := filepath.Join(t.TempDir(), "out")
			cmd := exec.Command("bufferstop", "run", "--out", out)
			var stderr bytes.Buffer
			cmd.Stderr = &stderr
			stdout, err := cmd.StdoutPipe()
			require.NoError(t, err)
			require.NoError(t, cmd.Start())
			lines := bufio.NewScanner(stdout)
			// The second line is the first result: the run is in the middle of it.
			for n := 0; n < 2 && lines.Scan(); n++ {
			}
			require.NoError(t, cmd.Process.Signal(sent))
			for lines.Scan() {
			}
			var ended *exec.ExitError
			require.ErrorAs(t, cmd.Wait(), &ended)
			assert.Equal(t, verdict.ExitInterrupted, ended.ExitCode(), stderr.String())
			assert.Contains(t, stderr.String(), "interrupted, making the rig safe")
			run, err := record.Load(out)
			require.NoError(t, err)
			assert.Equal(t, verdict.Interrupted, run.Outcome)
			assert.NotEmpty(t, run.Results)
			assert.Positive(t, run.Totals.Excluded, "what was not checked says so")
		})
	}
}

func TestASecondInterruptEndsAProgramThatHangs(t *testing.T) {
	cmd := exec.Command("stubborn")
	stdout, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	defer cmd.Process.Kill()
	lines := bufio.NewScanner(stdout)
	for _, want := range []string{"ready", "interrupted"} {
		require.True(t, lines.Scan())
		require.Equal(t, want, lines.Text())
		require.NoError(t, cmd.Process.Signal(syscall.SIGINT))
	}
	var ended *exec.ExitError
	require.ErrorAs(t, cmd.Wait(), &ended)
	status := ended.Sys().(syscall.WaitStatus)
	assert.True(t, status.Signaled() && status.Signal() == syscall.SIGINT, "ended by %v", status)
}
