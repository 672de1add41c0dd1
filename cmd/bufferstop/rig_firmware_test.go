//go:build simavr && unix

package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"bufferstop/harness/link"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/rigs"
	"bufferstop/rigs/processor/imagetest"
)

const firmwareRig = "../../rigs/firmware/reference.rig.toml"

// referenceImage builds the reference firmware.
func referenceImage(t *testing.T) string {
	t.Helper()
	return filepath.Join(imagetest.Make(t, "../../rigs/firmware/reference"), "station.elf")
}

func TestARunExaminesTheImageThatItIsGiven(t *testing.T) {
	image := referenceImage(t)
	code, stdout, run := examine(t, "--rig", firmwareRig, "--build", image, "--requirement", "OPS-003", "--requirement", "SRV-009")
	assert.Equal(t, verdict.ExitConforms, code, stdout)
	assert.Equal(t, "firmware", run.Rig.Kind)
	assert.Equal(t, image, run.Build.Image)
	assert.Len(t, run.Build.ImageSHA256, 64)
	assert.Positive(t, run.Build.ImageSize)
	var names []string
	for _, s := range run.Build.Symbols {
		names = append(names, s.Name)
	}
	assert.Contains(t, names, "main")
	assert.Contains(t, names, "__vector_11", "the interrupt that makes the bits of the main track")
	assert.Contains(t, run.Repeat, "--rig "+firmwareRig)
	assert.Contains(t, run.Repeat, "--build ")
}

func TestAFirmwareRigSaysWhatItCannotUse(t *testing.T) {
	for _, c := range []struct{ flags, want []string }{
		{[]string{"--build", "absent.elf"}, []string{"unreadable firmware image", "absent.elf"}},
		{[]string{"--build", "rig_firmware_test.go"}, []string{"its first bytes", "want", "ELF"}},
		{[]string{"--defect", "slow-crystal"}, []string{"no defect to seed", "--defect"}},
		{[]string{"--link", "tcp://127.0.0.1:1"}, []string{"no link to choose", "--link"}},
	} {
		var stdout, stderr bytes.Buffer
		code := run(append([]string{"run", "--out", t.TempDir(), "--rig", firmwareRig}, c.flags...), strings.NewReader(""), &stdout, &stderr)
		assert.Equal(t, verdict.ExitUsage, code, stderr.String())
		for _, want := range c.want[:len(c.want)-1] {
			assert.Contains(t, stderr.String(), want)
		}
		assert.Contains(t, stderr.String(), "hint: ")
	}
}

// The firmware's serial port at a pseudo-terminal, at the speed of the real processor.
func TestAFirmwareIsServedInRealTime(t *testing.T) {
	image := referenceImage(t)
	cmd := exec.Command("bufferstop", "simulate", "--rig", firmwareRig, "--build", image, "--real-time", "--tcp", "127.0.0.1:0")
	var stdout, stderr watched
	cmd.Stdout, cmd.Stderr = &stdout, &stderr
	require.NoError(t, cmd.Start())
	defer func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	}()
	stdout.sees(t, "Ctrl-C ends\n")
	address := regexp.MustCompile(`(?m)^tcp://127\.0\.0\.1:\d+$`).FindString(stdout.text())
	l, err := link.Open(t.Context(), address)
	require.NoError(t, err)
	file, err := station.LoadFS(rigs.Files, "reference.station.toml")
	require.NoError(t, err)
	d := file.Driver(l, link.NewWallClock())
	identity, err := d.Identify(t.Context())
	require.NoError(t, err)
	assert.Equal(t, "reference firmware", identity.Model)
	value, err := d.ReadCV(t.Context(), 1, "")
	require.NoError(t, err)
	assert.EqualValues(t, 3, value, "the decoder on the programming track answers")
	require.NoError(t, l.Close())
	require.NoError(t, cmd.Process.Signal(syscall.SIGINT))
	_ = cmd.Wait()
	assert.Equal(t, verdict.ExitConforms, cmd.ProcessState.ExitCode(), stderr.text())
}

// A firmware that is talked to through an adapter has no dialect, and is served like any other.
func TestAFirmwareWithoutADialectIsServed(t *testing.T) {
	image := referenceImage(t)
	file := filepath.Join(t.TempDir(), "mine.station.toml")
	require.NoError(t, os.WriteFile(file, []byte("name = \"mine\"\n[adapter]\ncommand = [\"./mine\"]\n[claims]\ntracks = [\"main\"]\n"), 0o600))
	cmd := exec.Command("bufferstop", "simulate", "--rig", firmwareRig, "--build", image, "--station", file, "--tcp", "127.0.0.1:0")
	var stdout, stderr watched
	cmd.Stdout, cmd.Stderr = &stdout, &stderr
	require.NoError(t, cmd.Start())
	defer func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	}()
	stdout.sees(t, "serving \"mine\", which speaks its own language; Ctrl-C ends\n")
	require.NoError(t, cmd.Process.Signal(syscall.SIGINT))
	_ = cmd.Wait()
	assert.Equal(t, verdict.ExitConforms, cmd.ProcessState.ExitCode(), stderr.text())
}
