package dcc_test

import (
	"testing"
	"time"

	"bufferstop/harness/dcc"

	"github.com/stretchr/testify/assert"
)

// All by S-9.2.3 C (July 2012): service mode is entered by a service-mode packet right after a reset, left by another
// valid packet or by 20 ms without reset and service-mode packet; operations mode comes back with a packet that cannot
// be one of service mode.
func TestAListenerKnowsWhenServiceModeIsOn(t *testing.T) {
	reset, idle := dcc.Seal(0, 0), dcc.Seal(0xff, 0)
	write := dcc.Seal(0x7c, 0, 3)    // service mode: CV 1 write 3
	loco := dcc.Seal(116, 0x74)      // operations mode: loco 116
	damaged := dcc.Packet{3, 116, 0} // no decoder hears it
	type step struct {
		p       dcc.Packet
		gap     time.Duration // since the end of the packet before
		meaning string
		mode    dcc.Mode
	}
	const ms = time.Millisecond
	locoRuns := step{loco, 0, "loco 116: speed step 6 of 28, forward", dcc.Operations}
	for name, steps := range map[string][]step{
		"not without a reset": {locoRuns, {dcc.Seal(116, 0x60), 0, "loco 116: stop, forward", dcc.Operations}},
		"after a reset":       {{reset, 0, "reset", dcc.Operations}, {write, 0, "CV 1 write 3 (direct)", dcc.Service}},
		"after a reset and a packet that nobody hears": {{reset, 0, "reset", dcc.Operations},
			{damaged, 0, "unknown 037400: error byte does not match", dcc.Operations}, {write, 0, "CV 1 write 3 (direct)", dcc.Service}},
		"not when an idle packet comes between": {{reset, 0, "reset", dcc.Operations}, {idle, 0, "idle", dcc.Operations}, locoRuns},
		"not 20 ms after the reset":             {{reset, 0, "reset", dcc.Operations}, {loco, 20 * ms, "loco 116: speed step 6 of 28, forward", dcc.Operations}},
		"until an idle packet": {{reset, 0, "reset", dcc.Operations}, {write, 0, "CV 1 write 3 (direct)", dcc.Service},
			{idle, 0, "idle", dcc.Operations}, locoRuns},
		"until a packet to a loco": {{reset, 0, "reset", dcc.Operations}, {write, 0, "CV 1 write 3 (direct)", dcc.Service},
			{dcc.Seal(3, 0x74), 0, "loco 3: speed step 6 of 28, forward", dcc.Operations}, locoRuns},
		"through resets and gaps below 20 ms": {{reset, 0, "reset", dcc.Operations}, {write, 19 * ms, "CV 1 write 3 (direct)", dcc.Service},
			{reset, 19 * ms, "reset", dcc.Service}, {write, 19 * ms, "CV 1 write 3 (direct)", dcc.Service}},
		"through packets that nobody hears": {{reset, 0, "reset", dcc.Operations}, {write, 0, "CV 1 write 3 (direct)", dcc.Service},
			{damaged, 0, "unknown 037400: error byte does not match", dcc.Service}, {write, 0, "CV 1 write 3 (direct)", dcc.Service}},
		"no longer after 20 ms, and then not yet in operations mode": {{reset, 0, "reset", dcc.Operations},
			{write, 0, "CV 1 write 3 (direct)", dcc.Service}, {write, 20 * ms, "CV 1 write 3 (direct)", dcc.Between},
			{reset, 0, "reset", dcc.Between}, {write, 0, "CV 1 write 3 (direct)", dcc.Service}},
		"operations mode comes back after 20 ms": {{reset, 0, "reset", dcc.Operations}, {write, 0, "CV 1 write 3 (direct)", dcc.Service},
			{idle, 30 * ms, "idle", dcc.Operations}, locoRuns},
	} {
		t.Run(name, func(t *testing.T) {
			var l dcc.Listener
			var now time.Duration
			for n, s := range steps {
				now += s.gap
				start := now
				now += 6 * ms
				assert.Equal(t, s.meaning, l.Hear(s.p, start, now).String(), "packet %d", n)
				assert.Equal(t, s.mode, l.Mode(), "packet %d", n)
			}
		})
	}
}

func TestAListenerKnowsThatServiceModeEndsByItself(t *testing.T) {
	var l dcc.Listener
	l.Hear(dcc.Seal(0, 0), 0, 7*time.Millisecond)
	l.Hear(dcc.Seal(0x7c, 0, 3), 7*time.Millisecond, 15*time.Millisecond)
	assert.Equal(t, dcc.Service, l.ModeAt(34*time.Millisecond))
	assert.Equal(t, dcc.Between, l.ModeAt(35*time.Millisecond))
	l.PowerOff()
	assert.Equal(t, dcc.Operations, l.Mode())
}
