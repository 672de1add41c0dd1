package uncertainty

// Volts says how well the voltage of a track is sampled. Voltages are in millivolts, times in nanoseconds.
type Volts struct {
	Track string
	// Step is that of the converter; Noise the standard deviation of one sample.
	Step, Noise float64
	// Interval is the time from one sample to the next.
	Interval float64
	Source   string
	// More is what else there is of a voltage: zero and gain.
	More []Component
}

// typicalVolts is the nominal amplitude that S-9.1 C, Table 3 (2020) has for most scales, 15 V. In millivolts.
const typicalVolts = 15_000

// Voltages is the budget of one sample of a voltage. What is averaged over several is known better than that.
func Voltages(v Volts) Budget {
	b := Budget{Quantity: Voltage, Track: v.Track, Unit: "mV", Typical: typicalVolts, K: Coverage, Model: "voltage = (counts - zero) × gain"}
	b.Components = append(b.Components, Quantised("quantisation", v.Step, v.Source))
	if v.Noise > 0 {
		b.Components = append(b.Components, Scatter("noise of one sample", v.Noise, v.Source))
	}
	b.Components = append(b.Components, v.More...)
	return b
}

// slewBand is the voltage over which a slew is measured, from -4 V to +4 V: S-9.1 B, Table 2 (2020). In millivolts.
const slewBand = 8_000

// typicalSlew is the least that S-9.1 B, Table 2 (2020) asks for, in volts a microsecond.
const typicalSlew = 2.4

// Slews is the budget of a slew that is found from the time between two voltages. The slope is that of a time, which is in the
// denominator: the sensitivity to either end of it is the slew squared over the voltage (JCGM 100:2008 5.1.3). Noise moves an end by
// as much as the voltage takes to make up for it, so that its part of the slew is always the same.
func Slews(v Volts) Budget {
	const nanosecondsAMicrosecond, millivoltsAVolt = 1e3, 1e3
	perTime := 1 / (nanosecondsAMicrosecond * slewBand / millivoltsAVolt) // of one nanosecond, for each volt a microsecond
	b := Budget{Quantity: Slew, Track: v.Track, Unit: "V/us", Typical: typicalSlew, K: Coverage,
		Model: "slew = 8 V / (time at +4 V - time at -4 V), each between two samples"}
	for _, end := range []string{"-4 V", "+4 V"} {
		b.Components = append(b.Components, HalfWidth("somewhere between two samples, "+end, v.Interval*perTime, "the interval of the samples").Quadratic(),
			Quantised("quantisation, "+end, v.Step/slewBand, v.Source).Proportional())
		if v.Noise > 0 {
			b.Components = append(b.Components, Scatter("noise, "+end, v.Noise/slewBand, v.Source).Proportional())
		}
	}
	for _, c := range v.More {
		if c.Value = 0; c.Relative > 0 { // a zero that is off moves both ends alike
			b.Components = append(b.Components, c)
		}
	}
	return b
}
