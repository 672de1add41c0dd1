package signal

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"bufferstop/harness/dcc"
)

func TestIntervalIsFromStartBitToStartBit(t *testing.T) {
	s := newStream(Negative).packet(idle, 14)
	for range 300 { // more than 30 ms of ones: a station that has nothing to say must still send packets
		s.ones(1)
	}
	s.packet(reset, 14).packet(idle, 14)
	h, r := receive(StationReading(), s.edges, s.now)
	require.Len(t, h.packets, 3)
	interval := &r.Statistics().Interval
	assert.Equal(t, int64(2), interval.Count)
	assert.Equal(t, int64(1), interval.Outside)
	assert.Equal(t, int64(h.packets[1].StartBit-h.packets[0].StartBit), interval.Max)
	assert.Equal(t, h.packets[0].StartBit, interval.MaxAt)
	assert.Equal(t, h.packets[0].StartBit, interval.FirstOutsideAt)
	assert.Zero(t, r.Statistics().Gap.Count, "ones without a break are no gap")
}

// A faulty packet is not a complete one (S-9.2 C, July 2004).
func TestFaultyPacketsDoNotEndAnInterval(t *testing.T) {
	s := newStream(Negative).packet(idle, 14).packet(dcc.Packet{3, 0x3f, 0x80, 0}, 14).packet(idle, 14)
	h, r := receive(StationReading(), s.edges, s.now)
	require.Len(t, h.packets, 3)
	assert.Equal(t, int64(1), r.Statistics().Interval.Count)
	assert.Equal(t, int64(h.packets[2].StartBit-h.packets[0].StartBit), r.Statistics().Interval.Min)
}

func TestSpacingIsPerAddress(t *testing.T) {
	for _, c := range []struct {
		name       string
		one, other dcc.Packet
	}{
		{"short", dcc.Seal(3, 0x3f, 0x80), dcc.Seal(4, 0x3f, 0x80)},
		{"long", dcc.Seal(0xc3, 0xe8, 0x3f, 0x80), dcc.Seal(0xc3, 0xe9, 0x3f, 0x80)},
		{"long and short", dcc.Seal(0xc0, 3, 0x3f, 0x80), dcc.Seal(3, 0x3f, 0x80)},
		{"accessory, by the high bits", dcc.Seal(0x81, 0xf8), dcc.Seal(0x81, 0xe8)},
		{"accessory with aspects", dcc.Seal(0x81, 0x71, 0), dcc.Seal(0x81, 0x73, 0)},
		{"accessory basic and with aspects", dcc.Seal(0x81, 0xf8), dcc.Seal(0x81, 0x71, 0)},
	} {
		s := newStream(Negative).packet(c.one, 14).packet(c.other, 14)
		s.packet(c.one, 14)
		h, r := receive(StationReading(), s.edges, s.now)
		require.Len(t, h.packets, 3)
		spacing := &r.Statistics().SameAddress
		assert.Equal(t, int64(1), spacing.Count, c.name)
		assert.Equal(t, int64(h.packets[2].StartBit-h.packets[0].End), spacing.Min, c.name)
		assert.Equal(t, h.packets[0].End, spacing.MinAt, c.name)
	}
}

func TestPacketsToAllAndToNobodyHaveNoSpacing(t *testing.T) {
	for _, p := range []dcc.Packet{idle, reset, dcc.Seal(0xbf, 0x80), dcc.Seal(0xbf, 7, 0), dcc.Seal(0xfd, 1)} {
		s := newStream(Negative).packet(p, 14).packet(p, 14)
		h, r := receive(StationReading(), s.edges, s.now)
		require.Len(t, h.packets, 2)
		assert.Zero(t, r.Statistics().SameAddress.Count, "%v", p)
	}
}

func TestBothOutputsOfADecoderAreOneAddress(t *testing.T) {
	s := newStream(Negative).packet(dcc.Seal(0x81, 0xf8), 14).packet(dcc.Seal(0x81, 0xff), 14)
	_, r := receive(StationReading(), s.edges, s.now)
	assert.Equal(t, int64(1), r.Statistics().SameAddress.Count)
	assert.Equal(t, int64(1), r.Statistics().SameAddress.Outside, "closer than 5 ms")
}

// S-9.2 footnote 3 (July 2004): the end bit of the packet before may be counted.
func TestEndBitCountsForAPreambleOfThirteen(t *testing.T) {
	for ones, outside := range map[int]int64{12: 1, 13: 0, 14: 0} {
		s := newStream(Negative).packet(idle, 14).packet(idle, ones)
		_, r := receive(StationReading(), s.edges, s.now)
		preamble := &r.Statistics().Preamble
		require.Equal(t, int64(1), preamble.Count, "the first preamble was not seen from its beginning")
		assert.Equal(t, int64(ones), preamble.Min)
		assert.Equal(t, outside, preamble.Outside, "%d ones", ones)
	}
}

func TestResetStatisticsForgetsWhatBeganBefore(t *testing.T) {
	s := newStream(Negative).packet(speed, 14)
	r := NewReceiver(StationReading(), nil)
	r.Edges(s.edges)
	r.ResetStatistics()
	assert.Equal(t, *NewStatistics(StationReading()), *r.Statistics())
	n := len(s.edges)
	s.packet(speed, 14)
	r.Edges(s.edges[n:])
	r.Finish(s.now)
	st := r.Statistics()
	assert.Equal(t, int64(1), st.Packets)
	assert.Zero(t, st.Interval.Count)
	assert.Zero(t, st.SameAddress.Count)
	assert.Equal(t, int64(len(s.edges)-n), st.Edges)
}

func TestStatisticsOfTwoPartsMergeIntoThoseOfTheWhole(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		limit := Limit{100, 1000}
		shape := newShape(50, 7, 100, 50, 30)
		whole, a, b := newDistribution(shape, limit), newDistribution(shape, limit), newDistribution(shape, limit)
		values := rapid.SliceOf(rapid.SampledFrom([]int64{-500, 0, 99, 100, 101, 1000, 1001, 5000})).Draw(t, "values")
		split := rapid.IntRange(0, len(values)).Draw(t, "split")
		for i, v := range values {
			whole.add(v, time.Duration(i))
			if i < split {
				a.add(v, time.Duration(i))
			} else {
				b.add(v, time.Duration(i))
			}
		}
		early := a
		a.Merge(&b)
		if a != whole {
			t.Fatalf("merged %+v, whole %+v", a.Summary(), whole.Summary())
		}
		b.Merge(&early)
		if b != whole {
			t.Fatalf("merged the other way round %+v, whole %+v", b.Summary(), whole.Summary())
		}
	})
}

func TestDistributionsOfDifferentThingsDoNotMerge(t *testing.T) {
	s := NewStatistics(StationReading())
	d := NewStatistics(DecoderReading())
	assert.Panics(t, func() { s.Gap.Merge(&s.Interval) })
	assert.Panics(t, func() { s.OneHalf.Merge(&d.OneHalf) }, "other limits")
}

func TestDistributionMatchesASimpleCount(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		low := rapid.Int64Range(-100, 100).Draw(t, "low")
		width := rapid.Int64Range(1, 1000).Draw(t, "width")
		limit := Limit{rapid.Int64Range(-1000, 1000).Draw(t, "limit low"), rapid.Int64Range(1000, 100000).Draw(t, "limit high")}
		d := newDistribution(newShape(low, width, 100, 10*width, 50), limit)
		values := rapid.SliceOf(rapid.Int64Range(-2000, 700000)).Draw(t, "values")
		var sum float64
		var outside int64
		for i, v := range values {
			d.add(v, time.Duration(i))
			sum += float64(v)
			if v < limit.Low || v > limit.High {
				outside++
			}
			if v < d.Min || v > d.Max || values[d.MinAt] != d.Min || values[d.MaxAt] != d.Max {
				t.Fatalf("extremes %d at %d, %d at %d", d.Min, d.MinAt, d.Max, d.MaxAt)
			}
		}
		if d.Count != int64(len(values)) || d.Outside != outside {
			t.Fatalf("count %d outside %d, want %d and %d", d.Count, d.Outside, len(values), outside)
		}
		if len(values) > 0 && math.Abs(d.Mean()-sum/float64(len(values))) > 1e-6*math.Abs(sum)+1e-9 {
			t.Fatalf("mean %g, want %g", d.Mean(), sum/float64(len(values)))
		}
		counted, end := int64(0), int64(math.MinInt64)
		for b := range d.Bins() {
			var want int64
			for _, v := range values {
				if v >= b.Low && v < b.High {
					want++
				}
			}
			if b.Count != want || b.Low < end || b.High <= b.Low {
				t.Fatalf("bin %+v, want %d", b, want)
			}
			counted, end = counted+b.Count, b.High
		}
		if counted != d.Count {
			t.Fatalf("%d in bins, %d counted", counted, d.Count)
		}
	})
}

func TestBinsOfTheQuantitiesAreExactAtTheirEnds(t *testing.T) {
	for name, s := range map[string]shape{
		"one half": oneHalfShape, "one difference": oneDifferenceShape, "zero half": zeroHalfShape, "zero": zeroTotalShape,
		"gap": gapShape, "interval": intervalShape, "same address": sameAddressShape, "preamble": preambleShape,
	} {
		d := newDistribution(s, Limit{0, Unlimited})
		for i := int64(0); i < s.fineBins+s.coarseBins+2; i++ {
			low, high := s.bounds(i)
			for _, v := range []int64{low, high - 1} {
				before := d.bins[i]
				d.record(v)
				require.Equal(t, before+1, d.bins[i], "%s: %d", name, v)
			}
		}
	}
}

func TestSummaryIsJSON(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	s := newStream(Negative)
	for range 20 {
		s.varied(randomPacket(random).AppendBits(nil, 14), StationReading().Limits, random)
	}
	_, r := receive(StationReading(), s.edges, s.now)
	text, err := json.Marshal(r.Statistics().Summary())
	require.NoError(t, err)
	var back StatisticsSummary
	require.NoError(t, json.Unmarshal(text, &back))
	assert.Equal(t, r.Statistics().Summary(), back)
	assert.Contains(t, string(text), `"one_half_ns":{"count":`)
	assert.NotContains(t, string(text), "null")
	assert.Equal(t, int64(20), back.Packets)
}

func TestEverythingLegalIsInsideTheLimits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		s := newStream(Negative)
		for range 10 {
			s.varied(randomPacket(random).AppendBits(nil, 14+random.IntN(8)), StationReading().Limits, random)
		}
		h, r := receive(StationReading(), s.edges, s.now)
		st := r.Statistics()
		if len(h.packets) != 10 || len(h.unusable) != 0 || st.OneHalf.Outside+st.OneDifference.Outside+
			st.ZeroHalf.Outside+st.ZeroTotal.Outside+st.Preamble.Outside != 0 {
			t.Fatalf("%d packets, unusable %v, %+v", len(h.packets), h.unusable, st.Summary())
		}
		if st.OneHalf.Count+st.ZeroHalf.Count != int64(len(s.edges)-2) { // the first half-bit is only a piece
			t.Fatalf("%d and %d halves of %d edges", st.OneHalf.Count, st.ZeroHalf.Count, len(s.edges))
		}
	})
}
