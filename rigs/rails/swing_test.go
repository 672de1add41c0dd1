package rails

import (
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"

	"bufferstop/fakedecoder"
	"bufferstop/harness"
	"bufferstop/harness/signal"
	"bufferstop/harness/voltage"
)

// TestAChangeOfPolarityAgreesWithNgspice compares how fast the rails cross from -4 V to +4 V, and where they settle, with the
// circuit simulator. There a decoder is what it is on the bench: a rectifier of four diodes, a capacitor, and what draws current
// behind it.
func TestAChangeOfPolarityAgreesWithNgspice(t *testing.T) {
	ngspice, err := exec.LookPath("ngspice")
	if err != nil {
		t.Skip("ngspice is not installed: ", err)
	}
	for _, point := range []struct {
		name        string
		rise        time.Duration
		capacitance physic.ElectricalCapacitance
		supply      physic.ElectricPotential
		sinks       float64
	}{
		{"nothing on the rails", 400 * time.Nanosecond, 50 * physic.NanoFarad, 16 * physic.Volt, 0},
		{"a decoder", 400 * time.Nanosecond, 50 * physic.NanoFarad, 16 * physic.Volt, 0.02},
		{"near full load", 400 * time.Nanosecond, 50 * physic.NanoFarad, 16 * physic.Volt, 1.35},
		{"a slow bridge", 8 * time.Microsecond, 50 * physic.NanoFarad, 16 * physic.Volt, 0.5},
		{"the slowest legal slope", 12330 * time.Nanosecond, 50 * physic.NanoFarad, 16 * physic.Volt, 0},
		{"a bridge faster than its capacitor", 50 * time.Nanosecond, 500 * physic.NanoFarad, 16 * physic.Volt, 0},
		{"a weak supply", 2 * time.Microsecond, 200 * physic.NanoFarad, 10 * physic.Volt, 1.5},
		{"a strong supply", time.Microsecond, 100 * physic.NanoFarad, 24 * physic.Volt, 0.3},
	} {
		c := Circuit{Rise: point.rise, Capacitance: point.capacitance, Supply: point.supply}.WithDefaults().circuit()
		e := c.supply - c.drop
		netlist := fmt.Sprintf(`%s
* the bridge, then all resistance in the way
V1 a 0 PWL(0 %g 20u %g %.9gu %g)
R1 a rail %g
C1 rail 0 %g
* a decoder or a load: rectifier, capacitor, and what it draws
D1 rail top ideal
D2 bottom rail ideal
D3 0 top ideal
D4 bottom 0 ideal
C2 top bottom 100u
R2 bottom 0 1e6
R3 top 0 1e6
I1 top bottom DC %g
.model ideal D(IS=1e-9 N=1.5 RS=0.02 CJO=50p)
.control
tran 5n 34u 0 5n
meas tran lo WHEN v(rail)=-4 RISE=1
meas tran hi WHEN v(rail)=4 RISE=1
meas tran settled FIND v(rail) AT=33u
let took = hi - lo
print took
print settled
quit
.endc
.end
`, point.name, -e, -e, 20+c.rise/1000, e, c.bridge+c.sense+c.wiring, c.farads, point.sinks)
		file := filepath.Join(t.TempDir(), "swing.cir")
		require.NoError(t, os.WriteFile(file, []byte(netlist), 0o600))
		command := exec.Command(ngspice, "-b", file)
		command.Dir = t.TempDir()
		out, err := command.CombinedOutput()
		require.NoError(t, err, "%s", out)

		s := c.swing(true, point.sinks, 0)
		const interval = 5
		trace := voltage.Trace{Interval: interval}
		for _, v := range s.trace(-24_000, interval, 48_000/interval) {
			trace.Volts = append(trace.Volts, physic.ElectricPotential(v*float64(physic.Volt)))
		}
		crossing, ok := voltage.Measure(trace)
		require.True(t, ok, point.name)
		assert.InEpsilon(t, spice(t, out, "took")*1e9, float64(crossing.Took), 0.02, "time from -4 V to +4 V: %s", point.name)
		assert.InEpsilon(t, spice(t, out, "settled"), float64(crossing.After)/float64(physic.Volt), 0.01, "settled: %s", point.name)
	}
}

// clock is the rig of an output.
type clock struct{ now time.Duration }

func (c *clock) Now() time.Duration { return c.now }
func (c *clock) Usable() error      { return nil }

// tracesOf arms an output, has it driven, and returns what was measured.
func tracesOf(o *Output, n int, drive func()) (all []voltage.Crossing) {
	v := o.Track(&clock{}).(harness.Voltmeter)
	cancel := v.Traces(n, func(t voltage.Trace) {
		if c, ok := voltage.Measure(t); ok {
			all = append(all, c)
		}
	})
	defer cancel()
	drive()
	return all
}

func newOutput(c Circuit) Output {
	return New("main", c.WithDefaults(), Probe{}.WithDefaults(), rand.New(rand.NewPCG(1, 2)))
}

func TestTheOscilloscopeTracesChangesThatStandAlone(t *testing.T) {
	o := newOutput(Circuit{})
	const us = time.Microsecond
	at := []time.Duration{0, 58, 116, 130, 188, 246, 270, 700, 758, 816, 874} // a spike of 14 µs, a cutout from 270 to 700 µs
	levels := []signal.Level{1, -1, 1, -1, 1, -1, 0, 1, -1, 1, -1}
	all := tracesOf(&o, 99, func() {
		for i := range at {
			o.Edge(at[i]*us, levels[i])
		}
	})
	var times []time.Duration
	for _, c := range all {
		times = append(times, c.At.Round(us))
	}
	assert.Equal(t, []time.Duration{58 * us, 188 * us, 246 * us, 758 * us, 816 * us}, times,
		"the first of 116 µs is followed too soon, that of 130 µs follows too soon, and the last is not known to stand")
}

func TestTheOscilloscopeTracesAsManyAsAskedFor(t *testing.T) {
	o := newOutput(Circuit{})
	drive := func() {
		level := signal.Positive
		for i := range 20 {
			o.Edge(time.Duration(i)*58*time.Microsecond, level)
			level = -level
		}
	}
	assert.Len(t, tracesOf(&o, 4, drive), 4)
	// A second call ends the first, and the first's cancel does not end the second.
	v := o.Track(&clock{}).(harness.Voltmeter)
	none := v.Traces(4, func(voltage.Trace) { t.Error("the first goes on") })
	some := 0
	cancel := v.Traces(4, func(voltage.Trace) { some++ })
	none()
	drive()
	assert.Equal(t, 4, some)
	cancel()
	v.Traces(4, func(voltage.Trace) { t.Error("cancelled") })()
	drive()
}

func TestWhatLiesOnTheRailsLowersTheirVoltage(t *testing.T) {
	measure := func(c Circuit, with func(*Output)) (low, high float64) {
		o := newOutput(c)
		with(&o)
		level := signal.Positive
		for _, c := range tracesOf(&o, 6, func() {
			for i := range 10 {
				o.Edge(time.Duration(i)*100*time.Microsecond, level)
				level = -level
			}
		}) {
			for _, v := range []physic.ElectricPotential{c.Before, c.After} {
				if volts := float64(v) / float64(physic.Volt); volts > 0 {
					high = volts
				} else {
					low = volts
				}
			}
		}
		return low, high
	}
	nothing := func(*Output) {}
	low, high := measure(Circuit{}, nothing)
	assert.InDelta(t, 14.8, high, 0.01)
	assert.InDelta(t, -14.8, low, 0.01)
	low, high = measure(Circuit{}, func(o *Output) { o.SetLoad(0, 1) })
	assert.InDelta(t, 14.15, high, 0.01, "1 A through 0.65 Ω")
	assert.InDelta(t, -14.15, low, 0.01)
	low, high = measure(Circuit{Uneven: 2 * physic.Volt}, nothing)
	assert.InDelta(t, 14.8, high, 0.01)
	assert.InDelta(t, -12.8, low, 0.01)
	low, high = measure(Circuit{}, func(o *Output) {
		_, err := o.Track(&clock{}).Fit(fakedecoder.Default())
		require.NoError(t, err)
	})
	assert.Less(t, high, 14.8)
	assert.Greater(t, high, 14.5)
	assert.Less(t, low, -14.5)
}

func TestAKinkIsADistortionWhereItIs(t *testing.T) {
	for _, volts := range []physic.ElectricPotential{1500 * physic.MilliVolt, 3 * physic.Volt} {
		o := newOutput(Circuit{Kink: volts})
		level := signal.Positive
		all := tracesOf(&o, 6, func() {
			for i := range 10 {
				o.Edge(time.Duration(i)*58*time.Microsecond, level)
				level = -level
			}
		})
		require.NotEmpty(t, all)
		for _, c := range all {
			assert.InDelta(t, float64(volts), float64(c.Distortion), 0.5*float64(physic.Volt))
		}
	}
}
