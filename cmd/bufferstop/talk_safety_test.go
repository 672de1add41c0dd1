//go:build unix

package main

import (
	"bytes"
	"context"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"bufferstop/harness/link"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/rigs"
	"bufferstop/rigs/simulated"
)

// ending are the signals that end the program in order.
func ending(t *testing.T) []syscall.Signal {
	all := []syscall.Signal{syscall.SIGINT, syscall.SIGTERM}
	if signal.Ignored(syscall.SIGHUP) {
		t.Log("SIGHUP is not tried: it is ignored here, and so it is by the programs that are started")
		return all
	}
	return append(all, syscall.SIGHUP)
}

func TestATerminalThatIsClosedLeavesTheTracksOff(t *testing.T) {
	t.Setenv(locksVariable, filepath.Join(t.TempDir(), "locks"))
	address, end := serveStation(t)
	k := atKeyboard(t, "talk", "--link", address)
	k.sees("> ")
	k.types("power main on\r")
	k.sees("power main on: done")
	require.NoError(t, k.ours.Close())
	k.exits()
	assert.True(t, k.cmd.ProcessState.Exited(), "%v", k.cmd.ProcessState)
	assert.Equal(t, station.Off, powerOf(t, end(), station.Main))
}

func TestAProgramThatNohupHasStartedOutlivesItsTerminal(t *testing.T) {
	if _, err := exec.LookPath("nohup"); err != nil {
		t.Skip("nohup is missing: ", err)
	}
	cmd := exec.Command("nohup", "bufferstop", "simulate", "--tcp", "127.0.0.1:0")
	var stdout watched
	cmd.Stdout = &stdout
	require.NoError(t, cmd.Start())
	defer func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	}()
	stdout.sees(t, "Ctrl-C ends\n")
	require.NoError(t, cmd.Process.Signal(syscall.SIGHUP))
	time.Sleep(200 * time.Millisecond) // time to end, if it would
	assert.NotContains(t, stdout.text(), "ended\n")
	require.NoError(t, cmd.Process.Signal(syscall.SIGTERM))
	_ = cmd.Wait()
	assert.Contains(t, stdout.text(), "ended\n")
}

func TestATrackThatWasNamedIsSwitchedOffThoughTheStationDoesNotClaimIt(t *testing.T) {
	t.Setenv(locksVariable, filepath.Join(t.TempDir(), "locks"))
	address, end := serveStation(t)
	dir := filepath.Dir(benchFiles(t, ""))
	file := filepath.Join(dir, "one.station.toml")
	require.NoError(t, os.WriteFile(file, []byte("name = \"one\"\ndialect = \"reference.dialect.toml\"\n[claims]\ntracks = [\"main\"]\n"), 0o600))
	var stdout, stderr bytes.Buffer
	code := run([]string{"talk", "--station", file, "--link", address}, strings.NewReader("power programming on\n"), &stdout, &stderr)
	assert.Equal(t, verdict.ExitConforms, code, stderr.String())
	assert.Contains(t, stdout.String(), "power programming on: done\n")
	assert.Contains(t, stdout.String(), "the main track is off\n")
	assert.Contains(t, stdout.String(), "the programming track is off\n")
	assert.Equal(t, station.Off, powerOf(t, end(), station.Programming))
}

// meddling is a link to a station that does something else at a line that begins so.
type meddling struct {
	link.Link
	at     string
	do     func() // once
	answer string // in place of the station's, if it is not empty
	next   bool
}

func (m *meddling) Write(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	if strings.HasPrefix(string(p), m.at) {
		if do := m.do; do != nil {
			m.do = nil
			do()
		}
		m.next = m.answer != ""
	}
	return m.Link.Write(ctx, p, timeout)
}

func (m *meddling) Read(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	n, err := m.Link.Read(ctx, p, timeout)
	if m.next && n > 0 && p[n-1] == '\n' {
		m.next = false
		return copy(p, m.answer), nil
	}
	if m.next && n > 0 {
		return m.Read(ctx, p, timeout)
	}
	return n, err
}

// meddled talks with a simulated station over the link until the input ends, and returns the rig.
func meddled(t *testing.T, m *meddling, input string, out *bytes.Buffer) (*simulated.Rig, func() error) {
	t.Helper()
	rig, err := simulated.New(simulated.Options{Seed: 1})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, rig.Close()) })
	file, err := station.LoadFS(rigs.Files, "reference.station.toml")
	require.NoError(t, err)
	m.Link = rig.Link()
	p := &partner{file: file, line: m, clock: rig}
	cmd := new(cobra.Command)
	cmd.SetIn(strings.NewReader(input))
	cmd.SetOut(out)
	return rig, func() error { return p.talk(t.Context(), cmd) }
}

func TestAStrangeAnswerForOneTrackKeepsNobodyFromTheOther(t *testing.T) {
	var out bytes.Buffer
	rig, talk := meddled(t, &meddling{at: "TRAC:POW MAIN,OFF", answer: "certainly\n"}, "power programming on\n", &out)
	require.ErrorContains(t, talk().(exit).err, "the power of the main track could not be switched off")
	assert.Contains(t, out.String(), "the main track is NOT known to be off")
	assert.Contains(t, out.String(), "the programming track is off\n")
	assert.Equal(t, station.Off, powerOf(t, rig, station.Programming))
}

func TestAPanicLeavesTheTracksOff(t *testing.T) {
	var out bytes.Buffer
	rig, talk := meddled(t, &meddling{at: "CV:READ?", do: func() { panic("a fault of ours") }}, "power main on\nread cv 1\n", &out)
	assert.PanicsWithValue(t, "a fault of ours", func() { _ = talk() })
	assert.Contains(t, out.String(), "the main track is off\n")
	assert.Equal(t, station.Off, powerOf(t, rig, station.Main))
}
