package fakedecoder_test

import (
	"testing"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness/dcc"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

// Packets as S-9.2.3 E (July 2012) and our own reading of it print them, with a long preamble of 20.
const (
	ones20          = "11111111111111111111"
	resetBits       = ones20 + " 0 00000000 0 00000000 0 00000000 1"            // S-9.2 B (July 2004)
	idleBits        = ones20 + " 0 11111111 0 00000000 0 11111111 1"            // S-9.2 B (July 2004)
	pagePresetBits  = ones20 + " 0 01111101 0 00000001 0 01111100 1"            // S-9.2.3 E
	factoryBits     = ones20 + " 0 01111111 0 00001000 0 01110111 1"            // S-9.2.3 E
	verifyCV1Bits   = ones20 + " 0 01110100 0 00000000 0 00000011 0 01110111 1" // 0111CCAA AAAAAAAA DDDDDDDD, CC = 01
	verifyOtherBits = ones20 + " 0 01110100 0 00000000 0 00000100 0 01110000 1"
	writeCV1Bits    = ones20 + " 0 01111100 0 00000000 0 00000101 0 01111001 1" // CC = 11
	bit7OfCV8Is0    = ones20 + " 0 01111000 0 00000111 0 11100111 0 10011000 1" // CC = 10, 111KDBBB
	bit7OfCV8Is1    = ones20 + " 0 01111000 0 00000111 0 11101111 0 10010000 1"
	addressVerify3  = ones20 + " 0 01110000 0 00000011 0 01110011 1" // 0111C000 0DDDDDDD
	addressWrite3   = ones20 + " 0 01111000 0 00000011 0 01111011 1"
	register5Verify = ones20 + " 0 01110100 0 00000110 0 01110010 1" // 0111CRRR, register 5 is CV29
	page17Bits      = ones20 + " 0 01111101 0 00010001 0 01101100 1" // CV65 is page 17, data register 0
	register1Write9 = ones20 + " 0 01111000 0 00001001 0 01110001 1"
	query3Bits      = ones20 + " 0 00000011 0 11111001 0 11111010 1" // appendix A
)

func TestDirectVerifyAcknowledgesAMatch(t *testing.T) {
	r := lay(t, fakedecoder.Default())
	r.text(20, idleBits) // power-on cycle
	r.text(3, resetBits)
	assert.False(t, r.ServiceMode(), "a reset alone")
	r.text(1, verifyCV1Bits)
	assert.True(t, r.ServiceMode())
	assert.Zero(t, r.Counters().Acknowledges, "the first of two packets")
	r.text(4, verifyCV1Bits)
	assert.EqualValues(t, 1, r.Counters().Acknowledges)
	assert.EqualValues(t, 5, r.Counters().Service)
	r.text(1, resetBits)
	assert.True(t, r.ServiceMode())
}

func TestDirectVerifyIsSilentOnAMismatch(t *testing.T) {
	r := lay(t, fakedecoder.Default())
	r.text(3, resetBits)
	r.text(5, verifyOtherBits)
	assert.Zero(t, r.Counters().Acknowledges)
}

func TestDirectWriteStoresAndAcknowledges(t *testing.T) {
	r := lay(t, fakedecoder.Default())
	r.text(3, resetBits)
	r.text(1, writeCV1Bits)
	assert.EqualValues(t, 3, r.CV(1))
	r.text(4, writeCV1Bits)
	r.text(6, resetBits)
	assert.EqualValues(t, 5, r.CV(1))
	assert.EqualValues(t, 1, r.Counters().Acknowledges)
}

// S-9.2.3 E (July 2012): whoever has direct mode answers one of these two.
func TestDirectModeIsDetectedByBit7OfCV8(t *testing.T) {
	r := lay(t, fakedecoder.Default())
	r.text(3, resetBits)
	r.text(5, bit7OfCV8Is0)
	r.text(1, resetBits)
	assert.EqualValues(t, 1, r.Counters().Acknowledges, "CV8 is 13")
	r.text(5, bit7OfCV8Is1)
	assert.EqualValues(t, 1, r.Counters().Acknowledges)
}

func TestAddressOnlySequence(t *testing.T) {
	r := lay(t, fakedecoder.Default())
	r.text(3, resetBits)
	r.text(5, pagePresetBits)
	r.text(6, pagePresetBits)
	r.text(3, resetBits)
	preset := r.Counters().Acknowledges
	r.text(5, addressVerify3)
	assert.Equal(t, preset+1, r.Counters().Acknowledges)
	r.text(3, resetBits)
	r.text(5, addressWrite3)
	r.text(10, resetBits)
	assert.Equal(t, preset+2, r.Counters().Acknowledges)
	assert.EqualValues(t, 3, r.CV(1))
}

func TestPhysicalRegister5IsCV29(t *testing.T) {
	r := lay(t, fakedecoder.Default())
	r.text(3, resetBits)
	r.text(7, register5Verify)
	assert.EqualValues(t, 1, r.Counters().Acknowledges)
}

func TestPagedSequenceReachesCV65(t *testing.T) {
	r := lay(t, fakedecoder.Default())
	r.text(3, resetBits)
	r.text(5, page17Bits)
	r.text(6, resetBits) // which leave the page register alone
	r.text(3, resetBits)
	r.text(5, register1Write9)
	r.text(6, resetBits)
	assert.EqualValues(t, 9, r.CV(65))
	assert.EqualValues(t, 3, r.CV(1))

	deaf := lay(t, ordinary(func(c *fakedecoder.Config) { c.NoPagedMode = true }))
	deaf.text(3, resetBits)
	deaf.text(5, page17Bits)
	deaf.text(9, resetBits)
	preset := deaf.Counters().Acknowledges
	deaf.text(5, register1Write9)
	deaf.text(6, resetBits)
	assert.Equal(t, preset, deaf.Counters().Acknowledges, "S-9.2.3 E: no answer while the page is not 1")
	assert.EqualValues(t, 3, deaf.CV(1))
}

func TestEveryPageAndRegisterReachesItsCV(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := lay(t, fakedecoder.Default())
		cv := rapid.IntRange(33, 1024).Draw(t, "cv")
		value := rapid.Byte().Draw(t, "value")
		page := byte((cv-1)/4 + 1) // 256 is sent as 0
		r.ask(5, dcc.Seal(0x7d, page))
		assert.True(t, r.ask(5, dcc.Seal(0x78|byte((cv-1)%4), value)))
		assert.Equal(t, value, r.CV(cv))
		assert.True(t, r.ask(5, verify(cv, value)))
	})
}

func TestAddressQueryIsAnsweredInServiceMode(t *testing.T) {
	r := lay(t, fakedecoder.Default())
	r.text(3, resetBits)
	r.text(5, query3Bits)
	assert.Zero(t, r.Counters().Acknowledges, "it does not open service mode")
	r.text(3, resetBits)
	r.text(5, verifyOtherBits)
	r.text(5, query3Bits)
	assert.EqualValues(t, 1, r.Counters().Acknowledges)
}

func TestFactoryResetPacketRestoresEveryCV(t *testing.T) {
	r := lay(t, ordinary(func(c *fakedecoder.Config) {
		c.CVs = map[int]byte{3: 20, 105: 7}
		c.Address = dcc.Long(1000)
	}))
	assert.Equal(t, dcc.Long(1000), r.Address())
	r.text(3, resetBits)
	r.text(5, pagePresetBits)
	r.text(9, resetBits)
	r.text(5, factoryBits)
	r.text(10, resetBits)
	assert.EqualValues(t, 255, r.CV(8), "S-9.2.3 E: until the reset is complete")
	assert.EqualValues(t, 20, r.CV(3))
	r.cut(time.Second)
	assert.EqualValues(t, 13, r.CV(8))
	assert.EqualValues(t, 0, r.CV(3))
	assert.EqualValues(t, 0, r.CV(105))
	assert.Equal(t, dcc.Short(3), r.Address())
}

func TestFactoryResetByDirectModeToo(t *testing.T) {
	r := lay(t, ordinary(func(c *fakedecoder.Config) { c.CVs = map[int]byte{3: 20} }))
	assert.True(t, r.ask(5, write(8, 8)))
	r.cut(time.Second)
	assert.EqualValues(t, 0, r.CV(3))
	assert.False(t, r.ask(5, write(8, 9)), "CV8 is read-only for any other value")
	assert.EqualValues(t, 13, r.CV(8))
}

func TestServiceModeNeedsAResetJustBefore(t *testing.T) {
	for name, between := range map[string]func(r *rails){
		"no reset":         func(*rails) {},
		"an idle between":  func(r *rails) { r.program(3, reset); r.program(1, idle) },
		"20 ms between":    func(r *rails) { r.program(3, reset); r.hold(20 * time.Millisecond) },
		"a power cut":      func(r *rails) { r.program(3, reset); r.cut(time.Second) },
		"only a bad reset": func(r *rails) { r.program(3, dcc.Packet{0, 0, 1}) },
	} {
		t.Run(name, func(t *testing.T) {
			r := lay(t, fakedecoder.Default())
			between(r)
			r.program(5, verify(1, 3))
			assert.False(t, r.ServiceMode())
			assert.Zero(t, r.Counters().Acknowledges)
		})
	}
}

// S-9.2.3 C (July 2012): 20 ms since the last valid reset or service-mode packet.
func TestServiceModeEndsAfter20Milliseconds(t *testing.T) {
	r := lay(t, fakedecoder.Default())
	r.program(3, reset)
	r.program(1, verify(1, 3))
	r.Current(r.t + 20*time.Millisecond)
	assert.True(t, r.ServiceMode())
	r.Current(r.t + 20*time.Millisecond + 1)
	assert.False(t, r.ServiceMode())
	r.t += 20*time.Millisecond + 1
	r.program(5, verify(1, 3))
	assert.Zero(t, r.Counters().Acknowledges)
}

func TestServiceModeEndsWithAnyOtherPacketWhichIsNotObeyed(t *testing.T) {
	r := lay(t, fakedecoder.Default())
	r.program(3, reset)
	r.program(1, verify(1, 3))
	stepTen := dcc.Seal(3, 0x3f, 0x80|11)
	r.send(1, stepTen)
	assert.False(t, r.ServiceMode())
	assert.Zero(t, r.Speed(), "S-9.2.3 C: service mode ends without entering operations mode")
	r.program(3, verify(1, 3))
	assert.Zero(t, r.Counters().Acknowledges)
	r.send(1, stepTen)
	assert.Equal(t, 10, r.Speed())
}

// S-9.2.3 C: back to operations mode only with a packet that is not identical to a service-mode packet.
func TestOperationsModeIsNotReenteredByAnAddressOfServiceMode(t *testing.T) {
	r := lay(t, ordinary(func(c *fakedecoder.Config) { c.Address = dcc.Short(115) }))
	speed := dcc.Seal(115, 0x74)
	r.send(1, speed)
	assert.Equal(t, 6, r.Speed(), "in operations mode 115 is an address like any other")
	r.program(3, reset)
	r.program(1, verify(1, 3))
	r.hold(30 * time.Millisecond)
	r.send(3, speed)
	assert.Zero(t, r.Speed())
	r.send(1, idle)
	r.send(1, speed)
	assert.Equal(t, 6, r.Speed())
}

func TestEnteringServiceModeSwitchesLoadsOff(t *testing.T) {
	r := lay(t, fakedecoder.Default())
	r.send(1, dcc.Seal(3, 0x3f, 0xff))
	r.send(1, dcc.Seal(3, 0x9f))
	r.hold(10 * time.Millisecond)
	assert.Greater(t, r.Current(r.t), 300*mA)
	r.program(1, reset)
	r.program(1, verify(1, 3))
	assert.Equal(t, fakedecoder.Default().Quiescent, r.Current(r.t))
}

func TestFewerThanTwoPacketsHaveNoEffect(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := lay(t, fakedecoder.Default())
		cv := rapid.IntRange(1, 1024).Draw(t, "cv")
		before := r.CV(cv)
		value := rapid.Byte().Draw(t, "value")
		packets := []dcc.Packet{write(cv, value), verify(cv, value), write(cv, before), verify(cv, before)}
		r.program(3, reset)
		// No two identical packets follow each other: another, or a reset, is always between.
		for i := range rapid.IntRange(1, 8).Draw(t, "packets") {
			r.program(1, packets[i%2+2*(i/2%2)])
			if rapid.Bool().Draw(t, "reset") || value == before {
				r.program(1, reset)
			}
		}
		r.program(6, reset)
		assert.Zero(t, r.Counters().Acknowledges)
		assert.Equal(t, before, r.CV(cv))
	})
}

func TestASpoiltPacketBetweenDoesNotBreakThePair(t *testing.T) {
	r := lay(t, fakedecoder.Default())
	r.program(3, reset)
	r.program(1, verify(1, 3))
	r.program(1, dcc.Packet{0x74, 0, 3, 0})
	r.program(1, verify(1, 3))
	assert.EqualValues(t, 1, r.Counters().Acknowledges, "S-9.2.3 E: no valid packet between")
	assert.EqualValues(t, 1, r.Counters().Bad)
}

func TestAnyValueWrittenReadsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := lay(t, fakedecoder.Default())
		// CVs whose values the standard does not bound: not the addresses, the configuration, the lock and the read-only ones.
		cv := rapid.IntRange(33, 1024).Draw(t, "cv")
		value, other := rapid.Byte().Draw(t, "value"), rapid.Byte().Draw(t, "other")
		assert.True(t, r.ask(5, write(cv, value)))
		assert.Equal(t, value == other, r.ask(5, verify(cv, other)))
		assert.True(t, r.ask(5, verify(cv, value)))
		for bit := range 8 {
			is := value >> bit & 1
			assert.True(t, r.ask(5, verifyBit(cv, bit, is)))
			assert.False(t, r.ask(5, verifyBit(cv, bit, 1-is)))
		}
	})
}

func TestWritingABitLeavesTheOthers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		value := rapid.Byte().Draw(t, "value")
		bit, to := rapid.IntRange(0, 7).Draw(t, "bit"), byte(rapid.IntRange(0, 1).Draw(t, "to"))
		r := lay(t, ordinary(func(c *fakedecoder.Config) { c.CVs = map[int]byte{60: value} }))
		assert.True(t, r.ask(5, writeBit(60, bit, to)))
		assert.Equal(t, value&^(1<<bit)|to<<bit, r.CV(60))
	})
}

func TestADecoderNeverAcknowledgesAMismatch(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.SampledFrom(fakedecoder.Personalities()).Draw(t, "personality")
		c, err := fakedecoder.Personality(name)
		assert.NoError(t, err)
		r := lay(t, c)
		cv := rapid.IntRange(1, 1024).Draw(t, "cv")
		value := rapid.Byte().Draw(t, "value")
		if got := r.ask(5, verify(cv, value)); value != r.CV(cv) {
			assert.False(t, got)
		}
	})
}

func TestReadOnlyCVsStay(t *testing.T) {
	r := lay(t, ordinary(func(c *fakedecoder.Config) { c.ReadOnly = []int{105} }))
	for _, cv := range []int{7, 8, 105} {
		before := r.CV(cv)
		assert.False(t, r.ask(5, write(cv, 77)), "CV%d", cv)
		assert.Equal(t, before, r.CV(cv), "CV%d", cv)
		assert.False(t, r.ask(5, writeBit(cv, 6, 1)), "CV%d", cv)
		assert.Equal(t, before, r.CV(cv), "CV%d", cv)
		assert.True(t, r.ask(5, verify(cv, before)), "CV%d", cv)
	}
}

func TestWriteOnlyCVsTellNothingButTheirWrites(t *testing.T) {
	r := lay(t, ordinary(func(c *fakedecoder.Config) { c.WriteOnly = []int{105} }))
	assert.True(t, r.ask(5, write(105, 77)))
	assert.EqualValues(t, 77, r.CV(105))
	assert.False(t, r.ask(5, verify(105, 77)))
	assert.True(t, r.ask(5, writeBit(105, 1, 1)))
	assert.EqualValues(t, 79, r.CV(105))
	assert.True(t, r.ask(5, verify(106, r.CV(106))))
}

func TestValuesThatACVCannotHoldAreRefused(t *testing.T) {
	r := lay(t, fakedecoder.Default())
	for cv, value := range map[int]byte{1: 128, 17: 191, 29: 0x86} {
		assert.False(t, r.ask(5, write(cv, value)), "CV%d=%d", cv, value)
		assert.NotEqual(t, value, r.CV(cv))
	}
}

// S-9.2.3 E (July 2012): by any method, writing CV1 clears CV29 bit 5 and CV19.
func TestWritingCV1EndsLongAddressAndConsist(t *testing.T) {
	for method, packets := range map[string][]dcc.Packet{
		"direct":   {write(1, 9)},
		"address":  {dcc.Seal(0x7d, 1), dcc.Seal(0x78, 9)},
		"the main": {dcc.Seal(0xc3, 0xe8, 0xec, 0, 9)},
	} {
		t.Run(method, func(t *testing.T) {
			r := lay(t, ordinary(func(c *fakedecoder.Config) {
				c.Address = dcc.Long(1000)
				c.CVs = map[int]byte{19: 44}
			}))
			for _, p := range packets {
				if method == "the main" {
					r.send(2, p)
				} else {
					r.ask(5, p)
				}
			}
			r.hold(10 * time.Millisecond)
			r.Current(r.t)
			assert.EqualValues(t, 6, r.CV(29))
			assert.Zero(t, r.CV(19))
			assert.Equal(t, dcc.Short(9), r.Address())
		})
	}
}

// S-9.2.1 C footnote 8 (July 2012).
func TestALongAddressCountsOnceCV18IsWritten(t *testing.T) {
	r := lay(t, ordinary(func(c *fakedecoder.Config) { c.Address = dcc.Long(1000) }))
	assert.True(t, r.ask(5, write(17, 192+9)))
	assert.Equal(t, dcc.Long(1000), r.Address())
	assert.True(t, r.ask(5, write(18, 7)))
	assert.Equal(t, dcc.Long(9*256+7), r.Address())
}

func TestALockedDecoderTakesNoWritesUntilTheKeyFits(t *testing.T) {
	for rule, readable := range map[fakedecoder.LockRule]bool{fakedecoder.LockWrites: true, fakedecoder.LockAll: false} {
		c, err := fakedecoder.Personality("locked")
		assert.NoError(t, err)
		c.Lock = rule
		r := lay(t, c)
		assert.False(t, r.ask(5, write(3, 9)))
		assert.False(t, r.ask(5, write(8, 8)))
		assert.Zero(t, r.CV(3))
		assert.Equal(t, readable, r.ask(5, verify(3, 0)))
		assert.True(t, r.ask(5, write(15, r.CV(16))))
		assert.True(t, r.ask(5, write(3, 9)))
		assert.True(t, r.ask(5, verify(3, 9)))
	}
}

func TestAWriteCutOffDuringStorageIsLost(t *testing.T) {
	c, err := fakedecoder.Personality("slow-storage")
	assert.NoError(t, err)
	for held, want := range map[time.Duration]byte{0: 0, 100 * time.Millisecond: 9} {
		c.Hold = held
		r := lay(t, c)
		r.program(3, reset)
		r.program(4, write(3, 9))
		assert.Zero(t, r.CV(3))
		r.cut(time.Second)
		assert.Equal(t, want, r.CV(3), "hold %v", held)
	}
}

func TestAnAcknowledgeThatPowerWasCutBeforeNeverComes(t *testing.T) {
	c, err := fakedecoder.Personality("slow-storage")
	assert.NoError(t, err)
	for held, comes := range map[time.Duration]bool{0: false, 20 * time.Millisecond: true} {
		c.Hold = held
		r := lay(t, c)
		r.program(3, reset)
		r.program(2, write(3, 9))
		r.cut(10 * time.Millisecond)
		r.hold(20 * time.Millisecond) // past the inrush, before the end of storage
		_, left := r.NextChange(r.t)
		assert.Equal(t, comes, left, "hold %v", held)
	}
}

func TestACVCanBeSetFromOutside(t *testing.T) {
	r := lay(t, fakedecoder.Default())
	for cv, value := range map[int]byte{8: 77, 17: 195, 18: 232, 29: 38, 1024: 5} {
		r.SetCV(cv, value)
		assert.True(t, r.ask(5, verify(cv, value)), "CV%d", cv)
	}
	assert.Equal(t, dcc.Long(1000), r.Address())
	r.SetCV(1, 128)
	r.SetCV(0, 1)
	r.SetCV(1025, 1)
	assert.EqualValues(t, 3, r.CV(1))
	assert.Zero(t, r.Counters().Bad)
}
