//go:build simavr

package firmware

import (
	"math/rand/v2"
	"path/filepath"
	"testing"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
)

// unwritable are the personalities that cannot do all of what the reference firmware wants, and what they lack.
var unwritable = map[string]string{
	"deaf":        "hears nothing",
	"locked":      "may be read, and not be written",
	"no-bit-mode": "understands no question for a bit, and the firmware reads by bits",
}

// programmed reads, writes, verifies and reads again a few CVs of a decoder, as the station and as the decoder have them.
func programmed(t *testing.T, r *Rig, s *station.Driver, d *fakedecoder.Decoder, random *rand.Rand) {
	t.Helper()
	for _, cv := range []int{66, 1000} {
		d.SetCV(cv, byte(random.Uint32()))
		value, err := s.ReadCV(t.Context(), cv, station.Direct)
		if assert.NoError(t, err, "read CV %d", cv) {
			assert.Equal(t, d.CV(cv), value, "CV %d", cv)
		}
		wanted := byte(random.Uint32())
		if assert.NoError(t, s.WriteCV(t.Context(), cv, wanted, station.Direct), "write CV %d", cv) {
			assert.Equal(t, wanted, d.CV(cv), "CV %d", cv)
		}
		for _, asked := range []byte{d.CV(cv), d.CV(cv) ^ 0x10} {
			same, err := s.VerifyCV(t.Context(), cv, asked, station.Direct)
			if assert.NoError(t, err, "verify CV %d", cv) {
				assert.Equal(t, asked == d.CV(cv), same, "CV %d is %d, asked for %d", cv, d.CV(cv), asked)
			}
		}
	}
}

func referenceStation(t *testing.T, f *File) *station.File {
	t.Helper()
	file, err := station.LoadFile(filepath.Join(f.Folder, f.Station))
	require.NoError(t, err)
	return file
}

func TestTheReferenceFirmwareProgramsEveryDecoderThatCanBeProgrammed(t *testing.T) {
	f, image := referenceFile(t), reference(t)
	for _, name := range fakedecoder.Personalities() {
		t.Run(name, func(t *testing.T) {
			r, err := open(t.Context(), f, loaded(t, image), Options{Seed: 1})
			require.NoError(t, err)
			defer func() { require.NoError(t, r.Close()) }()
			c, err := fakedecoder.Personality(name)
			require.NoError(t, err)
			d, err := r.Track(station.Programming).Fit(c)
			require.NoError(t, err)
			s := referenceStation(t, f).Driver(r.Link(), r)
			if _, lacks := unwritable[name]; lacks {
				_, err := s.ReadCV(t.Context(), 8, station.Direct)
				if name == "locked" {
					assert.NoError(t, err)
					err = s.WriteCV(t.Context(), 66, 1, station.Direct)
				}
				assert.ErrorIs(t, err, station.ErrNoAcknowledge)
				return
			}
			programmed(t, r, s, d, rand.New(rand.NewPCG(1, 0)))
			assert.Empty(t, r.StationFault())
		})
	}
}

// Twenty decoders drawn from what S-9.2.3 D and E (July 2012) allow: 60 mA and more for 5 to 7 ms on 100 mA or less.
func TestTheReferenceFirmwareProgramsTwentyDecodersOfTheLegalFrame(t *testing.T) {
	f, image := referenceFile(t), reference(t)
	runs := int64(20)
	if !whole() {
		runs = 2
	}
	for seed := range runs {
		random := rand.New(rand.NewPCG(uint64(seed), 1))
		between := func(low, high int64) int64 { return low + random.Int64N(high-low+1) }
		c := fakedecoder.Default()
		a := &c.Acknowledge
		a.Amplitude = physic.ElectricCurrent(between(60, 600)) * physic.MilliAmpere
		a.Width = time.Duration(between(5000, 7000)) * time.Microsecond
		a.Delay = time.Duration(between(100, 2000)) * time.Microsecond
		a.Rise = time.Duration(between(0, 300)) * time.Microsecond
		a.Ripple = a.Amplitude / physic.ElectricCurrent(between(8, 20))
		c.Quiescent = physic.ElectricCurrent(between(0, 100)) * physic.MilliAmpere
		c.Storage = time.Duration(between(2, 40)) * time.Millisecond
		r, err := open(t.Context(), f, loaded(t, image), Options{Seed: seed})
		require.NoError(t, err)
		d, err := r.Track(station.Programming).Fit(c)
		require.NoError(t, err)
		programmed(t, r, referenceStation(t, f).Driver(r.Link(), r), d, random)
		require.NoError(t, r.Close())
		require.False(t, t.Failed(), "seed %d: %+v", seed, c)
	}
}

// The seed varies the noise of the probe. The programming suite's own decoders are those of the corners of the standard; the
// requirements here are all that fit one, apart from the two long ones, and the quick ones.
func TestTheReferenceFirmwareConformsForTwentySeeds(t *testing.T) {
	f, image := referenceFile(t), reference(t)
	seeds, ids := int64(20), append([]string{"SRV-008", "SRV-011", "ACK-001", "ACK-002", "ACK-003", "ACK-004", "ACK-005"}, quick...)
	if !whole() {
		seeds, ids = 1, quick
	}
	for seed := range seeds {
		for _, r := range examine(t, f, image, seed+2, ids) {
			require.Equal(t, verdict.Pass, r.Verdict, "seed %d: %s: %s %v", seed+2, r.Name(), r.Reason, r.Failures)
		}
	}
}
