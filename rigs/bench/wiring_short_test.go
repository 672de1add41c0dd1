package bench_test

import (
	"fmt"
	"testing"

	"bufferstop/rigs/bench/figures"

	"github.com/stretchr/testify/assert"
)

// shortSwitch lies between the rails a and b; v(pin) drives it, and pg is the probe's ground.
const shortSwitch = `
V12 vcc pg 12
R405 pin base {R405}
R406 base pg {R406}
Q404 c404 base pg npn
R404 c404 b403 {R404}
R403 vcc b403 {R403}
Q403 c403 b403 vcc pnp
R402 c403 gate {R402}
R401 gate s {R401}
DZ s gate zener
.model zener D(IS=1e-14 BV=15)
M401 a gate s s switch
M402 b gate s s switch
CG1 gate s 6n
CD1 gate a 300p
CD2 gate b 300p
DB1 s a body
DB2 s b body
.model body D(IS=1e-9 N=1 RS=5m)
VS a3 a 0
`

// supplyAndBridge is a supply of a limited current with 1000 µF at its output, a bridge of 0.45 Ω with its sense resistor, 0.1 Ω of
// leads and fuse, and the probe's own sense resistor: the default circuit of rigs/rails, and a capacitor from our own choice.
const supplyAndBridge = `
IS 0 supply DC 5
DS supply limit ideal
VL limit 0 %g
.model ideal D(IS=1e-14 N=0.01)
CS supply esr 1000u
RE esr 0 30m
RB supply a1 0.25
RF a1 a2 0.1
R201 a2 a3 {R201}
LA b b1 1u
RG b1 0 0.2
`

// TestTheShortSwitchClosesAndOpens measures how long it takes, what flows and what the fuse gets in one second.
func TestTheShortSwitchClosesAndOpens(t *testing.T) {
	for _, b := range bothTracks {
		for _, volts := range trackVolts() {
			m := spice(t, b.track, fmt.Sprintf(supplyAndBridge, volts)+shortSwitch+`
VG pg 0 0
VP pin 0 PULSE(0 5 0.5m 0.1u 0.1u 30m 1)
EQ q 0 VOL = 'i(VS)*i(VS)'
EV rails 0 a b 1
BH heat 0 V = V(a,s)*i(VS)
.tran 0.5u 31.2m 0 2u
.measure tran closes trig v(pin) val=2.5 rise=1 targ i(VS) val=4 rise=1
.measure tran opens trig v(pin) val=2.5 fall=1 targ i(VS) val=0.05 fall=last
.measure tran peak max i(VS)
.measure tran steady find i(VS) at=30m
.measure tran voltage find v(rails) at=30m
.measure tran square integ v(q) from=0.4m to=30.5m
.measure tran opening integ v(heat) from=30.5m to=31m
`)
			ohms := m["voltage"] / m["steady"]
			// The rest of a second is at the limit of the supply.
			whole := m["square"] + 0.97*5*5
			t.Logf("%s %g V: %v; %.1f mΩ, %.2f A²s in a second", b.name, volts, m, 1e3*ohms, whole)
			assert.Less(t, m["closes"], 20e-6)
			assert.Less(t, m["opens"], 200e-6)
			assert.InDelta(t, 5, m["steady"], 0.1)
			assert.Less(t, ohms, 0.03, "the switch without its leads")
			assert.Less(t, whole, 30.0, "a second of 5 A, and the capacitor")
			assert.Less(t, m["square"]+0.07*5*5, 4.0, "a station that trips after 100 ms: what a time-lag fuse of 2 A bears (page)")
			assert.Less(t, m["opening"], 20e-3, "joules in a FET while it opens")
		}
	}
}

// TestTheShortSwitchStaysOpen has the pin lead nowhere, as in a reset, and the probe's ground too, as with a wire off.
func TestTheShortSwitchStaysOpen(t *testing.T) {
	for name, ground := range map[string]string{"ground in its place": "1m", "no ground": "1g"} {
		t.Run(name, func(t *testing.T) {
			m := spice(t, figures.Main, reversing(22, 1e-6)+shortSwitch+`
VS2 a a3 0
RG pg 0 `+ground+`
RP pin pg 1g
* the front end's dividers
R1 a pg 12k
R2 b pg 12k
EG vgs 0 gate s 1
.tran 0.2u 500u 200u 0.2u
.measure tran least min v(vgs)
.measure tran most max v(vgs)
`)
			t.Logf("%v", m)
			assert.Less(t, m["most"], 0.7, "volts from gate to source, of a threshold of 1 V at the least")
		})
	}
}
