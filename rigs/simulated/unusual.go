package simulated

import (
	"math/rand/v2"
	"time"

	"bufferstop/harness/dcc"
)

// unusual goes as far as the standards let a station go, where others keep to the middle: times near their limits, zeros stretched as for
// locomotives without decoder, long preambles, idle packets strewn in, locomotives in no order, the other numbering, many
// repeats or few, slow edges. What a check takes for usual and no standard asks for shows on it. Its station file declares
// times that allow for all that.
func unusual(s *settings, r *rand.Rand) {
	s.numbering = dcc.FirstIsRawZero
	s.shuffled = true
	if r == nil {
		r = rand.New(rand.NewPCG(0, 0)) // nothing about it is in the middle
	}
	within := func(min, max int) int { return min + r.IntN(max-min+1) }
	span := func(min, max time.Duration) time.Duration { return min + time.Duration(r.Int64N(int64(max-min)+1)) }
	// 55.5 to 60.5 µs in steps of half a microsecond, halves that differ by 2 µs, and edges up to 0.3 µs late: 55.2 to 60.8 µs, halves
	// that differ by 2.6 µs, where S-9.1 A, Table 1 (2020) has 55 to 61 µs and 3 µs.
	s.jitter = span(0, 300*time.Nanosecond)
	one := within(111, 121)
	s.oneTicks = [2]int64{int64(one), int64(min(max(one+within(-4, 4), 111), 121))}
	// 95.5 to 250 µs each, which S-9.1 A (2020) allows to be unequal. That keeps the longest packet within 30 ms with what it is
	// stretched by, S-9.2 C (July 2004): 40 ones and 56 zeros are 24 ms.
	s.zeroTicks = [2]int64{int64(within(191, 300)), int64(within(191, 300))}
	if r.IntN(2) == 0 {
		s.zeroTicks = [2]int64{int64(within(191, 210)), int64(within(191, 500))}
	}
	s.stretch = span(0, 3*time.Millisecond)
	s.crystal = (2*r.Float64() - 1) * 100e-6

	// A command that finds no room is answered when there is: the dialect gives an answer a second, which is what three commands take
	// that are sent eight times each, in packets of 24 ms with idle packets between them.
	s.commandDepth = within(1, 3)
	s.strewn = within(3, 12)
	s.preamble, s.longPreamble = within(14, 32), within(20, 40)
	s.repeats, s.stopRepeats, s.pomRepeats = within(2, 8), within(2, 12), within(2, 6)
	s.powerUpResets, s.powerUpIdles = within(20, 80), within(10, 80)

	s.powerOnPackets, s.resets, s.recovery = within(20, 60), within(3, 12), within(6, 20)
	s.verifies, s.writes = within(5, 14), within(5, 14)
	s.pagePresets, s.pageWrites, s.pageRecovery = within(5, 14), within(5, 14), within(6, 20)
	s.registerVerifies = within(7, 14)
	s.addressRecovery, s.firstRegisterRecovery = within(10, 24), within(10, 24)

	s.bootTime = span(50*time.Millisecond, 2*time.Second)
	s.unitTime = span(20*time.Microsecond, 2*time.Millisecond)
	// 29.6 V from peak to peak in at most 10 µs are 3 V/µs, where S-9.1 B, Table 2 (2020) asks for 2.4.
	s.rise = span(100*time.Nanosecond, 10*time.Microsecond)
}
