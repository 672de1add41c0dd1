package bench

import (
	"testing"

	"bufferstop/fakedecoder"
	"bufferstop/harness"
	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// By the methods beside direct mode too the rules answer what a decoder acknowledges, once the page is the right one.
func TestTheReflexAnswersTheOtherMethodsAsTheDecoderWould(t *testing.T) {
	reach := map[station.Method][]int{
		station.AddressOnly: {1}, station.Register: {1, 2, 4, 29, 7, 8}, station.Paged: {1, 4, 5, 40, 66, 1020, 1024},
	}
	rapid.Check(t, func(t *rapid.T) {
		c := fakedecoder.Default()
		c.ReadOnly, c.WriteOnly = []int{40}, []int{66}
		c.NoWriteAcknowledge = rapid.Bool().Draw(t, "no write acknowledge")
		c.NoPagedMode = rapid.Bool().Draw(t, "no paged mode")
		c.NoDirectMode = rapid.Bool().Draw(t, "no direct mode")
		c.Deaf = rapid.IntRange(0, 9).Draw(t, "deaf") == 0
		a := harness.Access{Method: rapid.SampledFrom([]station.Method{station.AddressOnly, station.Register, station.Paged}).Draw(t, "method")}
		a.CV = rapid.SampledFrom(reach[a.Method]).Draw(t, "cv")
		if a.Write = rapid.Bool().Draw(t, "write"); a.Write {
			a.Value = rapid.Byte().Draw(t, "value")
			if a.CV == 8 {
				return // the factory reset is no matter of the suites
			}
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
			packet, acknowledged := s.sequence(t, decoder, i, 10)
			answered := false
			for _, rule := range rules {
				answered = answered || string(rule.Packet) == string(packet)
			}
			require.Equal(t, acknowledged, answered, "%v", i)
		}
		page, register := byte(1), 1
		switch a.Method {
		case station.Paged:
			page, register, err = dcc.CVPage(a.CV)
			require.NoError(t, err)
		case station.Register:
			register, _ = dcc.CVRegister(a.CV)
		}
		asks(dcc.Register{Write: true, Register: dcc.PageRegister, Value: page})
		if a.Write {
			asks(dcc.Register{Write: true, Register: register, Value: a.Value})
		}
		value := decoder.CV(a.CV)
		for _, asked := range []byte{value, value ^ 1, value ^ 0x80} {
			asks(dcc.Register{Register: register, Value: asked})
		}
		asks(dcc.PagePreset{})
	})
	r := &reflex{decoder: nil, config: fakedecoder.Default()}
	rules, err := r.rules(harness.Access{Method: station.Register, CV: 5})
	require.NoError(t, err)
	assert.Empty(t, rules, "no register has CV 5")
}
