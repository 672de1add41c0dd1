//go:build simavr && linux

package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"bufferstop/harness/record"
	"bufferstop/harness/verdict"
)

// simulateBench serves a bench in a box in a folder, with both firmwares built, and returns the rig file to run on it.
func simulateBench(t *testing.T) (rig string, serving *exec.Cmd, stdout *watched) {
	t.Helper()
	image, folder := referenceImage(t), t.TempDir()
	out, err := exec.Command("make", "-s", "-C", "../../rigs/bench/probe", "OUT="+folder).CombinedOutput()
	require.NoError(t, err, "%s", out)
	serving = exec.Command("bufferstop", "simulate", "--bench", folder, "--rig", firmwareRig, "--build", image, "--probe", filepath.Join(folder, "probe-atmega2560.elf"))
	stdout = new(watched)
	serving.Stdout, serving.Stderr = stdout, stdout
	require.NoError(t, serving.Start())
	t.Cleanup(func() {
		_ = serving.Process.Kill() // if it has not ended
		_ = serving.Wait()
	})
	stdout.sees(t, "Ctrl-C ends\n")
	for from, to := range map[string]string{
		"../../rigs/bench/box.rig.toml": "box.rig.toml", "../../rigs/firmware/reference.station.toml": "station.toml", "../../rigs/reference.dialect.toml": "dialect.toml",
	} {
		text, err := os.ReadFile(from)
		require.NoError(t, err)
		changed := strings.NewReplacer("../firmware/reference.station.toml", "station.toml", "../reference.dialect.toml", "dialect.toml").Replace(string(text))
		require.NoError(t, os.WriteFile(filepath.Join(folder, to), []byte(changed), 0o600))
	}
	return filepath.Join(folder, "box.rig.toml"), serving, stdout
}

func TestABenchInABoxIsExaminedLikeARealOneAndTellsWhatHappens(t *testing.T) {
	rig, serving, stdout := simulateBench(t)
	code, said, run := examine(t, "--rig", rig, "--requirement", "OVL-001")
	assert.Contains(t, []int{verdict.ExitConforms, verdict.ExitIncomplete}, code, said) // the latter on a machine that is too slow
	assert.Equal(t, "bench", run.Rig.Kind)
	stdout.sees(t, "main track: the short closes\n")
	stdout.sees(t, "and a short lay across it\n")
	stdout.sees(t, "main track: the short opens\n")
	stdout.sees(t, "probe: a client came\n")
	stdout.sees(t, "station: a client went\n")
	stdout.sees(t, "probe: a client went\n")
	require.NoError(t, serving.Process.Signal(syscall.SIGINT))
	stdout.sees(t, "\nended\n")
	_ = serving.Wait()
	assert.Equal(t, verdict.ExitConforms, serving.ProcessState.ExitCode(), stdout.text())
	for _, name := range []string{"station.tty", "probe.tty"} {
		_, err := os.Lstat(filepath.Join(filepath.Dir(rig), name))
		assert.ErrorIs(t, err, os.ErrNotExist)
	}
}

func TestARunWhoseBenchGoesEndsAsARigFaultWithAPartialRecord(t *testing.T) {
	rig, serving, stdout := simulateBench(t)
	folder := t.TempDir()
	cmd := exec.Command("bufferstop", "run", "--rig", rig, "--requirement", "OVL-001", "--requirement", "OVL-002", "--out", folder)
	said := new(watched)
	cmd.Stdout, cmd.Stderr = said, said
	require.NoError(t, cmd.Start())
	stdout.sees(t, "the short closes\n")
	require.NoError(t, serving.Process.Kill())
	_ = cmd.Wait()
	assert.Equal(t, verdict.ExitFault, cmd.ProcessState.ExitCode(), said.text())
	run, err := record.Load(folder)
	require.NoError(t, err)
	assert.Equal(t, verdict.ExitFault, run.ExitCode)
	assert.NotEmpty(t, run.EndedEarly)
}
