package bench_test

import (
	"fmt"
	"strings"
	"testing"

	"bufferstop/rigs/bench/figures"

	"github.com/stretchr/testify/assert"
)

// loadCircuit is the electronic load behind its rectifier, from the buffer behind the ladder on: v(set) is what the ladder
// says. The rectifier has its own ground n, one diode above the lower rail.
const loadCircuit = `
V12 vcc 0 12
V5 v5 0 5
XB set buffered buffered vcc opamp
R317 buffered plus {R317}
R319 plus n {R319}
R321 v5 plus {R321}
R318 minus 0 {R318}
R320 minus source {R320}
C301 drive minus {C301}
XS plus minus drive vcc opamp
R322 drive gate {R322}
R323 gate source {R323}
M301 drain gate source source linear
CGS gate source 2n
CGD gate drain 200p
R324 source n {R324}
D301 a drain power
D302 b drain power
D303 n a power
D304 n b power
C302 drain n {C302}
EA across 0 source n 1
`

// ladderVolts is what the ladder gives at a level: its share of 5 V, without the pins' own 25 Ω, which are a thousandth of 20 kΩ.
func ladderVolts(level int) float64 { return 5 * float64(level) / 256 }

// TestTheLoadGivesItsLevelWithinFiftyMicroseconds steps the load while the track lies still and looks at its current 50 µs
// later, and at the most that it had until then: our own limits of 2 % and a quarter of a step, and 5 % above.
func TestTheLoadGivesItsLevelWithinFiftyMicroseconds(t *testing.T) {
	for _, b := range bothTracks {
		step := map[figures.Track]float64{figures.Main: 20e-3, figures.Programming: 4e-3}[b.track]
		for _, volts := range trackVolts() {
			for _, levels := range [][2]int{{0, 1}, {0, 15}, {5, 20}, {0, 100}, {10, 255}, {20, 5}} {
				t.Run(fmt.Sprintf("%s %g V %v", b.name, volts, levels), func(t *testing.T) {
					m := spice(t, b.track, fmt.Sprintf(loadCircuit+`
VA a0 0 %g
RA a0 a1 0.3
LA a1 a 0.5u
RB b b1 0.3
LB b1 0 0.5u
VSET set 0 PULSE(%g %g 100u 1u 1u 1 2)
.tran 0.1u 260u 0 0.1u
.measure tran before find v(across) at=99u
.measure tran at50 find v(across) at=150u
.measure tran settled find v(across) at=255u
.measure tran highest max v(across) from=100u to=250u
.measure tran lowest min v(across) from=100u to=250u
.measure tran lead find i(LA) at=255u
`, volts, ladderVolts(levels[0]), ladderVolts(levels[1])))
					rs := figures.Value("R324", b.track)
					t.Logf("%v", m)
					from, want := (float64(levels[0])+0.5)*step, (float64(levels[1])+0.5)*step
					assert.InDelta(t, want, m["settled"]/rs, 0.02*want, "level")
					assert.InDelta(t, m["settled"]/rs, m["at50"]/rs, 0.02*want+step/4, "50 µs after the step")
					if want > from {
						assert.Less(t, m["highest"]-m["before"], 1.05*(m["settled"]-m["before"]), "overshoot")
					} else {
						assert.Greater(t, m["lowest"], m["settled"]-0.05*(m["before"]-m["settled"]), "undershoot")
					}
					assert.InEpsilon(t, m["settled"]/rs, m["lead"], 0.02, "what the track gives")
				})
			}
		}
	}
}

// TestTheLoadSettlesWithAnyFET does the same with six times the capacity at the gate, a quarter and four times the steepness, and a threshold from one
// end to the other of what the page allows.
func TestTheLoadSettlesWithAnyFET(t *testing.T) {
	for _, b := range bothTracks {
		for _, fet := range []string{"VTO=2 KP=40", "VTO=4 KP=40", "VTO=2 KP=2.5", "VTO=4 KP=2.5"} {
			for _, levels := range [][2]int{{0, 15}, {10, 255}} {
				other := strings.NewReplacer(" linear", " other", "source 2n", "source 12n", "gate drain 200p", "gate drain 1n").Replace(loadCircuit)
				m := spice(t, b.track, fmt.Sprintf(other+`
.model other NMOS(LEVEL=1 %s RD=20m)
VA a0 0 16
RA a0 a1 0.3
LA a1 a 0.5u
RB b b1 0.3
LB b1 0 0.5u
VSET set 0 PULSE(%g %g 100u 1u 1u 1 2)
.tran 0.1u 260u 0 0.1u
.measure tran before find v(across) at=99u
.measure tran at50 find v(across) at=150u
.measure tran settled find v(across) at=255u
.measure tran highest max v(across) from=100u to=250u
`, fet, ladderVolts(levels[0]), ladderVolts(levels[1])))
				t.Logf("%s %s %v: %v", b.name, fet, levels, m)
				assert.InEpsilon(t, m["settled"], m["at50"], 0.02)
				assert.Less(t, m["highest"]-m["before"], 1.05*(m["settled"]-m["before"]), "overshoot")
			}
		}
	}
}

// TestTheLoadIsOffInAReset lets the pins lead nowhere: what is left is the ladder's own way to ground, 90 kΩ from its end.
func TestTheLoadIsOffInAReset(t *testing.T) {
	for _, b := range bothTracks {
		m := spice(t, b.track, loadCircuit+reversing(22, 1e-6)+`
RSET set 0 90k
.tran 0.1u 500u 300u 0.1u
.measure tran most max v(across)
`)
		amperes := m["most"] / figures.Value("R324", b.track)
		t.Logf("%s: %.4f A", b.name, amperes)
		assert.Less(t, amperes, 1.2*map[figures.Track]float64{figures.Main: 20e-3, figures.Programming: 4e-3}[b.track], "about a step")
	}
}

// TestTheLoadHoldsWhileTheTrackReverses lets the track reverse as slowly as S-9.1 B, Table 2 (2020) allows, 2.4 V/µs, and
// as fast as a bridge does, and looks at the least and the most that the load draws meanwhile.
func TestTheLoadHoldsWhileTheTrackReverses(t *testing.T) {
	for _, b := range bothTracks {
		step := map[figures.Track]float64{figures.Main: 20e-3, figures.Programming: 4e-3}[b.track]
		for _, volts := range trackVolts() {
			for _, slew := range []float64{2.4e6, 50e6} {
				for _, level := range []int{15, 250} {
					t.Run(fmt.Sprintf("%s %g V %g V/s level %d", b.name, volts, slew, level), func(t *testing.T) {
						m := spice(t, b.track, loadCircuit+reversing(volts, 2*volts/slew)+fmt.Sprintf(`
VSET set 0 %g
.tran 0.1u 500u 150u 0.1u
.measure tran least min v(across) from=166u to=398u
.measure tran most max v(across) from=166u to=398u
.measure tran mean avg v(across) from=166u to=398u
`, ladderVolts(level)))
						rs, want := figures.Value("R324", b.track), (float64(level)+0.5)*step
						t.Logf("want %g: %g to %g, mean %g", want, m["least"]/rs, m["most"]/rs, m["mean"]/rs)
						assert.InEpsilon(t, want, m["mean"]/rs, 0.03, "on average")
						if slew > 10e6 {
							assert.InEpsilon(t, want, m["least"]/rs, 0.1, "at the least")
							assert.InEpsilon(t, want, m["most"]/rs, 0.1, "at the most")
						}
					})
				}
			}
		}
	}
}
