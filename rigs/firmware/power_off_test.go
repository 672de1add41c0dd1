//go:build simavr

package firmware

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The bit stream goes on for 26 µs after an end bit, S-9.2 A, footnote 3 (July 2004), whenever the power is taken off. On an output
// whose pin a timer turns over, to take it off in the interrupt of the end bit's last edge is some microseconds.
func TestPowerGoesAfterTheStreamHasGoneOnBehindAPacket(t *testing.T) {
	const goesOn = 26 * time.Microsecond
	if _, err := exec.LookPath("avr-gcc"); err != nil {
		t.Skip("avr-gcc is not installed, so there is no firmware to run: ", err)
	}
	for _, name := range []string{"reference", "polled"} {
		t.Run(name, func(t *testing.T) {
			data, err := os.ReadFile(name + ".rig.toml")
			require.NoError(t, err)
			f, err := Parse(name+".rig.toml", data)
			require.NoError(t, err)
			folder := t.TempDir()
			out, err := exec.Command("make", "-s", "-C", name, "OUT="+folder).CombinedOutput()
			require.NoError(t, err, "%s", out)
			r, err := open(t.Context(), f, loaded(t, filepath.Join(folder, "station.elf")), Options{})
			require.NoError(t, err)
			defer r.Close()
			file, err := station.LoadFile(filepath.Join(f.Folder, f.Station))
			require.NoError(t, err)
			s := harness.NewSession(r, file)
			defer func() { _ = s.Close(context.Background()) }()
			for _, track := range []station.Track{station.Main, station.Programming} {
				for phase := range 12 {
					w := s.Watch(track)
					require.NoError(t, s.Station.SetPower(t.Context(), track, true))
					// Another place in a packet each time, and in between.
					require.NoError(t, r.Wait(t.Context(), 20*time.Millisecond+time.Duration(phase)*770*time.Microsecond))
					require.NoError(t, s.Station.SetPower(t.Context(), track, false))
					require.NoError(t, r.Wait(t.Context(), 20*time.Millisecond))
					w.Stop()
					require.NotEmpty(t, w.Packets)
					require.NotEmpty(t, w.Unusable)
					last, off := w.Packets[len(w.Packets)-1], w.Unusable[len(w.Unusable)-1]
					assert.Equal(t, signal.ReasonOff, off.Reason)
					assert.GreaterOrEqual(t, off.Start-last.End, goesOn, "%s track, phase %d", track, phase)
					assert.Less(t, off.Start-last.End, 10*time.Millisecond, "%s track, phase %d", track, phase)
				}
			}
		})
	}
}
