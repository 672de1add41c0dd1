package rails

import (
	"cmp"
	"fmt"
	"time"

	"periph.io/x/conn/v3/physic"
)

// A Circuit is what lies between the supply and the rails of one output. A field that is zero stands for its default.
type Circuit struct {
	Supply physic.ElectricPotential  // 16 V
	Limit  physic.ElectricCurrent    // the most that the supply gives to one output: 5 A
	Drop   physic.ElectricPotential  // fixed drop of the bridge: 1.2 V
	Bridge physic.ElectricResistance // resistance of the bridge: 0.3 Ω
	Sense  physic.ElectricResistance // sense resistor: 0.15 Ω
	Wiring physic.ElectricResistance // to the rails and back: 0.2 Ω
	// Rise is how long the bridge takes from one polarity to the other: 400 ns. Driver boards of the trade switch within some tens of
	// nanoseconds to some microseconds (common practice, no source).
	Rise time.Duration
	// Capacitance is what lies across the rails besides decoders: their suppression capacitors, and track and cables, 50 nF (common
	// practice, no source).
	Capacitance physic.ElectricalCapacitance
	// Uneven is a further drop of a bridge that drives the negative polarity less well. None by default.
	Uneven physic.ElectricPotential
	// Kink is the voltage at which a bridge runs back by a volt, on its way from one polarity to the other. None by default.
	Kink physic.ElectricPotential
}

// WithDefaults fills in what is zero.
func (c Circuit) WithDefaults() Circuit {
	c.Supply = cmp.Or(c.Supply, 16*physic.Volt)
	c.Limit = cmp.Or(c.Limit, 5*physic.Ampere)
	c.Drop = cmp.Or(c.Drop, 1200*physic.MilliVolt)
	c.Bridge = cmp.Or(c.Bridge, 300*physic.MilliOhm)
	c.Sense = cmp.Or(c.Sense, 150*physic.MilliOhm)
	c.Wiring = cmp.Or(c.Wiring, 200*physic.MilliOhm)
	c.Rise = cmp.Or(c.Rise, 400*time.Nanosecond)
	c.Capacitance = cmp.Or(c.Capacitance, 50*physic.NanoFarad)
	return c
}

func (c Circuit) circuit() circuit {
	volts := func(v physic.ElectricPotential) float64 { return float64(v) / float64(physic.Volt) }
	ohms := func(r physic.ElectricResistance) float64 { return float64(r) / float64(physic.Ohm) }
	return newCircuit(circuit{
		supply: volts(c.Supply), limit: float64(c.Limit) / float64(physic.Ampere), drop: volts(c.Drop),
		bridge: ohms(c.Bridge), sense: ohms(c.Sense), wiring: ohms(c.Wiring),
		rise: float64(c.Rise), farads: float64(c.Capacitance) / float64(physic.Farad),
		uneven: volts(c.Uneven), kink: volts(c.Kink),
	})
}

// Check says what of a complete circuit is out of its range.
func (c Circuit) Check() error {
	s := c.circuit()
	if s.supply > 30 || s.supply-s.drop < sufficient || s.limit <= 0 || min(s.drop, s.bridge, s.sense, s.wiring) < 0 ||
		s.bridge+s.sense+s.wiring <= 0 {
		return fmt.Errorf("circuit %+v, want a supply of at most 30 V that leaves 7 V at the rails, and no negative value", c)
	}
	if c.Rise < 0 || c.Rise > longestRise || c.Capacitance < 0 || c.Capacitance > physic.MicroFarad {
		return fmt.Errorf("rise %v and capacitance %v, want 0s to %v and 0F to 1µF", c.Rise, c.Capacitance, longestRise)
	}
	return nil
}

// circuit is one output from the supply to the rails. All values are in volts, amperes and ohms.
//
//	supply ── current limit ── bridge drop ── bridge, sense and wiring resistance ──┬── rails
//	                                                                                ├── G: shorts
//	                                                                                └── J: decoders and loads
//
// Decoders and loads are current sinks J, shorts a conductance G. With E = supply - drop and R the sum of the
// resistances in the way, Kirchhoff's laws give
//
//	V = (E - R·J) / (1 + R·G)      I = J + V·G
//
// A sink cannot draw the rails below zero: where V would be negative, V = 0 and I = E/R. Where I would pass the limit L
// of the supply, I = L and the rails fall to V = (L - J)/G, or to zero when the sinks alone take more than L.
type circuit struct {
	supply float64 // open-circuit voltage of the supply
	limit  float64 // the most that the supply gives
	drop   float64 // fixed drop of the two bridge switches that carry the current
	bridge float64 // their resistance
	sense  float64 // sense resistor in the bridge's ground
	wiring float64 // from the output to the rails and back

	// What a change of polarity looks like: see swing.
	rise   float64 // nanoseconds
	farads float64 // across the rails
	uneven float64
	kink   float64

	plenty float64 // without a short, the rails have enough voltage for everything below this current
}

func newCircuit(c circuit) circuit {
	c.plenty = min(c.limit, (c.supply-c.drop-sufficient)/(c.bridge+c.sense+c.wiring))
	return c
}

// The voltages below which a track counts as without power.
const (
	// visible is where the probe's comparators switch. S-9.1 B (2020) describes the signal by its crossing of ±4 V.
	visible = 4.0
	// sufficient is the least that a decoder has to work on: S-9.1 C, Table 3 (2020).
	sufficient = 7.0
)

// solve gives the voltage across the rails and the current through the sense resistor.
func (c *circuit) solve(sinks, conductance float64) (voltage, amperes float64) {
	e, r := c.supply-c.drop, c.bridge+c.sense+c.wiring
	voltage = (e - r*sinks) / (1 + r*conductance)
	if voltage < 0 {
		voltage, amperes = 0, e/r
	} else {
		amperes = sinks + voltage*conductance
	}
	if amperes > c.limit {
		amperes, voltage = c.limit, 0
		if conductance > 0 && sinks < c.limit {
			voltage = (c.limit - sinks) / conductance
		}
	}
	return voltage, amperes
}
