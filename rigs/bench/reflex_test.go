package bench

import (
	"context"
	"testing"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness"
	"bufferstop/harness/dcc"
	"bufferstop/harness/probe"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// sender makes the edges of packets.
type sender struct {
	to    interface{ Edge(e signal.Edge) }
	now   time.Duration
	level signal.Level
}

func (s *sender) half(d time.Duration) {
	s.now += d
	s.level = -s.level
	s.to.Edge(signal.Edge{Time: s.now, Level: s.level})
}

func (s *sender) bit(one bool) {
	half := 100 * time.Microsecond
	if one {
		half = 58 * time.Microsecond
	}
	s.half(half)
	s.half(half)
}

func (s *sender) packet(p dcc.Packet) {
	for range 20 {
		s.bit(true)
	}
	for _, b := range p {
		s.bit(false)
		for i := 7; i >= 0; i-- {
			s.bit(b>>i&1 == 1)
		}
	}
	s.bit(true)
}

// The rules of an access answer what a decoder acknowledges, and nothing else: asked of a decoder that answers for itself.
func TestTheReflexAnswersWhatTheDecoderWould(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := fakedecoder.Default()
		c.ReadOnly = []int{40}
		c.NoBitMode = rapid.Bool().Draw(t, "no bit mode")
		c.NoWriteAcknowledge = rapid.Bool().Draw(t, "no write acknowledge")
		c.Deaf = rapid.IntRange(0, 9).Draw(t, "deaf") == 0
		if rapid.IntRange(0, 4).Draw(t, "locked") == 0 {
			c.CVs, c.Lock = map[int]byte{15: 1, 16: 2}, fakedecoder.LockAll
		}
		a := harness.Access{CV: rapid.SampledFrom([]int{1, 8, 15, 29, 40, 66, 1023}).Draw(t, "cv")}
		switch rapid.IntRange(0, 2).Draw(t, "kind") {
		case 1:
			a.Write, a.Value = true, rapid.Byte().Draw(t, "value")
		case 2:
			a.WriteBit, a.Bit, a.Value = true, rapid.IntRange(0, 7).Draw(t, "bit"), rapid.ByteRange(0, 1).Draw(t, "value")
		}
		if a.CV == 8 && (a.Write || a.WriteBit) {
			return // the factory reset is no matter of the suites
		}
		decoder, err := fakedecoder.New(c)
		require.NoError(t, err)
		r := &reflex{decoder: decoder, config: c, level: 9}
		rules, err := r.rules(a)
		require.NoError(t, err)
		require.LessOrEqual(t, len(rules), reflexesForOne)

		s := &sender{to: decoder, level: signal.Positive}
		decoder.Edge(signal.Edge{Level: signal.Positive})
		asks := func(i dcc.Instruction) {
			packet, acknowledged := s.sequence(t, decoder, i, 6)
			answered := false
			for _, rule := range rules {
				answered = answered || string(rule.Packet) == string(packet)
				require.Equal(t, pair, rule.Run)
				require.Equal(t, c.Acknowledge.Width, rule.Width)
			}
			require.Equal(t, acknowledged, answered, "%v", i)
		}
		switch {
		case a.Write:
			asks(dcc.DirectWrite{CV: a.CV, Value: a.Value})
		case a.WriteBit:
			asks(dcc.DirectBit{CV: a.CV, Write: true, Bit: a.Bit, Value: a.Value})
		}
		value := decoder.CV(a.CV)
		for _, asked := range []byte{value, value ^ 1, value ^ 0x80} {
			asks(dcc.DirectVerify{CV: a.CV, Value: asked})
		}
		for bit := range 8 {
			asks(dcc.DirectBit{CV: a.CV, Bit: bit, Value: 0})
			asks(dcc.DirectBit{CV: a.CV, Bit: bit, Value: 1})
		}
		asks(dcc.DirectBit{CV: 8, Bit: 7, Value: 0})
	})
}

func TestRulesThatTheProbeHasLostAreArmedAgain(t *testing.T) {
	rig, _ := boxed(t, Options{Seed: 1}, "loop_time = \"60ms\"\n")
	track := rig.Track(station.Programming)
	d, err := track.Fit(fakedecoder.Default())
	require.NoError(t, err)
	ctx := context.Background()
	anticipate := func() {
		require.NoError(t, track.(harness.Anticipator).Anticipate(ctx, harness.Access{Decoder: d, CV: 66}))
	}
	anticipate()
	r := rig.probed.tracks[probe.Programming].reflex
	require.Len(t, r.armed, 10)
	losses := r.losses
	anticipate()
	assert.Equal(t, losses, r.losses)
	rig.probed.Event(probe.Event{What: probe.ReflexesOffSilent})
	anticipate()
	assert.Equal(t, losses+1, r.losses)
	assert.Len(t, r.armed, 10)
	assert.Equal(t, 1, rig.Mishaps().Opened)
	// A decoder that is not the one fitted is nobody's to answer for.
	other, err := fakedecoder.New(fakedecoder.Default())
	require.NoError(t, err)
	require.NoError(t, track.(harness.Anticipator).Anticipate(ctx, harness.Access{Decoder: other, CV: 1}))
	assert.Len(t, r.armed, 10)
	require.NoError(t, track.Open())
	assert.Nil(t, rig.probed.tracks[probe.Programming].reflex)
}

// sequence sends three resets, five packets of an instruction and so many resets more, and reports whether the decoder acknowledged.
func (s *sender) sequence(t require.TestingT, decoder *fakedecoder.Decoder, i dcc.Instruction, after int) (packet dcc.Packet, acknowledged bool) {
	packet, err := i.Packet()
	require.NoError(t, err)
	reset, err := dcc.Reset{}.Packet()
	require.NoError(t, err)
	for range 3 {
		s.packet(reset)
	}
	before := decoder.Counters().Acknowledges
	for range 5 {
		s.packet(packet)
	}
	for range after {
		s.packet(reset)
	}
	return packet, decoder.Counters().Acknowledges > before
}
