package signal

import (
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"bufferstop/harness/dcc"
)

var (
	reset      = dcc.Seal(0, 0)
	idle       = dcc.Seal(0xff, 0)
	speed      = dcc.Seal(3, 0x3f, 0x80)
	readings   = []Reading{StationReading(), DecoderReading()}
	polarities = []Level{Positive, Negative}
)

func TestPacketIsReceivedWithItsTimes(t *testing.T) {
	for _, reading := range readings {
		for _, level := range polarities {
			s := newStream(level).packet(reset, 14)
			firstEnd := s.now
			s.packet(speed, 15)
			h, _ := receive(reading, s.edges, s.now)

			require.Len(t, h.packets, 2)
			assert.Empty(t, h.unusable)
			assert.Equal(t, Packet{
				Start: 0, StartBit: 14 * 116 * us, End: firstEnd, Preamble: 14, Bytes: reset,
			}, h.packets[0])
			assert.Equal(t, Packet{
				Start: firstEnd, StartBit: firstEnd + 15*116*us, End: s.now, Preamble: 15, AfterEndBit: true, PreambleSeen: true, Bytes: speed,
			}, h.packets[1])
		}
	}
}

// The bits are those printed in S-9.2 B (July 2004) for the reset, idle and broadcast stop packets, with the shortest preamble
// that every decoder must accept.
func TestPacketsOfTheStandardAreReceived(t *testing.T) {
	for text, want := range map[string]string{
		"111111111111 0 00000000 0 00000000 0 00000000 1": "000000",
		"111111111111 0 11111111 0 00000000 0 11111111 1": "ff00ff",
		"111111111111 0 00000000 0 01100000 0 01100000 1": "006060",
	} {
		s := newStream(Negative)
		for _, c := range text {
			if c != ' ' {
				s.bits(byte(c - '0'))
			}
		}
		h, _ := receive(DecoderReading(), s.edges, s.now)
		assert.Equal(t, []string{want}, h.bytes())
	}
}

func TestPacketIsDeliveredAtTheEdgeThatEndsItsEndBit(t *testing.T) {
	s := newStream(Negative).packet(reset, 14)
	h := new(heard)
	r := NewReceiver(DecoderReading(), h)
	r.Edges(s.edges[:len(s.edges)-1])
	require.Empty(t, h.packets)
	r.Edge(s.edges[len(s.edges)-1])
	require.Len(t, h.packets, 1)
}

func TestStreamCanBeJoinedAnywhere(t *testing.T) {
	s := newStream(Negative).packet(speed, 14).packet(idle, 14).packet(reset, 14).packet(speed, 14)
	for _, reading := range readings {
		all, _ := receive(reading, s.edges, s.now)
		require.Len(t, all.packets, 4)
		for join := range s.edges {
			h, _ := receive(reading, s.edges[join:], s.now)
			whole := 0
			for _, p := range all.packets {
				if p.Start >= s.edges[join].Time {
					whole++
				}
			}
			require.GreaterOrEqual(t, len(h.packets), whole, "joined at edge %d", join)
			require.Equal(t, all.bytes()[4-len(h.packets):], h.bytes(), "joined at edge %d", join)
			for _, u := range h.unusable {
				require.Equal(t, ReasonCutAtStart, u.Reason, "joined at edge %d", join)
				require.Equal(t, s.edges[join].Time, u.Start)
			}
			require.LessOrEqual(t, len(h.unusable), 1)
		}
	}
}

func TestStreamCanEndAnywhere(t *testing.T) {
	s := newStream(Negative).packet(speed, 14)
	startBit := 2 * 14
	for last := 1; last < len(s.edges); last++ {
		h, _ := receive(StationReading(), s.edges[:last+1], s.edges[last].Time)
		switch {
		case last <= startBit:
			require.Empty(t, h.unusable, "ended at edge %d", last)
		case last < len(s.edges)-1:
			require.Equal(t, []Unusable{{0, s.edges[last].Time, ReasonCutAtEnd}}, h.unusable, "ended at edge %d", last)
		default:
			require.Empty(t, h.unusable)
			require.Len(t, h.packets, 1)
		}
	}
}

func TestStretchedZeroWithUnequalHalvesIsAZero(t *testing.T) {
	s := newStream(Negative).ones(14).halves(95*us, 9900*us) // the start bit
	for range 3 {
		s.bits(0, 0, 0, 0, 0, 0, 0, 0).halves(2000*us, 100*us)
	}
	s.edges = s.edges[:len(s.edges)-2]
	s.now, s.level = s.edges[len(s.edges)-1].Time, s.edges[len(s.edges)-1].Level
	s.ones(1)
	for _, reading := range readings {
		h, r := receive(reading, s.edges, s.now)
		require.Equal(t, []string{"000000"}, h.bytes())
		assert.Equal(t, int64(9995*us), r.Statistics().ZeroTotal.Max)
		assert.Equal(t, 14*116*us, r.Statistics().ZeroTotal.MaxAt)
		assert.Equal(t, int64(9900*us), r.Statistics().ZeroHalf.Max)
		assert.Equal(t, 14*116*us+95*us, r.Statistics().ZeroHalf.MaxAt)
		assert.Zero(t, r.Statistics().ZeroTotal.Outside)
	}
}

// S-9.2 A (July 2004): fewer than 10 complete ones must not be accepted, 12 must. We accept from 10 on.
func TestPreambleDecidesWhetherThePacketIsReceived(t *testing.T) {
	for _, reading := range readings {
		for ones := 1; ones <= 16; ones++ {
			s := newStream(Negative).packet(idle, 14)
			end := s.now
			s.packet(reset, ones)
			cut := s.now
			s.packet(speed, 14)
			h, _ := receive(reading, s.edges, s.now)
			if ones >= 10 {
				require.Equal(t, []string{"ff00ff", "000000", "033f80bc"}, h.bytes(), "%d ones", ones)
				require.Equal(t, ones, h.packets[1].Preamble)
				require.Empty(t, h.unusable)
			} else {
				// The rest of the lost packet ends with its end bit, which cannot be told from the preamble that follows.
				require.Equal(t, []string{"ff00ff", "033f80bc"}, h.bytes(), "%d ones", ones)
				require.Equal(t, []Unusable{{end, cut - 116*us, ReasonPreambleTooShort}}, h.unusable)
				require.Equal(t, 15, h.packets[1].Preamble)
				require.False(t, h.packets[1].AfterEndBit)
			}
		}
	}
}

func TestDecoderReadingCanAskForTwelveOnes(t *testing.T) {
	reading := DecoderReading()
	reading.Preamble = 12
	for ones, want := range map[int]int{11: 0, 12: 1} {
		s := newStream(Negative).packet(reset, ones)
		h, _ := receive(reading, s.edges, s.now)
		assert.Len(t, h.packets, want, "%d ones", ones)
	}
}

// S-9.1 A, Table 1 (2020): a decoder must accept 52–64 µs and 90–10000 µs.
func TestDecoderReadingAcceptsItsBandsAndNothingElse(t *testing.T) {
	for length, usable := range map[time.Duration]bool{
		52*us - 1: false, 52 * us: true, 64 * us: true, 64*us + 1: false,
		78 * us: false, 90*us - 1: false, 90 * us: true, 10000 * us: true, 10000*us + 1: false,
	} {
		s := newStream(Negative).packet(idle, 14)
		at := s.now
		s.ones(14).zero().halves(length, length).bits(0, 0, 0, 0, 0, 0, 0)
		if usable && length < 80*us {
			s.bits(0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 0, 1)
		} else {
			s.bits(0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1)
		}
		s.packet(reset, 14)
		h, _ := receive(DecoderReading(), s.edges, s.now)
		if usable {
			require.Len(t, h.packets, 3, "%v", length)
			require.Empty(t, h.unusable)
		} else {
			require.Equal(t, []string{"ff00ff", "000000"}, h.bytes(), "%v", length)
			require.Len(t, h.unusable, 1)
			require.Equal(t, ReasonNoBand, h.unusable[0].Reason)
			require.Equal(t, at, h.unusable[0].Start)
			require.Equal(t, h.packets[1].Start, h.unusable[0].End)
		}
	}
}

// S-9.1 A, Table 1 (2020): a decoder must accept ones whose halves differ by 6 µs.
func TestDecoderReadingAcceptsUnequalHalvesUpToItsLimit(t *testing.T) {
	for difference, usable := range map[time.Duration]bool{6 * us: true, 6*us + 1: false} {
		s := newStream(Negative).ones(14).zero().halves(55*us, 55*us+difference).bits(0, 0, 0, 0, 0, 0, 0)
		s.bits(0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 0, 1)
		h, _ := receive(DecoderReading(), s.edges, s.now)
		if usable {
			assert.Equal(t, []string{"800080"}, h.bytes())
		} else {
			assert.Empty(t, h.packets)
			require.Len(t, h.unusable, 1)
			assert.Equal(t, ReasonHalvesDiffer, h.unusable[0].Reason)
		}
	}
}

func TestUnlikeHalvesBreakAPreambleForADecoder(t *testing.T) {
	for _, after := range []int{9, 10} {
		s := newStream(Negative).packet(idle, 14)
		end := s.now
		s.ones(5).halves(52*us, 64*us)
		restart := s.now
		s.packet(reset, after)
		h, _ := receive(DecoderReading(), s.edges, s.now)
		if after == 9 {
			assert.Equal(t, []string{"ff00ff"}, h.bytes())
			require.Len(t, h.unusable, 1)
			assert.Equal(t, ReasonHalvesDiffer, h.unusable[0].Reason)
			continue
		}
		require.Equal(t, []string{"ff00ff", "000000"}, h.bytes())
		assert.Equal(t, 10, h.packets[1].Preamble)
		assert.Equal(t, restart, h.packets[1].Start)
		assert.False(t, h.packets[1].AfterEndBit)
		assert.Equal(t, []Unusable{{end, restart, ReasonHalvesDiffer}}, h.unusable)

		h, _ = receive(StationReading(), s.edges, s.now)
		require.Len(t, h.packets, 2)
		assert.Equal(t, 16, h.packets[1].Preamble, "a station's preamble is measured as it is")
		assert.Empty(t, h.unusable)
	}
}

// Halves that match only in the right phase: no packet may be lost because a join guessed the other one.
func TestUnlikeHalvesAreJudgedInTheRightPhase(t *testing.T) {
	s := newStream(Negative)
	for i := range 15 {
		if i%2 == 0 {
			s.halves(52*us, 52*us)
		} else {
			s.halves(64*us, 64*us)
		}
	}
	s.zero().bits(reset.AppendBits(nil, 0)[1:]...)
	for join := range 10 {
		h, _ := receive(DecoderReading(), s.edges[join:], s.now)
		assert.Equal(t, []string{"000000"}, h.bytes(), "joined at edge %d", join)
	}
}

func TestStationReadingMeasuresWhatIsOutside(t *testing.T) {
	s := newStream(Negative).packet(idle, 14)
	strange := s.now
	s.halves(54*us, 64*us).packet(reset, 14)
	h, r := receive(StationReading(), s.edges, s.now)
	require.Equal(t, []string{"ff00ff", "000000"}, h.bytes())
	assert.Empty(t, h.unusable)

	one := &r.Statistics().OneHalf
	assert.Equal(t, int64(2), one.Outside)
	assert.Equal(t, int64(54*us), one.Min)
	assert.Equal(t, strange, one.MinAt)
	assert.Equal(t, strange, one.FirstOutsideAt)
	assert.Equal(t, int64(64*us), one.Max)
	assert.Equal(t, strange+54*us, one.MaxAt)
	difference := &r.Statistics().OneDifference
	assert.Equal(t, int64(1), difference.Outside)
	assert.Equal(t, int64(10*us), difference.Max)
	assert.Equal(t, strange, difference.MaxAt)
}

// Half-bits between the bands belong to the nearer one: the middle of 61 and 95 µs is 78 µs.
func TestStationReadingTakesAHalfBitForTheNearestKind(t *testing.T) {
	for length, want := range map[time.Duration][2]int64{78*us - 1: {1, 0}, 78 * us: {0, 1}, 20 * us: {1, 0}, 12 * time.Millisecond: {0, 1}} {
		r := NewReceiver(StationReading(), nil)
		r.Edges(newStream(Negative).halves(100*us, length).edges)
		r.Finish(0)
		assert.Equal(t, want, [2]int64{r.Statistics().OneHalf.Count, r.Statistics().ZeroHalf.Count}, "%v", length)
	}
}

func TestGlitchInAPacketLosesThatPacketOnly(t *testing.T) {
	clean := newStream(Negative).packet(idle, 14)
	start := clean.now
	inPacket := len(clean.edges) + 2*14
	clean.packet(speed, 14).packet(reset, 14).packet(idle, 14)
	all, _ := receive(StationReading(), clean.edges, clean.now)
	for _, reading := range readings {
		for at := inPacket; clean.edges[at].Time < all.packets[2].Start; at++ {
			middle := (clean.edges[at-1].Time + clean.edges[at].Time) / 2
			edges := append([]Edge{}, clean.edges[:at]...)
			edges = append(edges, Edge{middle, clean.edges[at].Level}, Edge{middle + 2*us, clean.edges[at-1].Level})
			edges = append(edges, clean.edges[at:]...)
			h, r := receive(reading, edges, clean.now)
			require.Equal(t, []string{"ff00ff", "000000", "ff00ff"}, h.bytes(), "glitch before edge %d", at)
			require.Len(t, h.unusable, 1, "glitch before edge %d", at)
			if at == inPacket { // half of the start bit looks like half a one: the packet has not begun
				require.GreaterOrEqual(t, h.unusable[0].Start, clean.edges[at-1].Time)
				require.LessOrEqual(t, h.unusable[0].Start, middle)
			} else {
				require.Equal(t, start, h.unusable[0].Start)
			}
			require.LessOrEqual(t, h.unusable[0].End, all.packets[2].Start)
			require.Zero(t, r.Statistics().OneHalf.Outside, "what a glitch cuts is no half-bit")
		}
	}
}

func TestGlitchIsReportedAsSuch(t *testing.T) {
	s := newStream(Negative).packet(idle, 14)
	end := s.now
	s.half(30*us).half(3*us).half(25*us).half(58*us).packet(reset, 14)
	h, r := receive(StationReading(), s.edges, s.now)
	require.Equal(t, []string{"ff00ff", "000000"}, h.bytes())
	// The second half of the one that the glitch broke belongs to the damage: it has lost its first half.
	assert.Equal(t, []Unusable{{end + 30*us, end + 116*us, ReasonGlitch}}, h.unusable)
	assert.False(t, h.packets[1].AfterEndBit)
	assert.Zero(t, r.Statistics().OneHalf.Outside)
	assert.Zero(t, r.Statistics().Gap.Count)
}

func TestMissingReversalIsAFramingFault(t *testing.T) {
	s := newStream(Negative).packet(idle, 14)
	start := s.now
	s.ones(14).zero()
	s.half(58 * us).half(58 * us).half(58 * us).half(158 * us) // of the second one and the zero a reversal is missing
	s.half(100*us).bits(0, 0, 0, 0, 0)
	s.packet(reset, 14)
	h, _ := receive(StationReading(), s.edges, s.now)
	require.Equal(t, []string{"ff00ff", "000000"}, h.bytes())
	assert.Equal(t, []Unusable{{start, h.packets[1].Start, ReasonFraming}}, h.unusable)
}

func TestHalfTooManyInAPreambleIsAFramingFault(t *testing.T) {
	s := newStream(Negative).packet(idle, 14)
	end := s.now
	s.half(58*us).packet(reset, 14)
	h, _ := receive(StationReading(), s.edges, s.now)
	require.Equal(t, []string{"ff00ff", "000000"}, h.bytes())
	assert.Equal(t, []Unusable{{end, end + 58*us, ReasonFraming}}, h.unusable)
	assert.Equal(t, end+58*us, h.packets[1].Start)
	assert.Equal(t, 14, h.packets[1].Preamble)
	assert.False(t, h.packets[1].AfterEndBit)
}

func TestHalfBitTooLongToBeAZeroIsNotOne(t *testing.T) {
	s := newStream(Negative).packet(idle, 14)
	end := s.now
	s.half(12*time.Millisecond+1).packet(reset, 14)
	h, r := receive(StationReading(), s.edges, s.now)
	require.Equal(t, []string{"ff00ff", "000000"}, h.bytes())
	assert.Equal(t, []Unusable{{end, end + 12*time.Millisecond + 1, ReasonNoBand}}, h.unusable)
	assert.Equal(t, int64(100*us), r.Statistics().ZeroHalf.Max)
}

func TestDCIsReportedWhenTheStreamEnds(t *testing.T) {
	s := newStream(Negative).packet(idle, 14)
	h, _ := receive(StationReading(), s.edges, s.now+time.Second)
	assert.Equal(t, []Unusable{{s.now, s.now + time.Second, ReasonNoBand}}, h.unusable)
}

func TestBytesAreJudged(t *testing.T) {
	body := func(n int) dcc.Packet { return dcc.Seal(make([]byte, n-1)...) }
	for _, c := range []struct {
		bytes dcc.Packet
		want  Fault
	}{
		{dcc.Packet{3, 0x3f, 0x80, 0xbd}, BadErrorByte},
		{dcc.Packet{3}, TooShort}, {dcc.Packet{3, 3}, TooShort},
		{body(3), None}, {body(6), None}, {body(7), TooLong}, {body(40), TooLong},
		{dcc.Packet{1, 2, 3, 4, 5, 6, 77}, TooLong},
	} {
		s := newStream(Positive).packet(c.bytes, 14).packet(idle, 14)
		h, r := receive(StationReading(), s.edges, s.now)
		require.Len(t, h.packets, 2, "%v", c.bytes)
		assert.Equal(t, c.want, h.packets[0].Fault, "%v", c.bytes)
		assert.Equal(t, c.bytes, h.packets[0].Bytes)
		assert.Equal(t, int64(2), r.Statistics().Packets)
		if c.want == None {
			assert.Zero(t, r.Statistics().Invalid)
		} else {
			assert.Equal(t, int64(1), r.Statistics().Invalid)
		}
	}
}

func TestPacketWithoutEndIsGivenUp(t *testing.T) {
	s := newStream(Positive).packet(make(dcc.Packet, maxBytes+1), 14).packet(idle, 14)
	h, _ := receive(StationReading(), s.edges, s.now)
	assert.Equal(t, []string{"ff00ff"}, h.bytes())
	require.Len(t, h.unusable, 1)
	assert.Equal(t, ReasonFraming, h.unusable[0].Reason)
	assert.Zero(t, h.unusable[0].Start)
}

func TestGarbageIsOneReport(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	s := newStream(Positive).packet(idle, 14)
	end := s.now
	for range 10000 {
		s.half(time.Duration(random.IntN(300)+1) * us)
	}
	s.packet(reset, 14)
	h, _ := receive(DecoderReading(), s.edges, s.now)
	require.Equal(t, []string{"ff00ff", "000000"}, h.bytes())
	require.Len(t, h.unusable, 1)
	assert.GreaterOrEqual(t, h.unusable[0].Start, end)
	assert.Equal(t, h.packets[1].Start, h.unusable[0].End)
}

func TestRepeatedLevelsAreIgnored(t *testing.T) {
	s := newStream(Positive).packet(idle, 14)
	var edges []Edge
	for _, e := range s.edges {
		edges = append(edges, e, Edge{e.Time + 10*us, e.Level})
	}
	h, r := receive(DecoderReading(), edges, s.now)
	assert.Equal(t, []string{"ff00ff"}, h.bytes())
	assert.Empty(t, h.unusable)
	assert.Equal(t, int64(len(s.edges)), r.Statistics().Edges)
}

func TestTimeThatRunsBackwardsIsReported(t *testing.T) {
	s := newStream(Positive).packet(idle, 14)
	end := s.now
	s.ones(14).zero().bits(0, 1, 0)
	newest := s.now
	s.now -= 5 * time.Millisecond
	back := s.now
	s.half(0)
	s.packet(reset, 14).packet(speed, 14)
	h, r := receive(StationReading(), s.edges, s.now)
	require.Equal(t, []string{"ff00ff", "000000", "033f80bc"}, h.bytes())
	require.Len(t, h.unusable, 1)
	assert.Equal(t, ReasonBackwards, h.unusable[0].Reason)
	assert.Equal(t, min(end, back), h.unusable[0].Start)
	assert.Less(t, h.unusable[0].Start, newest)
	assert.Equal(t, int64(1), r.Statistics().Interval.Count, "none across the jump")
}

func TestLostStretchIsReportedAndNotMeasured(t *testing.T) {
	for _, reading := range readings {
		s := newStream(Positive).packet(idle, 14)
		end := s.now
		h := new(heard)
		r := NewReceiver(reading, h)
		s.ones(14).zero().bits(0, 1, 0)
		r.Edges(s.edges)
		from := s.now + 20*us
		to := from + 3*time.Millisecond
		r.Lost(from, to)
		rest := &stream{now: to + 10*us, level: Negative}
		rest.halves(0, 33*us).packet(reset, 14).packet(speed, 14)
		r.Edges(rest.edges)
		r.Finish(rest.now)

		require.Equal(t, []string{"ff00ff", "000000", "033f80bc"}, h.bytes())
		assert.Equal(t, []Unusable{{end, h.packets[1].Start, ReasonLost}}, h.unusable)
		assert.Equal(t, int64(1), r.Statistics().Interval.Count, "none across the lost stretch")
		assert.Zero(t, r.Statistics().Gap.Count)
		assert.Zero(t, r.Statistics().OneHalf.Outside)
		assert.Equal(t, int64(100*us), r.Statistics().ZeroHalf.Max)
	}
}

func TestLostStretchBetweenPacketsIsReportedAlone(t *testing.T) {
	s := newStream(Positive).packet(idle, 14).ones(2)
	h := new(heard)
	r := NewReceiver(StationReading(), h)
	r.Edges(s.edges)
	r.Lost(s.now+10*us, s.now+110*us)
	rest := &stream{now: s.now + 116*us, level: s.level}
	rest.half(0).packet(reset, 14)
	r.Edges(rest.edges)
	r.Finish(rest.now)
	require.Equal(t, []string{"ff00ff", "000000"}, h.bytes())
	assert.Equal(t, []Unusable{{s.now + 10*us, s.now + 116*us, ReasonLost}}, h.unusable)
}

func TestLostStretchAtTheEndIsReported(t *testing.T) {
	s := newStream(Positive).packet(idle, 14)
	h := new(heard)
	r := NewReceiver(StationReading(), h)
	r.Edges(s.edges)
	r.Lost(s.now, s.now+time.Second)
	r.Finish(s.now + time.Second)
	assert.Equal(t, []Unusable{{s.now, s.now + time.Second, ReasonLost}}, h.unusable)
}

// The property behind all of it: what was sent whole, after a whole preamble, is received, and nothing else is.
func TestWhatIsSentWholeIsReceivedAndNothingElse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		reading := rapid.SampledFrom(readings).Draw(t, "reading")
		random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		s := newStream(rapid.SampledFrom(polarities).Draw(t, "polarity"))
		type sent struct {
			from, to int // edges
			bytes    string
		}
		var all []sent
		for range rapid.IntRange(1, 12).Draw(t, "packets") {
			p := randomPacket(random)
			from := len(s.edges) - 1
			s.varied(p.AppendBits(nil, 12+random.IntN(12)), reading.Limits, random)
			all = append(all, sent{from, len(s.edges) - 1, p.String()})
		}
		join := rapid.IntRange(0, len(s.edges)-1).Draw(t, "join")
		leave := rapid.IntRange(join, len(s.edges)-1).Draw(t, "leave")
		h, _ := receive(reading, s.edges[join:leave+1], s.edges[leave].Time)
		mustHave, may := []string{}, map[int]bool{}
		for _, p := range all {
			if p.from >= join && p.to <= leave {
				mustHave = append(mustHave, p.bytes)
			}
			may[p.to] = true
		}
		got := h.bytes()
		if len(got) == len(mustHave)+1 {
			got = got[1:] // one whose preamble was long enough though cut
		}
		if fmt.Sprint(got) != fmt.Sprint(mustHave) {
			t.Fatalf("joined at %d, left at %d: got %v, want %v, unusable %v", join, leave, h.bytes(), mustHave, h.unusable)
		}
	})
}

// damage changes a stream in ways that probes and tracks do.
func damage(t *rapid.T, s *stream) []Edge {
	edges := append([]Edge{}, s.edges...)
	for range rapid.IntRange(0, 4).Draw(t, "damages") {
		if len(edges) < 10 {
			break
		}
		at := rapid.IntRange(1, len(edges)-3).Draw(t, "at")
		before, after := edges[at-1], edges[at]
		if after.Time-before.Time < 20*us {
			continue // damaged already
		}
		inside := func(share int64) time.Duration {
			return before.Time + (after.Time-before.Time)*time.Duration(share)/8
		}
		var changed []Edge
		switch rapid.IntRange(0, 3).Draw(t, "kind") {
		case 0: // a reversal is missing
			edges = append(edges[:at:at], edges[at+1:]...)
			continue
		case 1: // a glitch
			changed = []Edge{{inside(2), after.Level}, {inside(2) + us, before.Level}}
		case 2: // off and on again within a half-bit
			changed = []Edge{{inside(1), Off}, {inside(7), before.Level}}
		case 3: // off for long: nothing of it was there
			changed = []Edge{{inside(1), Off}}
			edges = append(append(edges[:at:at], changed...), edges[at+2:]...)
			continue
		}
		edges = append(append(edges[:at:at], changed...), edges[at:]...)
	}
	return edges
}

// Every interval between two edges is in a packet, in a run of ones, or in a report, except the piece after a beginning.
func TestNothingIsLostSilently(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		reading := rapid.SampledFrom(readings).Draw(t, "reading")
		random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		s := newStream(Positive)
		for range rapid.IntRange(1, 8).Draw(t, "packets") {
			s.varied(randomPacket(random).AppendBits(nil, 14+random.IntN(6)), reading.Limits, random)
		}
		edges := damage(t, s)
		h, _ := receive(reading, edges, s.now)
		covered := func(from, to time.Duration) bool {
			for _, p := range h.packets {
				if p.Start <= from && to <= p.End {
					return true
				}
			}
			for _, u := range h.unusable {
				if u.Start <= from && to <= u.End {
					return true
				}
			}
			return false
		}
		edges = slices.CompactFunc(edges, func(a, b Edge) bool { return a.Level == b.Level })
		for i := 1; i < len(edges); i++ {
			from, to := edges[i-1], edges[i]
			length := to.Time - from.Time
			piece := i == 1 || edges[i-2].Level == Off || to.Level == Off
			if from.Level != Off && length <= reading.One.High && (piece || length >= reading.One.Low) {
				continue // half a one, or a piece of one
			}
			if !covered(from.Time, to.Time) {
				t.Fatalf("from %v to %v is nowhere; packets %v, unusable %v", from, to, h.packets, h.unusable)
			}
		}
		// Reports are in order and do not overlap.
		for i := 1; i < len(h.unusable); i++ {
			if h.unusable[i].Start < h.unusable[i-1].End {
				t.Fatalf("reports overlap: %v", h.unusable)
			}
		}
	})
}

func TestEdgesOneByOneAreTheSameAsTogether(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		reading := rapid.SampledFrom(readings).Draw(t, "reading")
		random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		s := newStream(Negative)
		for range rapid.IntRange(1, 8).Draw(t, "packets") {
			s.varied(randomPacket(random).AppendBits(nil, 9+random.IntN(9)), reading.Limits, random)
		}
		edges := damage(t, s)
		together, a := receive(reading, edges, s.now)
		h := new(heard)
		b := NewReceiver(reading, h)
		for rest := edges; len(rest) > 0; {
			n := min(len(rest), rapid.IntRange(1, 9).Draw(t, "chunk"))
			if n == 1 {
				b.Edge(rest[0])
			} else {
				b.Edges(rest[:n])
			}
			rest = rest[n:]
		}
		b.Finish(s.now)
		if fmt.Sprint(*together) != fmt.Sprint(*h) || *a.Statistics() != *b.Statistics() {
			t.Fatalf("together %v, one by one %v", *together, *h)
		}
	})
}

func TestNoEdgeAllocates(t *testing.T) {
	s := newStream(Negative)
	for range 50 {
		s.packet(speed, 14).packet(idle, 16).off(30*us, 400*us, Positive).half(20 * us).half(5 * us)
	}
	r := NewReceiver(StationReading(), new(count))
	assert.Zero(t, testing.AllocsPerRun(10, func() {
		for _, e := range s.edges {
			r.Edge(e)
		}
		r.Edges(s.edges)
		r.Lost(s.now, s.now+1)
		r.Finish(s.now)
	}))
}

func TestMemoryDoesNotDependOnTheLengthOfTheStream(t *testing.T) {
	s := benchmarkStream()
	r := NewReceiver(StationReading(), new(count))
	heap := func() uint64 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	shifted := make([]Edge, 4096)
	before := heap()
	var offset time.Duration
	total := 0
	for total < 10_000_000 {
		for at := 0; at < len(s.edges); at += len(shifted) {
			n := copy(shifted, s.edges[at:])
			for i := range n {
				shifted[i].Time += offset
			}
			r.Edges(shifted[:n])
			total += n
		}
		offset += s.now
	}
	r.Finish(offset)
	after := heap()
	assert.Less(t, after, before+64<<10)
	assert.Zero(t, r.Statistics().Invalid)
	assert.Greater(t, r.Statistics().Packets, int64(80_000))
	runtime.KeepAlive(s)
}

func TestLevelsThatAreNoneDoNoHarm(t *testing.T) {
	s := newStream(Positive).packet(idle, 14)
	for i := range s.edges {
		if s.edges[i].Level == Positive {
			s.edges[i].Level = 77
		} else {
			s.edges[i].Level = math.MinInt8
		}
	}
	h, _ := receive(StationReading(), s.edges, s.now)
	assert.Equal(t, []string{"ff00ff"}, h.bytes(), "only the sign counts")
}

func TestReceiverCanBeUsedAgainAfterFinish(t *testing.T) {
	s := newStream(Positive).packet(idle, 14)
	h := new(heard)
	r := NewReceiver(StationReading(), h)
	for range 3 {
		r.Edges(s.edges)
		r.Finish(s.now)
	}
	assert.Len(t, h.packets, 3)
	assert.Empty(t, h.unusable)
	assert.Zero(t, r.Statistics().Interval.Count)
}

func TestDifferenceIsMeasuredOnlyWhereThePhaseIsKnown(t *testing.T) {
	s := newStream(Negative)
	for range 14 {
		s.halves(55*us, 61*us, 61*us, 55*us) // in the wrong phase the halves of every other one are alike
	}
	s.zero().bits(reset.AppendBits(nil, 0)[1:]...)
	_, r := receive(StationReading(), s.edges[2:], s.now)
	assert.Equal(t, int64(1), r.Statistics().OneDifference.Count, "that of the end bit")
}

func TestHalfThatShowsABrokenFrameMayBeginThePreamble(t *testing.T) {
	s := newStream(Negative).packet(idle, 14)
	start := s.now
	s.ones(14).zero().bits(0, 1, 0).half(100 * us) // the second half of a zero is missing
	s.packet(reset, 10)
	h, _ := receive(DecoderReading(), s.edges, s.now)
	require.Equal(t, []string{"ff00ff", "000000"}, h.bytes())
	assert.Equal(t, 10, h.packets[1].Preamble)
	assert.Equal(t, []Unusable{{start, h.packets[1].Start, ReasonFraming}}, h.unusable)
}

func TestTimeThatRunsBackwardsInALostStretchWidensIt(t *testing.T) {
	s := newStream(Positive).packet(idle, 14).ones(3)
	s.half(3 * us).half(40 * us) // a glitch
	s.now -= 300 * us
	back := s.now
	s.half(0).packet(reset, 14)
	h, _ := receive(StationReading(), s.edges, s.now)
	require.Equal(t, []string{"ff00ff", "000000"}, h.bytes())
	assert.Equal(t, []Unusable{{back, h.packets[1].Start, ReasonGlitch}}, h.unusable)
}

func TestLostStretchEndsWhereAPreambleBeginsThatTheEndCuts(t *testing.T) {
	for ones, want := range map[int]bool{9: false, 10: true} {
		s := newStream(Positive).packet(idle, 14)
		glitch := s.now
		s.half(3 * us).half(55 * us)
		begin := s.now
		s.ones(ones)
		end := s.now + 10*us
		h, _ := receive(StationReading(), s.edges, end)
		// The piece after the glitch is as long as half a one, and so the first of them.
		if begin -= 55 * us; !want {
			begin = end
		}
		assert.Equal(t, []Unusable{{glitch, begin, ReasonGlitch}}, h.unusable, "%d ones", ones)
	}
}

func TestDCBeforeTheFirstReversalIsReported(t *testing.T) {
	s := newStream(Positive).half(time.Second)
	s.packet(reset, 14)
	h, r := receive(StationReading(), s.edges, s.now)
	require.Equal(t, []string{"000000"}, h.bytes())
	assert.Equal(t, []Unusable{{0, time.Second, ReasonNoBand}}, h.unusable)
	assert.Equal(t, int64(100*us), r.Statistics().ZeroHalf.Max)
}

func TestDCBeforeALostStretchOrAnOffStateIsNotForgotten(t *testing.T) {
	s := newStream(Positive).packet(idle, 14)
	h := new(heard)
	r := NewReceiver(StationReading(), h)
	r.Edges(s.edges)
	r.Lost(s.now+time.Second, s.now+2*time.Second)
	r.Finish(s.now + 2*time.Second)
	assert.Equal(t, []Unusable{{s.now, s.now + 2*time.Second, ReasonLost}}, h.unusable)

	off := s.now + time.Second
	h, _ = receive(StationReading(), append(s.edges, Edge{off, Off}), off+us)
	assert.Equal(t, []Unusable{{s.now, off, ReasonNoBand}, {off, off + us, ReasonOff}}, h.unusable)
}

// The run of ones has a half too many, and halves that are unlike only in the phase that the start bit shows to be right.
func TestUnlikeHalvesAreFoundInTheOtherPhaseToo(t *testing.T) {
	s := newStream(Negative).packet(idle, 14)
	end := s.now
	s.half(58*us).ones(3).halves(52*us, 64*us)
	restart := s.now
	s.packet(reset, 12)
	for _, together := range []bool{true, false} {
		h := new(heard)
		r := NewReceiver(DecoderReading(), h)
		if together {
			r.Edges(s.edges)
		} else {
			for _, e := range s.edges {
				r.Edge(e)
			}
		}
		r.Finish(s.now)
		require.Equal(t, []string{"ff00ff", "000000"}, h.bytes())
		assert.Equal(t, 12, h.packets[1].Preamble)
		assert.Equal(t, restart, h.packets[1].Start)
		assert.Equal(t, []Unusable{{end, restart, ReasonHalvesDiffer}}, h.unusable)
	}
}
