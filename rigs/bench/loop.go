package bench

import (
	"fmt"
	"time"
)

// How long a loop may be with which a fake decoder still acknowledges as S-9.2.3 (July 2012) wants it. An acknowledge counts
// from the end bit of the second service packet through all that are required (D), which are five for a verify (E, direct
// mode): three packets more. For a write it is longer by the recovery time, so that the verify decides. A pulse of 7 ms, the
// longest (D), has to lie in those three packets as a whole.
//
// The shortest verify packet of direct mode has 20 preamble bits (E), four start bits, 32 data bits and the end bit. At
// least six of them are zeros: the start bits, the first bit of 0111CCAA, and one of CC, which is 01 or 10. A station sends
// ones of 2 × 55 µs and zeros of 2 × 95 µs at the shortest (S-9.1 A, 2020):
//
//	51 × 110 µs + 6 × 190 µs = 6.75 ms      3 × 6.75 ms - 7 ms = 13.25 ms
const (
	shortestVerify = 51*2*55*time.Microsecond + 6*2*95*time.Microsecond
	verifiesAfter  = 3 // identical packets after the second
	longestPulse   = 7 * time.Millisecond
	loopLimit      = verifiesAfter*shortestVerify - longestPulse
)

// The playout delay where nothing says what it is to be. The loop is estimated by asking the probe for its time: what nine
// in ten questions take, since a system that is busy just then says little of the link. What the
// system makes of it when it is busy shows later, so the delay is longer than the loop as far as the limit allows: a
// demand that is a little later does no harm, and one that comes too late does. All of it is our own choice.
const (
	loopQuestions = 20
	// easyLoop is the delay for every loop that is shorter than it.
	easyLoop = 11 * time.Millisecond
)

// ordinaryLoop is the playout delay for a probe to which the way and back takes so long. A stretch waits in the
// probe until it is over, its first edge as long as it lasts.
func ordinaryLoop(slowest, stretch time.Duration) time.Duration {
	return max(easyLoop, slowest+2*stretch)
}

// judgeLoop says why a playout delay is too long for a fake decoder, or the empty string.
func judgeLoop(lag time.Duration) string {
	if lag <= loopLimit {
		return ""
	}
	return fmt.Sprintf("the loop takes %v, from the last edge of a packet to the load; more than %v is too late to acknowledge in the window of S-9.2.3 (July 2012)",
		lag, loopLimit)
}
