package current_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"bufferstop/harness/current"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
	"pgregory.net/rapid"
)

const (
	mA = physic.MilliAmpere
	µs = time.Microsecond
	ms = time.Millisecond
)

// sampled takes samples of a current, one each interval, up to the end.
func sampled(interval, end time.Duration, i func(t time.Duration) physic.ElectricCurrent) []current.Sample {
	var samples []current.Sample
	for t := time.Duration(0); t <= end; t += interval {
		samples = append(samples, current.Sample{Time: t, Current: i(t)})
	}
	return samples
}

// during is the current i from start for width, and 0 elsewhere.
func during(t, start, width time.Duration, i physic.ElectricCurrent) physic.ElectricCurrent {
	if t >= start && t < start+width {
		return i
	}
	return 0
}

func acknowledges(f current.AcknowledgeFilter, samples []current.Sample) []current.Acknowledge {
	var found []current.Acknowledge
	a := current.NewAcknowledges(f, func(k current.Acknowledge) { found = append(found, k) })
	a.Samples(samples)
	a.Finish()
	return found
}

// S-9.2.3 D (July 2012): 60 mA or more, 5 ms to 7 ms, on whatever load there is; E: up to 100 mA of it.
func TestEveryLegalPulseIsFoundAndMeasured(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		baseline := physic.ElectricCurrent(rapid.Int64Range(0, 100).Draw(t, "baseline mA")) * mA
		amplitude := physic.ElectricCurrent(rapid.Int64Range(60, 500).Draw(t, "amplitude mA")) * mA
		width := time.Duration(rapid.Int64Range(int64(5*ms), int64(7*ms)).Draw(t, "width"))
		start := time.Duration(rapid.Int64Range(int64(20*ms), int64(30*ms)).Draw(t, "start"))
		interval := time.Duration(rapid.Int64Range(int64(10*µs), int64(200*µs)).Draw(t, "interval"))
		noise := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "noise"), 0))
		found := acknowledges(current.StandardAcknowledge(), sampled(interval, 60*ms,
			func(at time.Duration) physic.ElectricCurrent {
				return baseline + during(at, start, width, amplitude) + physic.ElectricCurrent(noise.Float64()*float64(4*mA))
			}))
		require.Len(t, found, 1)
		assert.InDelta(t, float64(start), float64(found[0].Start), float64(interval))
		assert.InDelta(t, float64(width), float64(found[0].Width), float64(2*interval))
		assert.InDelta(t, float64(amplitude), float64(found[0].Amplitude), float64(4*mA))
		assert.InDelta(t, float64(baseline+2*mA), float64(found[0].Baseline), float64(3*mA))
		assert.GreaterOrEqual(t, found[0].Peak, found[0].Amplitude)
	})
}

func TestWhatIsNoAcknowledge(t *testing.T) {
	for name, i := range map[string]func(t time.Duration) physic.ElectricCurrent{
		"nothing":       func(time.Duration) physic.ElectricCurrent { return 0 },
		"a steady load": func(time.Duration) physic.ElectricCurrent { return 100 * mA },
		"too weak":      func(t time.Duration) physic.ElectricCurrent { return during(t, 20*ms, 6*ms, 45*mA) },
		"too short":     func(t time.Duration) physic.ElectricCurrent { return during(t, 20*ms, 3*ms, 100*mA) },
		"too long":      func(t time.Duration) physic.ElectricCurrent { return during(t, 20*ms, 9*ms, 100*mA) },
		"a new load":    func(t time.Duration) physic.ElectricCurrent { return during(t, 20*ms, time.Hour, 100*mA) },
		"a dip":         func(t time.Duration) physic.ElectricCurrent { return 100*mA - during(t, 20*ms, 6*ms, 100*mA) },
		"an inrush": func(t time.Duration) physic.ElectricCurrent {
			return physic.ElectricCurrent(4e9 * math.Exp(-float64(t)/3e6))
		},
		"cut at the end":  func(t time.Duration) physic.ElectricCurrent { return during(t, 55*ms, 6*ms, 100*mA) },
		"slow to come up": func(t time.Duration) physic.ElectricCurrent { return physic.ElectricCurrent(t/ms) * 2 * mA },
	} {
		t.Run(name, func(t *testing.T) {
			assert.Empty(t, acknowledges(current.StandardAcknowledge(), sampled(100*µs, 60*ms, i)))
		})
	}
}

func TestAPulseIsFoundAfterTheLoadHasChanged(t *testing.T) {
	for name, load := range map[string]physic.ElectricCurrent{"up": 200 * mA, "down": -200 * mA} {
		found := acknowledges(current.StandardAcknowledge(), sampled(100*µs, 60*ms,
			func(t time.Duration) physic.ElectricCurrent {
				return 300*mA + during(t, 10*ms, time.Hour, load) + during(t, 30*ms, 6*ms, 60*mA)
			}))
		require.Len(t, found, 1, name)
		assert.Equal(t, 300*mA+load, found[0].Baseline, name)
	}
}

func TestBridgedDipsDoNotEndAPulse(t *testing.T) {
	chopped := sampled(20*µs, 60*ms, func(t time.Duration) physic.ElectricCurrent {
		if t%(400*µs) >= 300*µs {
			return 0
		}
		return during(t, 20*ms, 6*ms, 120*mA)
	})
	f := current.StandardAcknowledge()
	assert.Empty(t, acknowledges(f, chopped))
	f.Bridge = 200 * µs
	found := acknowledges(f, chopped)
	require.Len(t, found, 1)
	assert.InDelta(t, float64(5900*µs), float64(found[0].Width), float64(40*µs))
	assert.Equal(t, 120*mA, found[0].Amplitude)
}

func trips(samples []current.Sample) []current.Trip {
	var found []current.Trip
	t := current.NewTrips(current.TripFilter{Above: 2 * physic.Ampere, Nothing: 20 * mA, Fall: 2 * ms},
		func(k current.Trip) { found = append(found, k) })
	t.Samples(samples)
	return found
}

func TestTripIsAnOverloadThatFallsToNothing(t *testing.T) {
	found := trips(sampled(100*µs, 100*ms, func(t time.Duration) physic.ElectricCurrent {
		return during(t, 0, 30*ms, 500*mA) + during(t, 10*ms, 20*ms, 4*physic.Ampere)
	}))
	require.Len(t, found, 1)
	assert.InDelta(t, float64(10*ms), float64(found[0].Start), float64(100*µs))
	assert.InDelta(t, float64(30*ms), float64(found[0].Time), float64(100*µs))
	assert.InDelta(t, float64(20*ms), float64(found[0].After()), float64(200*µs))
	assert.Equal(t, 4500*mA, found[0].Peak)
}

func TestEveryRetryIsATrip(t *testing.T) {
	found := trips(sampled(100*µs, 100*ms, func(t time.Duration) physic.ElectricCurrent {
		return during(t, 10*ms, 10*ms, 3*physic.Ampere) + during(t, 70*ms, 5*ms, 4*physic.Ampere)
	}))
	require.Len(t, found, 2)
	assert.Equal(t, []physic.ElectricCurrent{3 * physic.Ampere, 4 * physic.Ampere},
		[]physic.ElectricCurrent{found[0].Peak, found[1].Peak})
}

func TestAFilteredFallIsATripIfItIsFast(t *testing.T) {
	for tau, n := range map[time.Duration]int{300 * µs: 1, 5 * ms: 0} {
		assert.Len(t, trips(sampled(50*µs, 200*ms, func(t time.Duration) physic.ElectricCurrent {
			if t < 20*ms {
				return 3 * physic.Ampere
			}
			return physic.ElectricCurrent(3e9 * math.Exp(-float64(t-20*ms)/float64(tau)))
		})), n, "time constant %v", tau)
	}
}

func TestAnOverloadThatEndsByItselfIsNoTrip(t *testing.T) {
	assert.Empty(t, trips(sampled(100*µs, 100*ms, func(t time.Duration) physic.ElectricCurrent {
		return 300*mA + during(t, 10*ms, 20*ms, 3*physic.Ampere) - during(t, 60*ms, 40*ms, 300*mA)
	})))
}

// A bi-directional cutout, 0.4 ms without current every 8 ms, is no end of an overload; the cut after 40 ms is.
func TestAnInterruptionIsNoTripWhereItIsExpected(t *testing.T) {
	samples := sampled(100*µs, 100*ms, func(t time.Duration) physic.ElectricCurrent {
		if t >= 50*ms || t%(8*ms) < 400*µs {
			return 0
		}
		return during(t, 10*ms, 40*ms, 3*physic.Ampere)
	})
	found := func(last time.Duration) (all []current.Trip) {
		trips := current.NewTrips(current.TripFilter{Above: physic.Ampere, Nothing: 10 * mA, Fall: ms, Last: last}, func(t current.Trip) { all = append(all, t) })
		trips.Samples(samples)
		return all
	}
	assert.Len(t, found(0), 6)
	one := found(ms)
	if assert.Len(t, one, 1) {
		assert.InDelta(t, float64(10*ms), float64(one[0].Start), float64(100*µs))
		assert.InDelta(t, float64(50*ms), float64(one[0].Time), float64(100*µs))
		assert.Equal(t, 3*physic.Ampere, one[0].Peak)
	}
}

func TestMeterIntegratesWhatCanBeWorkedOutByHand(t *testing.T) {
	var m current.Meter
	assert.Zero(t, m.Mean())
	// A ramp from 0 to 2 A in 1 s: charge 1 C, mean 1 A, I²t = 4/3 A²s.
	m.Samples(sampled(10*ms, time.Second, func(t time.Duration) physic.ElectricCurrent {
		return physic.ElectricCurrent(2 * t) // 1e9 ns make 2e9 nA
	}))
	assert.InDelta(t, 1, m.Charge(), 1e-9)
	assert.InDelta(t, 4.0/3, m.SquareIntegral(), 1e-9)
	assert.InDelta(t, float64(physic.Ampere), float64(m.Mean()), 10)
	assert.Equal(t, current.Sample{Time: time.Second, Current: 2 * physic.Ampere}, m.Peak())
	assert.Equal(t, time.Second, m.Span())
	assert.EqualValues(t, 101, m.Count())

	// The same line in two uneven pieces.
	m.Reset()
	for _, at := range []time.Duration{0, 137 * ms, time.Second} {
		m.Sample(current.Sample{Time: at, Current: physic.ElectricCurrent(2 * at)})
	}
	assert.InDelta(t, 4.0/3, m.SquareIntegral(), 1e-9)

	// An inrush of 4 A with 3 ms: charge 12 mC, I²t = 4² · 3 ms / 2.
	m.Reset()
	m.Samples(sampled(10*µs, 60*ms, func(t time.Duration) physic.ElectricCurrent {
		return physic.ElectricCurrent(4e9 * math.Exp(-float64(t)/3e6))
	}))
	assert.InDelta(t, 12e-3, m.Charge(), 1e-6)
	assert.InDelta(t, 24e-3, m.SquareIntegral(), 1e-6)
}

func TestSamplesDoNotAllocate(t *testing.T) {
	samples := sampled(100*µs, 100*ms, func(t time.Duration) physic.ElectricCurrent {
		return during(t, 20*ms, 6*ms, 100*mA) + during(t, 40*ms, 20*ms, 3*physic.Ampere)
	})
	found := 0
	a := current.NewAcknowledges(current.StandardAcknowledge(), func(current.Acknowledge) { found++ })
	trip := current.NewTrips(current.TripFilter{Above: physic.Ampere, Fall: ms}, func(current.Trip) { found++ })
	var m current.Meter
	span := 100*ms + 100*µs
	assert.Zero(t, testing.AllocsPerRun(10, func() {
		a.Samples(samples)
		trip.Samples(samples)
		m.Samples(samples)
		for i := range samples {
			samples[i].Time += span
		}
	}))
	assert.Equal(t, 2*11, found)
}

func BenchmarkAnalyses(b *testing.B) {
	a := current.NewAcknowledges(current.StandardAcknowledge(), func(current.Acknowledge) {})
	trip := current.NewTrips(current.TripFilter{Above: physic.Ampere}, func(current.Trip) {})
	var m current.Meter
	s := current.Sample{Current: 100 * mA}
	b.ReportAllocs()
	for b.Loop() {
		s.Time += 100 * µs
		a.Sample(s)
		trip.Sample(s)
		m.Sample(s)
	}
}
