package bench_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"bufferstop/rigs/bench/figures"

	"github.com/stretchr/testify/assert"
)

// frontEnd is the front end of one track between its rails a and b, with v(sign), v(absent) and v(window), the joined
// collectors; v(d) is the voltage of the track.
const frontEnd = `
V5 v5 0 5
ED d 0 a b 1
R101 a na {R101}
R102 b nb {R102}
R103 a oa {R103}
R104 b ob {R104}
R105 na 0 {R105}
R106 nb 0 {R106}
R107 oa 0 {R107}
R108 ob 0 {R108}
R109 na 0 {R109}
R110 nb 0 {R110}
R111 oa v5 {R111}
R112 ob v5 {R112}
D1 0 na small
D2 na v5 small
D3 0 nb small
D4 nb v5 small
D5 0 oa small
D6 oa v5 small
D7 0 ob small
D8 ob v5 small
R113 na sp {R113}
R114 nb sn {R114}
R115 sign sp {R115}
R116 sn between {R116}
R117 between v5 {R117}
XSIGN sp sn sign sign
XP ob na window collector
XN oa nb window collector
R118 window v5 {R118}
C101 window 0 {C101}
R119 v5 half {R119}
R120 half 0 {R120}
R121 window shaped {R121}
R122 absent shaped {R122}
R123 absent v5 {R123}
XOFF shaped half absent collector
`

// TestTheFrontEndTellsPositiveNegativeAndOff ramps the track slowly through bothTracks its polarities, at common modes from a
// full bridge of 8.5 V to one of 22 V, and reads at what voltages the comparators change.
func TestTheFrontEndTellsPositiveNegativeAndOff(t *testing.T) {
	for _, supply := range trackVolts() {
		m := spice(t, figures.Main, fmt.Sprintf(frontEnd+`
VD x 0 PULSE(-8 8 1u 800u 800u 1u 1602u)
EA a 0 VOL = '%[1]g+V(x)/2'
EB b 0 VOL = '%[1]g-V(x)/2'
.nodeset v(sign)=0 v(window)=0 v(absent)=0
.tran 45n 1600u 10u 45n
.measure tran up find v(d) when v(sign)=2.5 rise=1
.measure tran down find v(d) when v(sign)=2.5 fall=1
.measure tran leaves find v(d) when v(window)=0.5 rise=1
.measure tran enters find v(d) when v(window)=2.5 fall=1
`, supply/2))
		t.Logf("%g V: %v", supply, m)
		assert.InDelta(t, 0.1, m["up"], 0.03, "to positive")
		assert.InDelta(t, -0.1, m["down"], 0.03, "to negative")
		assert.InDelta(t, 4, math.Abs(m["leaves"]), 0.15, "to off: S-9.1 B describes the signal by ±4 V")
		assert.InDelta(t, 4, math.Abs(m["enters"]), 0.15, "from off")
	}
}

// TestTheFrontEndTimesEdgesToATick lets tracks from 8.5 to 22 V reverse at the slowest slew that S-9.1 B, Table 2 (2020)
// allows, at that of a common bridge and at a fast one. What counts is how much later an edge of one kind is seen than one
// of the other, and that no reversal counts as off.
func TestTheFrontEndTimesEdgesToATick(t *testing.T) {
	for _, volts := range trackVolts() {
		for _, slew := range []float64{2.4e6, 20e6, 100e6} {
			m := spice(t, figures.Main, frontEnd+reversing(volts, 2*volts/slew)+`
RL a b 100
.tran 20n 190u 50u 20n
.measure tran up trig v(d) val=0 rise=1 targ v(sign) val=2.5 rise=1
.measure tran down trig v(d) val=0 fall=1 targ v(sign) val=2.5 fall=1
.measure tran off max v(absent) from=60u to=180u
.measure tran charge max v(window) from=60u to=180u
`)
			t.Logf("%g V, %g V/s: %v", volts, slew, m)
			assert.InDelta(t, m["up"], m["down"], 62.5e-9, "rising and falling")
			assert.Less(t, m["up"], 250e-9, "delay")
			assert.Less(t, m["off"], 0.4, "off is not told while the track reverses")
		}
	}
}

// TestTheFrontEndTellsOffTenMicrosecondsLater cuts a track within 1 µs, with parts at the corners of their tolerance, and
// gives it again, with 0.05 V of hum in between.
func TestTheFrontEndTellsOffTenMicrosecondsLater(t *testing.T) {
	for _, volts := range trackVolts() {
		// R118 1 % and C101 2 %, and the comparators at their fastest and slowest.
		for corner, delay := range map[float64]string{0.97: "d=0.4u", 1: "d=0.7u", 1.03: "d=1u"} {
			m := spice(t, figures.Main, fmt.Sprintf(strings.ReplaceAll(frontEnd, "collector", "collector "+delay)+`
VA a 0 PWL(0 %[1]g 100u %[1]g 101u 0 180u 0 181u %[1]g)
VB b 0 SIN(0 0.05 50k 102u)
BX window 0 I = %[2]g*ddt(V(window))
.tran 25n 210u 50u 25n
.measure tran off trig v(d) val=4 fall=1 targ v(absent) val=2.5 rise=1
.measure tran on trig v(d) val=4 rise=1 targ v(absent) val=2.5 fall=1
.measure tran quiet min v(sign) from=60u to=200u
`, volts, (corner-1)*figures.Value("C101", figures.Main)))
			t.Logf("%g V, %g: %v", volts, corner, m)
			assert.InDelta(t, 10e-6, m["off"], 1.5e-6, "off")
			assert.Less(t, m["on"], 4e-6, "on")
			assert.Greater(t, m["quiet"], 4.9, "sign stays as it was")
		}
	}
}

// TestTheFrontEndBearsTransients puts 30 V of either polarity on each rail. The inputs of the chips bear what is between
// 0.3 V below ground and 0.3 V above their supply, as data sheets of such comparators say (from memory).
func TestTheFrontEndBearsTransients(t *testing.T) {
	for _, volts := range []float64{30, -30} {
		for _, pulses := range []string{"VA a 0 PULSE(0 %g 1u 50n 50n 20u)\nVB b 0 0", "VA a 0 0\nVB b 0 PULSE(0 %g 1u 50n 50n 20u)"} {
			m := spice(t, figures.Main, frontEnd+fmt.Sprintf(pulses, volts)+`
.tran 10n 40u 0 10n
.measure tran la min v(na)
.measure tran lb min v(nb)
.measure tran lc min v(oa)
.measure tran ld min v(ob)
.measure tran ha max v(na)
.measure tran hb max v(nb)
.measure tran hc max v(oa)
.measure tran hd max v(ob)
`)
			for name, v := range m {
				assert.Greater(t, v, -0.3, "%g V: %s", volts, name)
				assert.Less(t, v, 5.3, "%g V: %s", volts, name)
			}
			assert.Less(t, max(m["ha"], m["hb"], m["hc"], m["hd"]), 3.4, "within the inputs' common range up to 30 V")
		}
	}
}
