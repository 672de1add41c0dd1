package uncertainty

// Edges says how well the times of edges are known. All times are in nanoseconds.
type Edges struct {
	// Period is the step of the time stamps; Clock says what steps so.
	Period float64
	Clock  string
	// Noise is the standard deviation of the time of one edge.
	Noise       float64
	NoiseSource string
	// Scatter is the standard deviation of a time between two edges, as observed n times: what noise there is, found by looking. It
	// takes the place of Noise.
	Scatter       float64
	Observations  int
	ScatterSource string
	// Bound says that Scatter is no more than an upper bound of the repeatability, with what the source of the edges added: it makes
	// times uncertain, but is not held against the apparatus.
	Bound bool
	// WholeNanoseconds says that the stamps are rounded to these.
	WholeNanoseconds bool
	// Threshold bounds the shift of an edge by the comparator's threshold and the slope of the signal. It moves edges of one direction
	// one way and those of the other the other way, so that a time between two changes by twice as much.
	Threshold       float64
	ThresholdSource string
	// Delay bounds the difference of the comparator's delays in the two directions.
	Delay       float64
	DelaySource string
	// Drift is what is not known of the clock's frequency, as parts of a time: proportional components.
	Drift []Component
}

// typicalHalf is the half of a one that S-9.1 A (2020) wants, in nanoseconds.
const typicalHalf = 58_000

// EdgeTimes is the budget of the time between two edges that follow each other, one of each direction.
func EdgeTimes(e Edges) Budget {
	b := Budget{Quantity: EdgeTime, Unit: "ns", Typical: typicalHalf, K: Coverage,
		Model: "time = (ticks at the second edge - ticks at the first) × period of the clock"}
	for _, edge := range []string{"first edge", "second edge"} {
		b.Components = append(b.Components, e.edge(edge, 1)...)
	}
	b.Components = append(b.Components, e.observed(1)...)
	b.Components = append(b.Components, e.comparator(1)...)
	b.Components = append(b.Components, e.Drift...)
	return b
}

// HalfDifferences is the budget of the difference of two half-bits in a row: the edge between them counts twice, and what
// lengthens the one half shortens the other.
func HalfDifferences(e Edges) Budget {
	b := Budget{Quantity: HalfDifference, Unit: "ns", Typical: 0, K: Coverage,
		Model: "difference = third edge - 2 × second edge + first edge"}
	b.Components = append(b.Components, e.edge("first edge", 1)...)
	b.Components = append(b.Components, e.edge("second edge, of both halves", 2)...)
	b.Components = append(b.Components, e.edge("third edge", 1)...)
	b.Components = append(b.Components, e.observed(sqrt3)...)
	b.Components = append(b.Components, e.comparator(2)...)
	b.Components = append(b.Components, e.Drift...)
	return b
}

// sqrt3 is by how much more a difference of two halves scatters than one of them: 1 + 4 + 1 parts of the variance of an edge
// against 1 + 1.
const sqrt3 = 1.7320508075688772

// edge is what one edge brings.
func (e Edges) edge(which string, times float64) []Component {
	all := []Component{Quantised("quantisation, "+which, e.Period, e.Clock).Weighted(times)}
	if e.Scatter == 0 && e.Noise > 0 {
		all = append(all, Scatter("noise, "+which, e.Noise, e.NoiseSource).Weighted(times))
	}
	if e.WholeNanoseconds {
		all = append(all, Quantised("rounding to whole nanoseconds, "+which, 1, "times are kept in nanoseconds").Weighted(times))
	}
	return all
}

func (e Edges) observed(times float64) []Component {
	if e.Scatter == 0 {
		return nil
	}
	c := Scatter("repeatability", e.Scatter, e.ScatterSource).Observed(e.Observations).Weighted(times)
	c.Repeats = !e.Bound
	return []Component{c}
}

func (e Edges) comparator(times float64) []Component {
	var all []Component
	if e.Threshold > 0 {
		all = append(all, HalfWidth("comparator threshold on a sloping edge, both edges", e.Threshold, e.ThresholdSource).Weighted(2*times))
	}
	if e.Delay > 0 {
		all = append(all, HalfWidth("difference of the comparator's delays up and down", e.Delay, e.DelaySource).Weighted(times))
	}
	return all
}

// Samples says how well current is sampled. Currents are in milliamperes.
type Samples struct {
	Track string
	// Step is that of the converter; Noise the standard deviation of one sample, from n observations or, if that is zero, as
	// stated.
	Step         float64
	StepSource   string
	Noise        float64
	Observations int
	NoiseSource  string
	// More is what else there is: zero and gain.
	More []Component
}

// Currents is the budget of one sample of a current.
func Currents(s Samples) Budget {
	b := Budget{Quantity: Current, Track: s.Track, Unit: "mA", Typical: 100, K: Coverage, // 100 mA: an acknowledge may be as little as 60
		Model: "current = (counts - zero) × gain"}
	b.Components = append(b.Components, Quantised("quantisation", s.Step, s.StepSource))
	if s.Noise > 0 {
		noise := Scatter("noise of one sample", s.Noise, s.NoiseSource)
		if s.Observations > 0 {
			noise = noise.Observed(s.Observations)
		}
		b.Components = append(b.Components, noise)
	}
	b.Components = append(b.Components, s.More...)
	return b
}

// CurrentTimes is the budget of a time at which a current changed, as a trip does, from what was done at a time that the rig knows:
// the change lies somewhere between two samples. The interval and command, which bounds how much later than asked a switch or a
// load takes effect, are in nanoseconds.
func CurrentTimes(interval, command float64, drift []Component) Budget {
	b := Budget{Quantity: CurrentTime, Unit: "ns", Typical: 50e6, K: Coverage, // 50 ms: a usual trip time
		Model:      "time = crossing of the limit between two samples - time of the switch",
		Components: []Component{HalfWidth("somewhere between two samples", interval, "the interval of the samples")}}
	if command > 0 {
		b.Components = append(b.Components, HalfWidth("time of the switch", command, "the longest that a command takes to the probe"))
	}
	b.Components = append(b.Components, drift...)
	return b
}

// LoopTimes is the budget of the time from the last edge of a packet to the load current that the probe sees for it. The interval of
// the samples and the period of the time stamps are in nanoseconds.
func LoopTimes(interval, period float64) Budget {
	return Budget{Quantity: LoopTime, Unit: "ns", Typical: 5e6, K: Coverage,
		Model: "time = crossing of half the load current between two samples - last edge of the packet",
		Components: []Component{HalfWidth("somewhere between two samples", interval, "the interval of the samples"),
			Quantised("quantisation, last edge", period, "clock of the probe's time stamps")}}
}

// character is a character of ten bits at 9600 baud, the slowest link in common use (common practice, no source), in nanoseconds.
const character = 10 * 1e9 / 9600

// AnswerTimes is the budget of the time until a station has answered over its link. Late bounds how far what the host knows of the
// rig's time may be behind, in nanoseconds: zero where the two are one.
func AnswerTimes(late float64) Budget {
	source := "one character of ten bits at 9600 baud, the slowest link in common use (common practice, no source)"
	b := Budget{Quantity: AnswerTime, Unit: "ns", Typical: 1e9, K: Coverage,
		Model:      "time = last character of the answer - last character of the question",
		Components: []Component{HalfWidth("character under way, question", character/2, source), HalfWidth("character under way, answer", character/2, source)}}
	if late > 0 {
		b.Components = append(b.Components, HalfWidth("the probe's time as the host knows it, question", late, lateSource),
			HalfWidth("the probe's time as the host knows it, answer", late, lateSource))
	}
	return b
}

const lateSource = "the way from the probe to the host, as found at the beginning"

// CommandTimes is the budget of the time from a command, which the host gives when it knows of the probe only what happened until a
// while ago, to an edge. Late bounds that while, in nanoseconds.
func CommandTimes(late float64, drift []Component) Budget {
	return Budget{Quantity: CommandTime, Unit: "ns", Typical: 100e6, K: Coverage, // 100 ms: a usual time for a stop
		Model:      "time = edge on the track - the probe's time when the command was given",
		Components: append([]Component{HalfWidth("the probe's time as the host knows it", late, lateSource)}, drift...)}
}
