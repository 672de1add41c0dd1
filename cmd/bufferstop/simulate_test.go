//go:build unix

package main

import (
	"os/exec"
	"regexp"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"bufferstop/harness/link"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/rigs"
)

func TestASimulationSaysItsAddressAndEndsInOrderWhenTold(t *testing.T) {
	for _, sent := range ending(t) {
		t.Run(sent.String(), func(t *testing.T) {
			cmd := exec.Command("bufferstop", "simulate", "--tcp", "127.0.0.1:0", "--decoder", "deaf", "--seed", "3")
			var stdout, stderr watched
			cmd.Stdout, cmd.Stderr = &stdout, &stderr
			require.NoError(t, cmd.Start())
			defer func() {
				_ = cmd.Process.Kill()
				_ = cmd.Wait()
			}()
			stdout.sees(t, "Ctrl-C ends\n")
			address := regexp.MustCompile(`(?m)^tcp://127\.0\.0\.1:\d+$`).FindString(stdout.text())
			require.NotEmpty(t, address, stdout.text())

			l, err := link.Open(t.Context(), address)
			require.NoError(t, err)
			file, err := station.LoadFS(rigs.Files, "reference.station.toml")
			require.NoError(t, err)
			d := file.Driver(l, link.NewWallClock())
			_, err = d.Identify(t.Context())
			require.NoError(t, err)
			_, err = d.ReadCV(t.Context(), 1, "")
			require.ErrorIs(t, err, station.ErrNoAcknowledge, "the decoder is deaf")
			require.NoError(t, l.Close())
			stdout.sees(t, " went\n")

			require.NoError(t, cmd.Process.Signal(sent))
			_ = cmd.Wait()
			assert.Equal(t, verdict.ExitConforms, cmd.ProcessState.ExitCode(), stderr.text())
			assert.Regexp(t, `(?s)^tcp://.*a client at 127\.0\.0\.1:\d+ came\na client at 127\.0\.0\.1:\d+ went\nended\n$`, stdout.text())
			assert.Empty(t, stderr.text())
		})
	}
}
