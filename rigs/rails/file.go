package rails

import (
	"time"

	"periph.io/x/conn/v3/physic"
)

// Tables are the tables of a rig file that describe the hardware around the station. All of it may be left out:
//
//	[supply]
//	voltage = "16V"
//	limit = "5A"          # the most that one output gets
//
//	[track]
//	drop = "1.2V"         # fixed drop of the bridge
//	bridge = "300mOhm"    # its resistance
//	sense = "150mOhm"     # sense resistor
//	wiring = "200mOhm"    # to the rails and back
//	rise = "400ns"        # how long the bridge takes from one polarity to the other
//	capacitance = "50nF"  # across the rails
//
//	[probe]
//	clock = "16MHz"
//	noise = "10ns"        # standard deviation of the time of an edge
//	sample_interval = "500us"
//	current_step = "1mA"
//	current_noise = "1mA" # standard deviation of a sample
//	volt_interval = "25ns"
//	volt_step = "20mV"
//	volt_noise = "20mV"   # standard deviation of a sample
type Tables struct {
	Supply struct {
		Voltage quantity[physic.ElectricPotential, *physic.ElectricPotential] `toml:"voltage"`
		Limit   quantity[physic.ElectricCurrent, *physic.ElectricCurrent]     `toml:"limit"`
	} `toml:"supply"`
	Track struct {
		Drop   quantity[physic.ElectricPotential, *physic.ElectricPotential]   `toml:"drop"`
		Bridge quantity[physic.ElectricResistance, *physic.ElectricResistance] `toml:"bridge"`
		Sense  quantity[physic.ElectricResistance, *physic.ElectricResistance] `toml:"sense"`
		Wiring quantity[physic.ElectricResistance, *physic.ElectricResistance] `toml:"wiring"`
		Rise   span                                                            `toml:"rise"`

		Capacitance quantity[physic.ElectricalCapacitance, *physic.ElectricalCapacitance] `toml:"capacitance"`
	} `toml:"track"`
	ProbeTable struct {
		Clock          quantity[physic.Frequency, *physic.Frequency]             `toml:"clock"`
		Noise          span                                                      `toml:"noise"`
		SampleInterval span                                                      `toml:"sample_interval"`
		CurrentStep    quantity[physic.ElectricCurrent, *physic.ElectricCurrent] `toml:"current_step"`
		CurrentNoise   quantity[physic.ElectricCurrent, *physic.ElectricCurrent] `toml:"current_noise"`

		VoltInterval span                                                          `toml:"volt_interval"`
		VoltStep     quantity[physic.ElectricPotential, *physic.ElectricPotential] `toml:"volt_step"`
		VoltNoise    quantity[physic.ElectricPotential, *physic.ElectricPotential] `toml:"volt_noise"`
	} `toml:"probe"`
}

// Circuit is what the tables say of the circuit.
func (t *Tables) Circuit() Circuit {
	return Circuit{
		Supply: t.Supply.Voltage.value, Limit: t.Supply.Limit.value, Drop: t.Track.Drop.value,
		Bridge: t.Track.Bridge.value, Sense: t.Track.Sense.value, Wiring: t.Track.Wiring.value,
		Rise: time.Duration(t.Track.Rise), Capacitance: t.Track.Capacitance.value,
	}
}

// Probe is what the tables say of the probe.
func (t *Tables) Probe() Probe {
	p := &t.ProbeTable
	return Probe{
		Clock: p.Clock.value, Noise: time.Duration(p.Noise), SampleInterval: time.Duration(p.SampleInterval),
		CurrentStep: p.CurrentStep.value, CurrentNoise: p.CurrentNoise.value,
		VoltInterval: time.Duration(p.VoltInterval), VoltStep: p.VoltStep.value, VoltNoise: p.VoltNoise.value,
	}
}

// quantity is a value with its unit, as physic reads it.
type quantity[T any, P interface {
	*T
	Set(string) error
}] struct{ value T }

// UnmarshalText reads the value; toml adds the line to its error.
func (q *quantity[T, P]) UnmarshalText(text []byte) error { return P(&q.value).Set(string(text)) }

// span is a duration.
type span time.Duration

// UnmarshalText reads the duration; toml adds the line to its error.
func (s *span) UnmarshalText(text []byte) error {
	d, err := time.ParseDuration(string(text))
	*s = span(d)
	return err
}
