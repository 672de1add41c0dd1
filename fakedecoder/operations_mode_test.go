package fakedecoder_test

import (
	"testing"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness/dcc"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

// NEM 671 (2014) table 1 and S-9.2 figure 2 (July 2004): C and SSSS of the steps 1 to 28.
func TestTwentyEightStepCodes(t *testing.T) {
	r := lay(t, fakedecoder.Default())
	codes := []byte{ // CSSSS
		0b00010, 0b10010, 0b00011, 0b10011, 0b00100, 0b10100, 0b00101, 0b10101, 0b00110, 0b10110, 0b00111, 0b10111,
		0b01000, 0b11000, 0b01001, 0b11001, 0b01010, 0b11010, 0b01011, 0b11011, 0b01100, 0b11100, 0b01101, 0b11101,
		0b01110, 0b11110, 0b01111, 0b11111,
	}
	for i, code := range codes {
		for direction, bit := range map[dcc.Direction]byte{dcc.Reverse: 0, dcc.Forward: 0x20} {
			r.send(1, dcc.Seal(3, 0x40|bit|code))
			assert.Equal(t, i+1, r.Speed())
			assert.Equal(t, direction, r.Direction())
			assert.Equal(t, dcc.Steps28, r.Steps())
		}
	}
	r.send(1, dcc.Seal(3, 0x40)) // stop, reverse
	assert.Equal(t, []any{0, dcc.Reverse, false}, []any{r.Speed(), r.Direction(), r.EmergencyStopped()})
	r.send(1, dcc.Seal(3, 0x40|0x20|0b10001)) // emergency stop that leaves the direction alone
	assert.Equal(t, []any{0, dcc.Reverse, true}, []any{r.Speed(), r.Direction(), r.EmergencyStopped()})
}

func TestInstructionsOfTheCodecAreUnderstood(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		address := rapid.SampledFrom([]dcc.Address{dcc.Short(1), dcc.Short(3), dcc.Short(127), dcc.Long(0), dcc.Long(128),
			dcc.Long(1000), dcc.Long(10239)}).Draw(t, "address")
		r := lay(t, ordinary(func(c *fakedecoder.Config) { c.Address = address }))
		assert.Equal(t, address, r.Address())
		steps := rapid.SampledFrom([]dcc.Steps{dcc.Steps28, dcc.Steps128}).Draw(t, "steps")
		direction := rapid.SampledFrom([]dcc.Direction{dcc.Reverse, dcc.Forward}).Draw(t, "direction")
		step := rapid.IntRange(0, steps.Max()).Draw(t, "step")
		r.instruct(t, dcc.Speed{Address: address, Steps: steps, Direction: direction, Step: step})
		assert.Equal(t, []any{step, steps, direction}, []any{r.Speed(), r.Steps(), r.Direction()})

		function := rapid.IntRange(0, 68).Draw(t, "function")
		group, bit, err := dcc.GroupOf(function)
		assert.NoError(t, err)
		r.instruct(t, dcc.Functions{Address: address, Group: group, States: 1 << bit})
		for n := range 70 {
			assert.Equal(t, n == function, r.Function(n), "F%d", n)
		}

		cv, value := rapid.IntRange(33, 1024).Draw(t, "cv"), rapid.Byte().Draw(t, "value")
		before := r.CV(cv)
		r.instruct(t, dcc.MainWrite{Address: address, CV: cv, Value: value})
		r.hold(5 * time.Millisecond)
		assert.Equal(t, before, r.CV(cv), "one packet is not enough")
		r.instruct(t, dcc.MainWrite{Address: address, CV: cv, Value: value})
		r.Current(r.t + 5*time.Millisecond)
		assert.Equal(t, value, r.CV(cv))
		assert.EqualValues(t, 4, r.Counters().Addressed)
	})
}

func TestOtherAddressesAreNotObeyed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		own := rapid.SampledFrom([]dcc.Address{dcc.Short(3), dcc.Long(3), dcc.Long(1000)}).Draw(t, "own")
		other := dcc.Address{Number: uint16(rapid.IntRange(1, 127).Draw(t, "number"))}
		if rapid.Bool().Draw(t, "long") {
			other = dcc.Long(uint16(rapid.IntRange(0, 10239).Draw(t, "long number")))
		}
		if own == other {
			t.Skip("the same address")
		}
		r := lay(t, ordinary(func(c *fakedecoder.Config) { c.Address = own }))
		r.instruct(t, dcc.Speed{Address: other, Steps: dcc.Steps128, Direction: dcc.Forward, Step: 50})
		assert.Zero(t, r.Speed())
		assert.Zero(t, r.Counters().Addressed)
		assert.EqualValues(t, 1, r.Counters().Heard)
	})
}

func TestBroadcastStops(t *testing.T) {
	r := lay(t, fakedecoder.Default())
	run := func() { r.send(1, dcc.Seal(3, 0x3f, 20)) } // reverse, step 19
	run()
	assert.Equal(t, 19, r.Speed())
	r.send(1, dcc.Packet{0x00, 0x50, 0x50}) // stop, direction to be ignored
	assert.Equal(t, []any{0, dcc.Reverse, false}, []any{r.Speed(), r.Direction(), r.EmergencyStopped()})
	run()
	r.send(1, dcc.Packet{0x00, 0x61, 0x61}) // no energy to the motor, forward
	assert.Equal(t, []any{0, dcc.Forward, true}, []any{r.Speed(), r.Direction(), r.EmergencyStopped()})
}

// S-9.2 B (July 2004): digital decoder reset packet.
func TestResetErasesTheVolatileState(t *testing.T) {
	r := lay(t, fakedecoder.Default())
	r.send(1, dcc.Seal(3, 0x3f, 20))
	r.send(1, dcc.Seal(3, 0x9f))
	assert.True(t, r.Function(0))
	r.send(1, reset)
	assert.Zero(t, r.Speed())
	assert.False(t, r.Function(0))
	assert.EqualValues(t, 3, r.CV(1))
}

// S-9.2.1 C (July 2012): decoder control 00000001.
func TestHardReset(t *testing.T) {
	r := lay(t, ordinary(func(c *fakedecoder.Config) { c.CVs = map[int]byte{19: 5, 29: 0, 31: 20, 3: 4} }))
	r.send(1, dcc.Seal(3, 0x01))
	assert.Equal(t, []byte{0, 6, 0, 4}, []byte{r.CV(19), r.CV(29), r.CV(31), r.CV(3)})
}

func TestDecoderControlSetsTheLongAddressBit(t *testing.T) {
	r := lay(t, ordinary(func(c *fakedecoder.Config) { c.CVs = map[int]byte{17: 195, 18: 232} }))
	r.send(1, dcc.Seal(3, 0x0b))
	assert.Equal(t, dcc.Long(1000), r.Address())
	r.send(1, dcc.Seal(0xc3, 0xe8, 0x0a))
	assert.Equal(t, dcc.Short(3), r.Address())
}

// S-9.2.1 C (July 2012): in a consist, speed to the own address is ignored and CV21 and CV22 choose the functions.
func TestAConsistLeadsTheDecoder(t *testing.T) {
	r := lay(t, ordinary(func(c *fakedecoder.Config) { c.CVs = map[int]byte{21: 0b00000010, 22: 0b000111} }))
	r.send(1, dcc.Seal(3, 0x13, 40)) // consist 40, reversed
	assert.EqualValues(t, 0x80|40, r.CV(19))
	r.send(1, dcc.Seal(3, 0x3f, 0x80|11))
	assert.Zero(t, r.Speed())
	r.send(1, dcc.Seal(40, 0x3f, 0x80|11))
	assert.Equal(t, 10, r.Speed())
	assert.Equal(t, dcc.Reverse, r.Direction())
	r.send(1, dcc.Seal(40, 0x9f)) // F0..F4
	r.send(1, dcc.Seal(40, 0xaf)) // F9..F12
	r.send(1, dcc.Seal(40, 0xde, 0xff))
	var on []int
	for n := range 69 {
		if r.Function(n) {
			on = append(on, n)
		}
	}
	assert.Equal(t, []int{0, 2, 9}, on)
	r.send(2, dcc.Seal(40, 0xec, 2, 7))
	assert.Zero(t, r.CV(3), "no programming at a consist address")
	r.send(1, dcc.Seal(3, 0x12, 0))
	r.send(1, dcc.Seal(3, 0x3f, 0x80|21))
	assert.Equal(t, 20, r.Speed())
}

// S-9.2.1 C (July 2012): CV29 bit 1 clear.
func TestFourteenSteps(t *testing.T) {
	r := lay(t, ordinary(func(c *fakedecoder.Config) { c.CVs = map[int]byte{29: 0} }))
	r.send(1, dcc.Seal(3, 0x7f))
	assert.Equal(t, []any{14, dcc.Steps(14), true}, []any{r.Speed(), r.Steps(), r.Function(0)})
	r.send(1, dcc.Seal(3, 0x90))
	assert.True(t, r.Function(0), "F0 is in the speed packets")
	r.send(1, dcc.Seal(3, 0x61))
	assert.Equal(t, []any{0, true, false}, []any{r.Speed(), r.EmergencyStopped(), r.Function(0)})
}

// S-9.2.1 C (July 2012): two identical packets, with no packet to the same decoder between.
func TestProgrammingOnTheMainNeedsTwoIdenticalPackets(t *testing.T) {
	access := dcc.Packet{0x03, 0xec, 0x00, 0x05, 0xea} // address 3, CV1=5
	foreign := dcc.Seal(4, 0x3f, 0x80)
	for name, c := range map[string]struct {
		between dcc.Packet
		stores  bool
	}{
		"nothing between":             {nil, true},
		"idle between":                {idle, true},
		"another's packet between":    {foreign, true},
		"a packet to it between":      {dcc.Seal(3, 0x3f, 0x80), false},
		"a broadcast between":         {dcc.Seal(0, 0x50), false},
		"a reset between":             {reset, false},
		"another value between":       {dcc.Seal(3, 0xec, 0, 6), false},
		"its spoilt likeness between": {dcc.Packet{3, 0xec, 0, 5, 0}, true},
	} {
		t.Run(name, func(t *testing.T) {
			r := lay(t, fakedecoder.Default())
			r.send(1, access)
			if c.between != nil {
				r.send(1, c.between)
			}
			r.send(1, access)
			r.Current(r.t + 5*time.Millisecond)
			assert.Equal(t, c.stores, r.CV(1) == 5)
		})
	}
}

func TestProgrammingOnTheMainByBitAndShortForm(t *testing.T) {
	r := lay(t, fakedecoder.Default())
	r.send(2, dcc.Seal(3, 0xe8, 28, 0xf8)) // CV29 bit 0 := 1
	r.hold(5 * time.Millisecond)
	r.send(2, dcc.Seal(3, 0xe8, 28, 0xe0)) // verify only
	r.hold(5 * time.Millisecond)
	r.send(1, dcc.Seal(3, 0xf2, 9))
	r.Current(r.t + 5*time.Millisecond)
	assert.Equal(t, []byte{7, 9}, []byte{r.CV(29), r.CV(23)})
}

func TestAPreambleMayBeAskedToBeLonger(t *testing.T) {
	for _, wanted := range []int{10, 11, 12} {
		for _, sent := range []int{8, 9, 10, 11, 12, 14} {
			r := lay(t, ordinary(func(c *fakedecoder.Config) { c.Preamble = wanted }))
			r.half(zeroHalf) // a start without an end bit before
			r.half(zeroHalf)
			r.bits(dcc.Seal(3, 0x3f, 0x80|11).AppendBits(nil, sent))
			assert.Equal(t, sent >= wanted, r.Speed() == 10, "wanted %d, sent %d", wanted, sent)
		}
	}
}

// What the decoder has no use for is stepped over by its length, and what it does not know ends the packet.
func TestInstructionsWithoutUseAreSteppedOver(t *testing.T) {
	for _, c := range []struct {
		body   []byte
		obeyed bool
	}{
		{[]byte{0x3e, 0x80, 0x91}, true},       // restricted speed
		{[]byte{0x3d, 0x01, 0x40, 0x91}, true}, // analogue function
		{[]byte{0xdd, 0x81, 0x91}, true},       // binary state, short form
		{[]byte{0xc0, 0x81, 0x01, 0x91}, true}, // binary state, long form
		{[]byte{0x0f, 0x91}, true},             // acknowledge request
		{[]byte{0x20, 0x91}, false},
		{[]byte{0xc3, 0x91}, false},
		{[]byte{0xff, 0x91}, false},
		{[]byte{0x3f}, false}, // cut short
		{[]byte{0xde}, false},
		{[]byte{0xec, 0x00}, false},
		{[]byte{0xf2}, false},
	} {
		r := lay(t, fakedecoder.Default())
		r.send(1, dcc.Seal(append([]byte{3}, c.body...)...))
		assert.EqualValues(t, 1, r.Counters().Addressed, "% x", c.body)
		assert.Equal(t, c.obeyed, r.Function(0) && r.Function(1), "% x", c.body)
		assert.Zero(t, r.Speed(), "% x", c.body)
	}
}
