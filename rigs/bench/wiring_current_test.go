package bench_test

import (
	"fmt"
	"testing"

	"bufferstop/rigs/bench/figures"

	"github.com/stretchr/testify/assert"
)

// currentCircuit measures what flows from a to behind, the rail behind the sense resistor. The amplifier has the gain and the
// bandwidth of the page, and 90 dB at 50 kHz, which falls by 20 dB a decade.
const currentCircuit = `
V12 vcc 0 12
V5 v5 0 5
R201 a behind {R201}
BA x 0 V = V(ref)+20*(V(a,behind)+1e-10*ddt(V(a)))
RX x amplified 100
CX amplified 0 4n
BX sensed 0 V = min(max(V(amplified),0.05),4.95)
R212 v5 middle {R212}
R213 middle 0 {R213}
C202 middle 0 {C202}
XR middle ref ref vcc opamp
R202 sensed p1 {R202}
R204 p1 0 {R204}
R203 ref m1 {R203}
R205 out1 m1 {R205}
X1 p1 m1 out1 vcc opamp
R206 ref p2 {R206}
R208 p2 0 {R208}
R207 sensed m2 {R207}
R209 out2 m2 {R209}
X2 p2 m2 out2 vcc opamp
R210 out1 adc {R210}
R211 out2 adc {R211}
C201 adc 0 {C201}
D1 0 adc small
D2 adc v5 small
`

// senseGains are what the page promises and the probe says in its hello, in volts an ampere, with the end of the range.
var senseGains = map[figures.Track]struct{ gain, full float64 }{figures.Main: {1, 4.7}, figures.Programming: {4, 1.17}}

func TestTheCurrentIsItsMagnitudeInBothDirections(t *testing.T) {
	for _, b := range bothTracks {
		want := senseGains[b.track]
		for _, share := range []float64{0, 0.012, 0.05, 0.2, 0.5, 1} {
			for _, sign := range []float64{1, -1} {
				amperes := sign * share * want.full
				m := spice(t, b.track, currentCircuit+fmt.Sprintf(`
VA a 0 8
IL behind 0 %g
.tran 1u 1m 0 1u
.measure tran reading find v(adc) at=990u
`, amperes))
				// 5 mV of each amplifier at nought; 0.2 % of the resistors' round values.
				assert.InDelta(t, sign*amperes*want.gain+0.005, m["reading"], 0.004+0.005*want.full*share*want.gain, "%s %g A", b.name, amperes)
			}
		}
	}
}

// TestTheCurrentLosesLittleWhileTheTrackReverses has a resistor on a reversing track, whose current is there in full but for
// the edges, and compares the mean reading with the mean current.
func TestTheCurrentLosesLittleWhileTheTrackReverses(t *testing.T) {
	for _, b := range bothTracks {
		want := senseGains[b.track]
		for _, amperes := range []float64{0.06, 0.25, 0.9 * want.full} {
			m := spice(t, b.track, currentCircuit+reversing(16, 32/50e6)+fmt.Sprintf(`
RL behind b %g
EI i 0 VOL = 'abs(v(a,behind))'
.tran 0.1u 1.2m 300u 0.1u
.measure tran reading avg v(adc) from=400u to=1096u
.measure tran current avg v(i) from=400u to=1096u
.measure tran most max v(adc) from=400u to=1096u
.measure tran least min v(adc) from=400u to=1096u
`, 16/amperes))
			current := m["current"] / figures.Value("R201", b.track) * want.gain
			t.Logf("%s %g A: %v; %.2f %%", b.name, amperes, m, 100*(m["reading"]/current-1))
			assert.InDelta(t, current+0.005, m["reading"], 0.02*current+0.004)
			assert.Less(t, m["most"]-m["least"], 0.1*current+0.01, "what remains of the edges")
		}
	}
}

// TestAnAcknowledgeIsSeen draws the least acknowledge of S-9.2.3 D (2012), 60 mA for 5 ms, on top of 40 mA.
func TestAnAcknowledgeIsSeen(t *testing.T) {
	for _, b := range bothTracks {
		want := senseGains[b.track]
		m := spice(t, b.track, currentCircuit+reversing(16, 32/50e6)+`
VP pulse 0 PULSE(0.04 0.1 1m 10u 10u 5m 20m)
BL behind b I = V(pulse)*tanh(V(behind,b))
.tran 0.5u 8m 0 0.5u
.measure tran base avg v(adc) from=500u to=990u
.measure tran top avg v(adc) from=3m to=5m
`+fmt.Sprintf(`.measure tran rise trig v(pulse) val=0.07 rise=1 targ v(adc) val=%[1]g rise=last
.measure tran width trig v(adc) val=%[2]g rise=1 targ v(adc) val=%[2]g fall=last
`, 0.005+0.085*want.gain, 0.005+0.07*want.gain))
		t.Logf("%s: %v", b.name, m)
		assert.InDelta(t, 0.06*want.gain, m["top"]-m["base"], 0.003+0.03*0.06*want.gain, "height")
		assert.InDelta(t, 5e-3, m["width"], 50e-6, "width at half its height")
	}
}

// TestTheConverterBearsAShort has 25 A flow, more than any supply that this page allows gives.
func TestTheConverterBearsAShort(t *testing.T) {
	for _, b := range bothTracks {
		m := spice(t, b.track, currentCircuit+`
VA a 0 8
IL behind 0 PULSE(0 25 100u 1u 1u 200u 1m)
.tran 0.5u 600u 0 0.5u
.measure tran most max v(adc)
`)
		t.Logf("%v", m)
		assert.Less(t, m["most"], 5.5, "0.5 V above the supply: data sheet of the ATmega328P, absolute maximum ratings (from memory)")
	}
}
