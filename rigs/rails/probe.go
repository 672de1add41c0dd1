package rails

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/current"
	"bufferstop/harness/signal"
	"bufferstop/harness/uncertainty"

	"periph.io/x/conn/v3/physic"
)

// A Probe says how well the simulated probe sees. The zero value of a field stands for its default.
type Probe struct {
	// Clock is the frequency at which the track is looked at. 16 MHz, so every 62.5 ns.
	Clock physic.Frequency
	// Noise is the standard deviation of the time of an edge, before the clock. 10 ns.
	Noise time.Duration
	// SampleInterval is the time between two current samples. 500 µs.
	SampleInterval time.Duration
	// CurrentStep is the step of the current converter, 1 mA; CurrentNoise the standard deviation of a sample, 1 mA.
	CurrentStep, CurrentNoise physic.ElectricCurrent
	// VoltInterval is the time between two samples of the voltage around a change of polarity, 25 ns. VoltStep is the step of their
	// converter, 20 mV: 12 bits on ±40 V; VoltNoise the standard deviation of a sample, 20 mV.
	VoltInterval        time.Duration
	VoltStep, VoltNoise physic.ElectricPotential
}

// WithDefaults fills in what is zero.
func (p Probe) WithDefaults() Probe {
	p.Clock = cmp.Or(p.Clock, 16*physic.MegaHertz)
	p.Noise = cmp.Or(p.Noise, 10*time.Nanosecond)
	p.SampleInterval = cmp.Or(p.SampleInterval, 500*time.Microsecond)
	p.CurrentStep = cmp.Or(p.CurrentStep, physic.MilliAmpere)
	p.CurrentNoise = cmp.Or(p.CurrentNoise, physic.MilliAmpere)
	p.VoltInterval = cmp.Or(p.VoltInterval, 25*time.Nanosecond)
	p.VoltStep = cmp.Or(p.VoltStep, 20*physic.MilliVolt)
	p.VoltNoise = cmp.Or(p.VoltNoise, 20*physic.MilliVolt)
	return p
}

// Check says what of a complete probe is out of its range.
func (p Probe) Check() error {
	switch {
	case p.Clock < physic.MegaHertz/10 || p.Clock > physic.GigaHertz:
		return fmt.Errorf("probe clock %v, want 100kHz to 1GHz", p.Clock)
	case p.Noise < 0 || p.Noise > 10*time.Microsecond:
		return fmt.Errorf("probe noise %v, want 0s to 10µs", p.Noise)
	case p.SampleInterval < 10*time.Microsecond || p.SampleInterval > time.Second:
		return fmt.Errorf("sample interval %v, want 10µs to 1s", p.SampleInterval)
	case p.CurrentStep < 0 || p.CurrentNoise < 0 || p.CurrentStep > physic.Ampere || p.CurrentNoise > physic.Ampere:
		return fmt.Errorf("current step %v and noise %v, want 0A to 1A", p.CurrentStep, p.CurrentNoise)
	case p.VoltInterval < 5*time.Nanosecond || p.VoltInterval > time.Microsecond:
		return fmt.Errorf("interval of the voltage %v, want 5ns to 1µs", p.VoltInterval)
	case p.VoltStep < 0 || p.VoltNoise < 0 || p.VoltStep > physic.Volt || p.VoltNoise > physic.Volt:
		return fmt.Errorf("voltage step %v and noise %v, want 0V to 1V", p.VoltStep, p.VoltNoise)
	}
	return nil
}

// Budgets say what makes the probe's measurements uncertain, all of it as the simulation has it. The clock is the rig's own
// time, so it does not drift.
func (p Probe) Budgets() []uncertainty.Budget {
	edges := uncertainty.Edges{
		Period: 1e9 / (float64(p.Clock) / float64(physic.Hertz)), Clock: "clock of the simulated probe",
		Noise: float64(p.Noise), NoiseSource: "noise of the simulated probe",
		WholeNanoseconds: true,
	}
	milliVolt := float64(physic.MilliVolt)
	volts := uncertainty.Volts{
		Step: float64(p.VoltStep) / milliVolt, Noise: float64(p.VoltNoise) / milliVolt, Interval: float64(p.VoltInterval),
		Source: "oscilloscope of the simulated probe",
	}
	return append(uncertainty.OffTimes(uncertainty.OffStates{Edges: edges}),
		uncertainty.Voltages(volts),
		uncertainty.Slews(volts),
		uncertainty.EdgeTimes(edges),
		uncertainty.HalfDifferences(edges),
		uncertainty.Currents(uncertainty.Samples{
			Step: float64(p.CurrentStep) / milli, StepSource: "converter of the simulated probe",
			Noise: float64(p.CurrentNoise) / milli, NoiseSource: "noise of the simulated probe",
		}),
		uncertainty.CurrentTimes(float64(p.SampleInterval), 0, nil),
		uncertainty.AnswerTimes(0),
	)
}

// milli makes milliamperes of what physic counts in.
const milli = float64(physic.MilliAmpere)

// EdgeUncertainty is the expanded uncertainty (k=2) of the time between two edges. The clock has no part in it that grows with
// the time.
func (p Probe) EdgeUncertainty() time.Duration {
	b, _ := uncertainty.Of(p.Budgets(), uncertainty.EdgeTime, "")
	return time.Duration(math.Ceil(b.Expanded(0)))
}

// CurrentUncertainty is the expanded uncertainty (k=2) of one sample.
func (p Probe) CurrentUncertainty() physic.ElectricCurrent {
	b, _ := uncertainty.Of(p.Budgets(), uncertainty.Current, "")
	return physic.ElectricCurrent(math.Ceil(b.Expanded(0) * milli))
}

// probe watches one output and hands what it sees to the listeners, in batches.
type probe struct {
	Probe
	random    rand.PCG
	listeners []*listening
	edges     []signal.Edge
	samples   []current.Sample
	sampleAt  time.Duration
	last      time.Duration // of the latest edge seen
	step      uint64        // clock period in 1/65536 ns
	spread    uint64        // noise as the width of each of two uniform draws, in 1/65536 ns
	scope     scope
}

// listening is one listener, until it is cancelled.
type listening struct {
	harness.Listener
	cancelled bool
}

// never is later than any time of a rig.
const never = time.Duration(math.MaxInt64)

// batch is how many edges are gathered before the listeners get them.
const batch = 512

func newProbe(p Probe, random *rand.Rand) probe {
	return probe{
		Probe: p, sampleAt: never,
		random:  *rand.NewPCG(random.Uint64(), random.Uint64()),
		edges:   make([]signal.Edge, 0, batch),
		samples: make([]current.Sample, 0, batch),
		step:    uint64(math.Round(65536 * 1e9 / (float64(p.Clock) / float64(physic.Hertz)))),
		// The sum of two uniform draws of this width has the standard deviation wanted.
		spread: uint64(65536 * float64(p.Noise) * math.Sqrt(6)),
		scope:  scope{Probe: p, random: rand.New(rand.NewPCG(random.Uint64(), random.Uint64()))},
	}
}

// edge takes a change of the track at t.
func (p *probe) edge(t time.Duration, level signal.Level) {
	if len(p.listeners) == 0 {
		return
	}
	bits := p.random.Uint64()
	noise := bits&0xffff*p.spread>>16 + bits>>16&0xffff*p.spread>>16
	// The time stamp is that of the last clock before the edge, less the noise: never later than the edge itself. On the
	// average it is early by half a clock and the width of the noise, which no time between two edges shows.
	at := p.quantise(int64(t)<<16 - int64(noise))
	if at < p.last {
		at = p.last
	}
	p.last = at
	p.edges = append(p.edges, signal.Edge{Time: at, Level: level})
	if len(p.edges) == batch {
		p.flush()
	}
}

// quantise rounds down to the clock. The time is in 1/65536 ns, which lasts for a day and a half.
func (p *probe) quantise(fine int64) time.Duration {
	if fine < 0 {
		return 0
	}
	return time.Duration(uint64(fine) / p.step * p.step >> 16)
}

// sample takes a current sample at t.
func (p *probe) sample(t time.Duration, amperes float64) {
	bits := p.random.Uint64()
	// Sum of four uniform draws: near enough to a normal distribution; variance of each 1/12.
	sum := float64(bits&0xffff+bits>>16&0xffff+bits>>32&0xffff+bits>>48)/65536 - 2
	noisy := amperes*float64(physic.Ampere) + sum*float64(p.CurrentNoise)*1.7320508
	step := float64(p.CurrentStep)
	i := physic.ElectricCurrent(math.Round(noisy/step) * step)
	p.samples = append(p.samples, current.Sample{Time: t, Current: max(i, 0)})
	p.sampleAt = t + p.SampleInterval
	if len(p.samples) == batch {
		p.flush()
	}
}

// flush hands out what was gathered.
func (p *probe) flush() {
	edges, samples := p.edges, p.samples
	p.edges, p.samples = p.edges[:0], p.samples[:0]
	for _, l := range p.listeners {
		if l.cancelled {
			continue
		}
		if len(edges) > 0 {
			l.Edges(edges)
		}
		if len(samples) > 0 {
			l.Samples(samples)
		}
	}
}
