package calibration

import (
	"math"

	"bufferstop/harness/uncertainty"
)

// What a probe that was never calibrated may be off by, and what one that was may have changed by since. All in parts of the
// value unless said otherwise.
const (
	// resonator bounds the frequency of an 8-bit board that may have a ceramic resonator: 0.5 %, from memory of data sheets.
	resonator = 5000e-6
	// crystal is beyond what a quartz crystal is off by with all its tolerances (some 100 ppm, from memory of data sheets): what is
	// further off is a resonator.
	crystal = 500e-6
	// captureOnly bounds the clock of instruments that only capture, which have crystals: 100 ppm with all tolerances, from memory
	// of data sheets.
	captureOnly = 100e-6
	// Change of frequency with temperature and age: 50 ppm of a crystal, 0.2 % of a resonator between 10 and 40 °C; from memory of data
	// sheets.
	crystalChange   = 50e-6
	resonatorChange = 2000e-6
	// gain bounds the current's scale: 5 V as the converter's reference, 2 %, and three resistors of 1 % (wiring page).
	gain = 0.05
	// gainChange is for the reference on another day and at another temperature. Our own choice.
	gainChange = 0.01
	// zeroCounts bounds the offset of amplifier and converter, in counts. Our own choice.
	zeroCounts = 4
)

// The front end of a probe, as the wiring page (rigs/bench/README.md) has it, in nanoseconds. Its hysteresis delays both directions
// alike; what shifts them apart is the comparator's offset, 5 mV (from memory of data sheets) behind a divider of 0.085, and dividers
// that differ by 0.1 %: 70 mV at the rails, which a signal crosses with at least 2.4 V/µs (S-9.1 B, Table 2, 2020) in 30 ns. Common
// comparators differ by up to 100 ns in how long they take up and down (from memory of data sheets).
const (
	threshold = 30.0
	delay     = 100.0
)

// How far off the probe sees the voltage go and return: the tolerance of what off is told late by (wiring page, 10 µs ± 1.5 µs), and
// what the probe's firmware promises of an edge back from off. In nanoseconds.
const (
	offGoes    = 1_500.0
	offReturns = 16_000.0
	offSource  = "window comparators of the wiring page, firmware of the probe"
)

// milli is milliamperes in an ampere.
const milli = 1000

// Budgets is what makes the measurements of a probe uncertain. f may be nil, or of another probe: then the budgets are those of a probe
// that was never calibrated.
func Budgets(p Probe, f *File) []uncertainty.Budget {
	if p.Clock <= 0 {
		return nil // nothing that looks at a track
	}
	f = f.For(p)
	drift := f.drift()
	if p.CaptureOnly {
		drift = []uncertainty.Component{
			uncertainty.HalfWidth("frequency of the clock", captureOnly, "not calibrated: a crystal of any make, from memory of data sheets").Proportional(),
		}
	}
	var all []uncertainty.Budget
	for _, c := range p.Channels {
		edges := uncertainty.Edges{
			Period: 1e9 / p.Clock, Clock: "clock of the probe's time stamps",
			WholeNanoseconds: true,
			Threshold:        threshold, ThresholdSource: "offset and dividers of the wiring page, 70 mV at 2.4 V/µs (S-9.1 B, 2020)",
			Delay: delay, DelaySource: "common comparators, from memory of data sheets",
			Drift: drift,
		}
		if t := f.track(c.Track); t != nil && t.Edges != nil {
			edges.Scatter, edges.Observations = float64(t.Edges.Deviation), t.Edges.Spans
			edges.ScatterSource, edges.Bound = f.when(), !t.Edges.Steady
			if edges.Bound {
				edges.ScatterSource += ", with what the station added"
			}
		}
		of := append([]uncertainty.Budget{uncertainty.EdgeTimes(edges), uncertainty.HalfDifferences(edges)},
			uncertainty.OffTimes(uncertainty.OffStates{Edges: edges, Goes: offGoes, Returns: offReturns, Source: offSource})...)
		for _, b := range of {
			b.Track = string(c.Track)
			all = append(all, b)
		}
		if c.PerCount > 0 {
			all = append(all, f.current(c))
		}
	}
	return append(all,
		uncertainty.CurrentTimes(float64(p.SampleInterval), 0, drift),
		uncertainty.LoopTimes(float64(p.SampleInterval), 1e9/p.Clock),
		uncertainty.AnswerTimes(float64(p.Late)),
		uncertainty.CommandTimes(float64(p.Late), drift))
}

// when names the calibration as the source of a value.
func (f *File) when() string { return "calibration of " + f.Date.Format("2006-01-02") }

// drift is what is not known of the frequency of the clock.
func (f *File) drift() []uncertainty.Component {
	if f == nil || f.Time == nil {
		return []uncertainty.Component{
			uncertainty.HalfWidth("frequency of the clock", resonator, "not calibrated: a ceramic resonator, from memory of data sheets").Proportional(),
		}
	}
	change, source := crystalChange, "crystal, temperature and age, from memory of data sheets"
	if math.Abs(f.Time.PPM) > crystal*1e6 {
		change, source = resonatorChange, "ceramic resonator, temperature and age, from memory of data sheets"
	}
	return []uncertainty.Component{
		uncertainty.Deviation("frequency of the clock", f.Time.U/uncertainty.Coverage/1e6, f.when()).Proportional(),
		uncertainty.HalfWidth("its change since then", change, source).Proportional(),
	}
}

// current is the budget of one sample on a channel.
func (f *File) current(c Channel) uncertainty.Budget {
	step := c.PerCount * milli
	t := f.track(c.Track)
	if t == nil {
		t = &Track{}
	}
	s := uncertainty.Samples{Track: string(c.Track), Step: step, StepSource: "converter of the probe"}
	if t.Noise != nil {
		s.Noise, s.Observations, s.NoiseSource = t.Noise.Milliamperes, t.Noise.Samples, f.when()
	}
	zero := uncertainty.HalfWidth("zero", zeroCounts*step, "not calibrated: 4 counts, our own choice")
	if t.Zero != nil {
		zero = uncertainty.Deviation("zero", t.Zero.U/uncertainty.Coverage*step, f.when())
	}
	s.More = append(s.More, zero)
	if t.Gain == nil {
		s.More = append(s.More, uncertainty.HalfWidth("gain", gain, "not calibrated: reference 2 %, three resistors of 1 %, wiring page").Proportional())
	} else {
		s.More = append(s.More,
			uncertainty.Deviation("gain", t.Gain.U/t.Gain.Value/uncertainty.Coverage, f.when()).Proportional(),
			uncertainty.HalfWidth("change of the converter's reference since then", gainChange, "our own choice").Proportional())
	}
	return uncertainty.Currents(s)
}
