package examination

import (
	"errors"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/uncertainty"
	"bufferstop/harness/verdict"
	"bufferstop/harness/voltage"

	"periph.io/x/conn/v3/physic"
)

// traceTime is how long changes of polarity are waited for at most: enough for hundreds of them on a track that carries packets. Our
// own choice.
const traceTime = 2 * time.Second

// errNoScope is a rig that says it is SeeVolts and is no Voltmeter.
var errNoScope = errors.New("the rig says that it sees the voltage, and shows none")

// Crossings measures the next n changes of polarity of the check's track. A track that has fewer leaves the check inconclusive.
func (x *Check) Crossings(n int) []voltage.Crossing {
	meter, sees := x.Rig.Track(x.Track).(harness.Voltmeter)
	if !sees {
		x.Fitted("see the voltage", errNoScope)
	}
	var all []voltage.Crossing
	cancel := meter.Traces(n, func(t voltage.Trace) {
		if c, ok := voltage.Measure(t); ok {
			all = append(all, c)
		}
	})
	defer cancel()
	for end := x.Rig.Now() + traceTime; len(all) < n && x.Rig.Now() < end; {
		x.Wait(poll)
	}
	if len(all) < n {
		x.Inconclusive("the oscilloscope saw %d changes of polarity on the %s track in %v, want %d", len(all), x.Track, traceTime, n)
	}
	return all
}

// Volts judges a spread of voltages, in millivolts, against the limit on a quantity; name says which of several they are.
func (x *Check) Volts(name, quantity string, s verdict.Spread) {
	x.measured(Reading{name, verdict.Millivolts, s, x.limit(quantity, 0), x.Budget(uncertainty.Voltage)})
}

// Slews judges a spread of slews, in volts a microsecond, against the limit on a quantity.
func (x *Check) Slews(name, quantity string, s verdict.Spread) {
	x.measured(Reading{name, verdict.VoltsPerMicrosecond, s, x.limit(quantity, 0), x.Budget(uncertainty.Slew)})
}

// Millivolts is a voltage as measurements keep it.
func Millivolts(v physic.ElectricPotential) float64 { return float64(v) / float64(physic.MilliVolt) }

// SpreadOfOffs judges a spread of times from an edge to where the voltage goes, or to where it comes back.
func (x *Check) SpreadOfOffs(quantity string, s verdict.Spread, budget string) {
	x.measured(Reading{quantity, verdict.Nanoseconds, s, x.limit(quantity, 0), x.Budget(budget)})
}
