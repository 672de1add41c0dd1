package analyser

import (
	"fmt"
	"testing"
	"time"

	"bufferstop/harness/signal"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// found is a sampler's sink that keeps the edges of each track.
type found map[int][]signal.Edge

func (f found) add(track int, e signal.Edge) { f[track] = append(f[track], e) }

// sign is one channel for the sign.
func sign(bit int) Pins { return Pins{Sign: bit, Absent: None, Positive: None, Negative: None} }

// window is a channel for each polarity.
func window(high, low int) Pins {
	return Pins{Sign: None, Absent: None, Positive: high, Negative: low}
}

// The plain way to do what a Sampler does for a sign, sample by sample.
func TestEdgesAreThoseOfAPlainReadingHoweverTheBytesAreCut(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		size := rapid.IntRange(1, 8).Draw(t, "bytes of a sample")
		rate := rapid.Int64Range(1, fastest).Draw(t, "rate")
		bits := rapid.SliceOfNDistinct(rapid.IntRange(0, 8*size-1), 1, 2, rapid.ID).Draw(t, "bits")
		l := Layout{Rate: rate, Bytes: size}
		for _, bit := range bits {
			l.Pins = append(l.Pins, sign(bit))
		}
		raw := rapid.SliceOfN(rapid.SampledFrom([]byte{0, 0, 0, 0, 0xff, 0xff, 0x0f, 0x81, 7}), 0, 60*size).Draw(t, "samples")
		want := found{}
		for track, bit := range bits {
			level := signal.Off
			for i := 0; (i+1)*size <= len(raw); i++ {
				now := signal.Negative
				if raw[i*size+bit/8]>>(bit%8)&1 != 0 {
					now = signal.Positive
				}
				if now != level {
					level = now
					want.add(track, signal.Edge{Time: time.Duration((float64(i) * 1e9 / float64(rate)) + 0.5), Level: now})
				}
			}
		}
		got := found{}
		s, err := NewSampler(l, got.add)
		require.NoError(t, err)
		whole := int64(len(raw) / size)
		for len(raw) > 0 {
			n := rapid.IntRange(1, len(raw)).Draw(t, "piece")
			s.Feed(raw[:n])
			raw = raw[n:]
		}
		require.Equal(t, whole, s.Samples())
		require.Equal(t, s.Now(), s.Settled())
		require.Len(t, got, len(want))
		for track := range want {
			require.Len(t, got[track], len(want[track]))
			for i, e := range want[track] {
				require.Equal(t, e.Level, got[track][i].Level)
				require.InDelta(t, e.Time, got[track][i].Time, 8, "floats of the plain way are not exact")
			}
		}
	})
}

func positive(at time.Duration) signal.Edge { return signal.Edge{Time: at, Level: signal.Positive} }
func negative(at time.Duration) signal.Edge { return signal.Edge{Time: at, Level: signal.Negative} }
func off(at time.Duration) signal.Edge      { return signal.Edge{Time: at, Level: signal.Off} }

// feed feeds a text of samples in pieces and returns the edges of the only track: + positive, - negative, 0 neither, * both.
func feed(t *testing.T, l Layout, text string, piece int) ([]signal.Edge, *Sampler) {
	got := found{}
	s, err := NewSampler(l, got.add)
	require.NoError(t, err)
	var raw []byte
	for _, c := range text {
		raw = append(raw, map[rune]byte{'+': 1, '-': 2, '0': 0, '*': 3}[c])
	}
	for len(raw) > 0 {
		n := min(piece, len(raw))
		s.Feed(raw[:n])
		raw = raw[n:]
	}
	return got[0], s
}

func TestAGapBetweenTwoPolaritiesIsAReversalWhenShortAndOffWhenLong(t *testing.T) {
	us := time.Microsecond
	l := Layout{Rate: 1e6, Bytes: 1, Pins: []Pins{window(0, 1)}, OffAfter: 10 * us}
	for text, want := range map[string][]signal.Edge{
		"+++++---":              {positive(0), negative(5 * us)},
		"+++++00----":           {positive(0), negative(6 * us)},
		"+++++0----":            {positive(0), negative(5500)},
		"+++++000000000---":     {positive(0), negative(9500)},
		"+++++0000000000---":    {positive(0), off(5 * us), negative(15 * us)},
		"+++++0000000000000":    {positive(0), off(5 * us)},
		"+++++00+++":            {positive(0)}, // a dip
		"000+++":                {off(0), positive(3 * us)},
		"+++***---":             {positive(0), negative(6 * us)},
		"++0000000000000*00--":  {positive(0), off(2 * us), negative(18 * us)},
		"---0000000000---":      {negative(0), off(3 * us), negative(13 * us)},
		"0000000000000+":        {off(0), positive(13 * us)},
		"+00000000000000000000": {positive(0), off(1 * us)},
	} {
		for _, piece := range []int{1, 3, 100} {
			got, _ := feed(t, l, text, piece)
			assert.Equal(t, want, got, "%s in pieces of %d", text, piece)
		}
	}
	_, s := feed(t, l, "+++++000", 100)
	assert.Equal(t, 5*us, s.Settled(), "the gap may still become an off or a reversal")
	assert.Equal(t, 8*us, s.Now())
	_, s = feed(t, l, "+***", 1)
	assert.EqualValues(t, 1, s.Contradictions(), "each time that it begins")
}

func TestLowAndAbsentPinsMeanWhatTheySay(t *testing.T) {
	us := time.Microsecond
	low := window(0, 1)
	low.Low = true
	got, _ := feed(t, Layout{Rate: 1e6, Bytes: 1, Pins: []Pins{low}}, "--++**", 3)
	assert.Equal(t, []signal.Edge{positive(0), negative(2 * us), off(4 * us)}, got)
}

func TestAnAbsentPinIsLateAndWhatTheSignShowedMeanwhileIsNoise(t *testing.T) {
	us := time.Microsecond
	absent := sign(0)
	absent.Absent = 1
	l := Layout{Rate: 1e6, Bytes: 1, Pins: []Pins{absent}, OffAfter: 3 * us} // - and * are absent here
	for text, want := range map[string][]signal.Edge{
		"++++++----++++":     {positive(0), off(3 * us), positive(10 * us)},
		"++++0000++++++++":   {positive(0), negative(4 * us), positive(8 * us)},
		"+++++0+0--*-*0000+": {positive(0), off(5 * us), negative(13 * us), positive(17 * us)},
		"+0+0---++":          {positive(0), off(1 * us), positive(7 * us)},
		"+0---++":            {off(0), positive(5 * us)},
		"--++":               {off(0), positive(2 * us)},
	} {
		for _, piece := range []int{1, 3, 100} {
			edges, s := feed(t, l, text, piece)
			late := found{}
			s.sink = late.add
			s.Finish()
			assert.Equal(t, want, append(edges, late[0]...), "%s in pieces of %d", text, piece)
			assert.Equal(t, s.Now()-3*us, s.Settled())
		}
	}
}

func TestALayoutThatMakesNoSenseIsRefused(t *testing.T) {
	for want, l := range map[string]Layout{
		"sample rate is 0 Hz":          {Bytes: 1, Pins: []Pins{sign(0)}},
		"a sample is 9 bytes":          {Rate: 1, Bytes: 9, Pins: []Pins{sign(0)}},
		"no channel":                   {Rate: 1, Bytes: 1},
		"bit 8 of a sample of 1 bytes": {Rate: 1, Bytes: 1, Pins: []Pins{sign(8)}},
		"want a sign, or":              {Rate: 1, Bytes: 1, Pins: []Pins{sign(None)}},
		"off delay is -1ns":            {Rate: 1, Bytes: 1, Pins: []Pins{sign(0)}, OffAfter: -1},
	} {
		_, err := NewSampler(l, func(int, signal.Edge) {})
		assert.ErrorContains(t, err, want)
	}
}

func TestTimesOfDaysAreExact(t *testing.T) {
	s := &Sampler{layout: Layout{Rate: 24e6}}
	const samples = 24e6*86400*7 + 1 // a week
	assert.Equal(t, 7*24*time.Hour+42*time.Nanosecond, s.time(2*samples))
}

func FuzzParseSession(f *testing.F) {
	f.Add("Samplerate: 8000000\nChannels: 2\n- D0: logic\n- D1: logic\n- A0: analog\nLogic unitsize: 1\n")
	f.Add("Logic unitsize: 9\n- D0: logic\nSamplerate: -1")
	f.Fuzz(func(t *testing.T, text string) {
		s, err := ParseSession(text)
		if err != nil {
			return
		}
		for _, name := range s.Channels {
			l, err := s.Layout([]Channels{{Sign: name}}, 0)
			if name == "" || err != nil {
				continue
			}
			_, err = NewSampler(l, func(int, signal.Edge) {})
			require.NoError(t, err)
		}
	})
}

func TestAnnouncementsBeforeTheSamplesAreTakenOff(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lines := rapid.SampledFrom([]string{"", "META samplerate: 1\n", "META a: 1\nMETA b: 2\n"}).Draw(t, "lines")
		samples := rapid.SampledFrom([]string{"", "\x00\x01", "MET\x00", "META", "M", "x META y\n"}).Draw(t, "samples")
		var h head
		var got []byte
		for rest := []byte(lines + samples); len(rest) > 0; {
			n := rapid.IntRange(1, len(rest)).Draw(t, "piece")
			got = append(got, h.skip(rest[:n])...)
			rest = rest[n:]
		}
		if samples == "META" || samples == "M" { // may still become an announcement
			require.Empty(t, got)
			return
		}
		require.Equal(t, samples, string(got))
	})
}

func BenchmarkSampler(b *testing.B) {
	for _, megahertz := range []int{1, 8, 24} {
		for _, size := range []int{1, 2} {
			b.Run(fmt.Sprintf("%dMHz of %d bytes", megahertz, size), func(b *testing.B) {
				raw := make([]byte, size*megahertz*100_000) // a tenth of a second of ones
				for i := range raw {
					raw[i] = byte(i / size / (58 * megahertz) & 1 * 3)
				}
				edges := 0
				s, err := NewSampler(Layout{Rate: int64(megahertz) * 1e6, Bytes: size, Pins: []Pins{sign(0)}},
					func(int, signal.Edge) { edges++ })
				require.NoError(b, err)
				b.ReportAllocs()
				b.SetBytes(int64(len(raw)))
				for b.Loop() {
					s.Feed(raw)
				}
				b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N)/1e5, "CPU-s/s")
			})
		}
	}
}
