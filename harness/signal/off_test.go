package signal

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestOffBetweenPacketsIsAGap(t *testing.T) {
	for _, back := range polarities {
		s := newStream(Negative).packet(idle, 14)
		end := s.now
		s.off(28*us, 440*us, back)
		on := s.now
		s.packet(reset, 16)
		h, r := receive(StationReading(), s.edges, s.now)
		require.Equal(t, []string{"ff00ff", "000000"}, h.bytes())
		assert.Equal(t, []Unusable{{end + 28*us, end + 468*us, ReasonOff}}, h.unusable)
		assert.False(t, h.packets[1].AfterEndBit)
		assert.Equal(t, on, h.packets[1].Start)
		assert.Equal(t, 16, h.packets[1].Preamble)
		gap := &r.Statistics().Gap
		assert.Equal(t, int64(1), gap.Count)
		assert.Equal(t, int64(468*us), gap.Max)
		assert.Equal(t, end, gap.MaxAt)
		assert.Equal(t, int64(1), r.Statistics().Interval.Count)
	}
}

func TestHalfBitAfterOffIsNeverMeasured(t *testing.T) {
	s := newStream(Negative).packet(idle, 14).off(28*us, 440*us, Positive).half(57*us).half(59*us).packet(reset, 14)
	_, r := receive(StationReading(), s.edges, s.now)
	assert.Equal(t, int64(58*us), r.Statistics().OneHalf.Min)
	assert.Equal(t, int64(59*us), r.Statistics().OneHalf.Max)

	s = newStream(Negative).packet(idle, 14).off(28*us, 440*us, Positive).half(33*us).packet(reset, 14)
	h, r := receive(StationReading(), s.edges, s.now)
	require.Len(t, h.packets, 2)
	assert.Equal(t, 14, h.packets[1].Preamble)
	assert.Zero(t, r.Statistics().OneHalf.Outside)
}

// At power-on the first half-bit of the preamble is whole, and a station that sends fourteen ones sends enough.
func TestFirstPreambleAfterPowerOnIsWhole(t *testing.T) {
	s := newStream(Off)
	s.now = 50 * time.Millisecond
	s.level = Positive
	s.edges = append(s.edges, Edge{s.now, Positive})
	s.packet(reset, 14)
	h, r := receive(StationReading(), s.edges, s.now)
	require.Len(t, h.packets, 1)
	assert.Equal(t, 14, h.packets[0].Preamble)
	assert.Equal(t, 50*time.Millisecond, h.packets[0].Start)
	assert.Equal(t, int64(1), r.Statistics().Preamble.Count)
	assert.Zero(t, r.Statistics().Preamble.Outside)
	assert.Equal(t, []Unusable{{0, 50 * time.Millisecond, ReasonOff}}, h.unusable)
}

func TestOffInAPacketCutsIt(t *testing.T) {
	s := newStream(Negative).packet(idle, 14)
	end := s.now
	s.ones(14).zero().bits(0, 1)
	off := s.now + 40*us
	s.off(40*us, time.Millisecond, s.level)
	on := s.now
	s.half(60*us).bits(0, 1, 1, 0).packet(reset, 14)
	h, _ := receive(StationReading(), s.edges, s.now)
	require.Equal(t, []string{"ff00ff", "000000"}, h.bytes())
	assert.Equal(t, []Unusable{
		{end, off, ReasonCutByOff},
		{off, on, ReasonOff},
		{on, h.packets[1].Start, ReasonCutByOff},
	}, h.unusable)
}

func TestOffThatNeverEndsIsReported(t *testing.T) {
	s := newStream(Negative).packet(idle, 14)
	edges := append(s.edges, Edge{s.now + 10*us, Off})
	h, r := receive(StationReading(), edges, s.now+time.Hour)
	assert.Equal(t, []Unusable{{s.now + 10*us, s.now + time.Hour, ReasonOff}}, h.unusable)
	assert.Equal(t, int64(1), r.Statistics().Unusable)
	assert.Equal(t, time.Hour-10*us, r.Statistics().UnusableTime)
}

func TestOffIsNotALongBit(t *testing.T) {
	for _, back := range polarities {
		s := newStream(Negative).ones(14).off(20*us, 150*us, back).half(30 * us).ones(3)
		_, r := receive(StationReading(), s.edges, s.now)
		assert.Zero(t, r.Statistics().ZeroHalf.Count)
		assert.Zero(t, r.Statistics().OneHalf.Outside)
	}
}

// slowly spreads every reversal: the level is off for d around it.
func slowly(edges []Edge, d time.Duration) []Edge {
	slow := []Edge{edges[0]}
	for _, e := range edges[1:] {
		slow = append(slow, Edge{e.Time - d/2, Off}, Edge{e.Time - d/2 + d, e.Level})
	}
	return slow
}

// 8 V at 2.0 V/µs are 4 µs (S-9.1 B, Table 2, 2020).
func TestPassingThroughZeroIsAReversalInTheMiddle(t *testing.T) {
	for _, reading := range readings {
		s := newStream(Negative).packet(idle, 14).packet(reset, 14)
		h, r := receive(reading, slowly(s.edges, 4*us-2), s.now)
		require.Equal(t, []string{"ff00ff", "000000"}, h.bytes())
		assert.Equal(t, []Unusable(nil), h.unusable)
		assert.Equal(t, int64(58*us), r.Statistics().OneHalf.Min)
		assert.Equal(t, int64(58*us), r.Statistics().OneHalf.Max)
		assert.Equal(t, s.now, h.packets[1].End)

		h, r = receive(reading, slowly(s.edges, 4*us), s.now)
		assert.Empty(t, h.packets, "an off state at every reversal")
		assert.Zero(t, r.Statistics().OneHalf.Count)
	}
}

func TestShortOffWithoutReversalIsOff(t *testing.T) {
	s := newStream(Negative).packet(idle, 14).ones(3)
	at := s.now + 20*us
	s.off(20*us, us, s.level).half(37*us).packet(reset, 14)
	h, _ := receive(StationReading(), s.edges, s.now)
	assert.Equal(t, []string{"ff00ff", "000000"}, h.bytes())
	assert.Equal(t, []Unusable{{at, at + us, ReasonOff}}, h.unusable)
}
