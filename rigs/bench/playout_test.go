package bench

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness/probe"
	"bufferstop/harness/signal"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
	"pgregory.net/rapid"
)

// A ladder is the load of a probe, as the protocol describes it: profiles arrive, are queued, and become levels.
type ladder struct {
	queue []queued
	done  []loadStep    // the levels, and when they came to the rails
	hold  time.Duration // of the newest of them
	late  int
	most  int // steps that were in the queue at once
}

type queued struct {
	at    time.Duration // when the profile is to begin, of its first step
	first bool
	probe.LoadStep
}

// arrive takes a profile at t.
func (l *ladder) arrive(t, at time.Duration, p profile) {
	l.run(t)
	if p.replace {
		l.queue = l.queue[:0]
	}
	if at < t {
		l.late++
		at = t
	}
	for i, s := range p.steps {
		l.queue = append(l.queue, queued{at, i == 0, s})
	}
	l.most = max(l.most, len(l.queue))
	l.run(t)
}

// run lets the time pass to t.
func (l *ladder) run(t time.Duration) {
	for len(l.queue) > 0 {
		q := l.queue[0]
		begin := q.at
		if !q.first {
			begin = l.done[len(l.done)-1].at + l.hold
		}
		if begin > t {
			return
		}
		l.done = append(l.done, loadStep{begin, q.Level})
		l.hold = q.Hold
		l.queue = l.queue[1:]
	}
}

// A slowLink carries profiles to a ladder, each in its own time and in order.
type slowLink struct {
	underway []parcel
	free     time.Duration
	ladder   ladder
}

type parcel struct {
	arrives, at time.Duration
	profile     profile
}

func (l *slowLink) send(now, delay, at time.Duration, p profile) {
	l.free = max(l.free, now+delay)
	p.steps = slices.Clone(p.steps)
	l.underway = append(l.underway, parcel{l.free, at, p})
}

func (l *slowLink) run(t time.Duration) {
	for len(l.underway) > 0 && l.underway[0].arrives <= t {
		p := l.underway[0]
		l.underway = l.underway[1:]
		l.ladder.arrive(p.arrives, p.at, p.profile)
	}
	l.ladder.run(t)
}

const (
	testLag  = 12 * time.Millisecond
	testStep = 0.004 // amperes
)

// playOut lays the demand of a decoder in the pace of a probe: knowledge in stretches that come after a delay, commands after
// another. do is called as the host learns of each stretch.
func playOut(t require.TestingT, c fakedecoder.Config, until time.Duration, delay func() time.Duration,
	do func(now time.Duration, d *fakedecoder.Decoder)) (*slowLink, *playout) {
	var link slowLink
	wall := time.Duration(0) // on the probe's clock, as the host acts
	p := newPlayout(loadRating{step: testStep, top: 255, queue: 32}, testLag, nil)
	p.post = func(at time.Duration, f profile) { link.send(wall, delay(), at, f) }
	c.Lead = testLag
	d, err := fakedecoder.New(c)
	require.NoError(t, err)
	p.add(newDecoderSource(d))
	p.edge(signal.Edge{Time: time.Millisecond, Level: signal.Positive})
	for known := 2 * time.Millisecond; known < until; known += time.Millisecond {
		wall = max(wall, known+delay())
		link.run(wall)
		p.complete(known)
		do(known, d)
		p.complete(known) // as each wait of the rig begins
	}
	link.run(until + time.Second)
	return &link, p
}

func TestADemandIsOnTheRailsAConstantTimeLaterWhateverTheWayTakes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		type asked struct{ at, width, learnt time.Duration }
		var pulses []asked
		at := 40 * time.Millisecond
		for range rapid.IntRange(1, 8).Draw(t, "pulses") {
			at += time.Duration(rapid.IntRange(0, 20_000).Draw(t, "pause")) * time.Microsecond
			width := time.Duration(rapid.IntRange(200, 9000).Draw(t, "width")) * time.Microsecond
			pulses = append(pulses, asked{at, width, at - testLag - time.Duration(rapid.IntRange(1, 20).Draw(t, "notice"))*time.Millisecond})
			at += width + time.Millisecond
		}
		slowest := rapid.Int64Range(1, 4500).Draw(t, "slowest")
		random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		next := 0
		link, _ := playOut(t, fakedecoder.Config{Quiescent: 16 * physic.MilliAmpere}, at+50*time.Millisecond,
			func() time.Duration { return time.Duration(random.Int64N(slowest)) * time.Microsecond },
			func(now time.Duration, d *fakedecoder.Decoder) {
				for next < len(pulses) && pulses[next].learnt <= now {
					d.Pulse(pulses[next].at, pulses[next].width, 60*physic.MilliAmpere)
					next++
				}
			})
		l := &link.ladder
		require.Equal(t, len(pulses), next)
		require.Zero(t, l.late)
		require.LessOrEqual(t, l.most, 32)
		// 4 steps stand; each pulse adds 15.
		var got []loadStep
		for _, s := range l.done {
			if len(got) == 0 || got[len(got)-1].level != s.level {
				got = append(got, s)
			}
		}
		require.Len(t, got, 1+2*len(pulses))
		assert.Equal(t, loadStep{time.Millisecond + testLag, 4}, got[0])
		for i, pulse := range pulses {
			on, off := got[1+2*i], got[2+2*i]
			assert.EqualValues(t, 19, on.level)
			assert.EqualValues(t, 4, off.level)
			assert.InDelta(t, pulse.at, on.at, float64(hold/2), "pulse %d", i)
			assert.InDelta(t, pulse.at+pulse.width, off.at, float64(hold/2))
		}
	})
}

// A second pulse that is asked for as the first is about to begin would come with it in a new profile, and both too late.
func TestAPulseThatFollowsDoesNotHoldUpTheOneBeforeIt(t *testing.T) {
	asked := false
	link, _ := playOut(t, fakedecoder.Config{Quiescent: 16 * physic.MilliAmpere}, 100*time.Millisecond,
		func() time.Duration { return 4 * time.Millisecond },
		func(now time.Duration, d *fakedecoder.Decoder) {
			switch now {
			case 27 * time.Millisecond:
				d.Pulse(40*time.Millisecond, 9*time.Millisecond, 60*physic.MilliAmpere)
			case 37 * time.Millisecond:
				d.Pulse(50*time.Millisecond, time.Millisecond, 60*physic.MilliAmpere)
				asked = true
			}
		})
	require.True(t, asked)
	assert.Zero(t, link.ladder.late)
	assert.Equal(t, []loadStep{
		{13 * time.Millisecond, 4},
		{40 * time.Millisecond, 19}, {49 * time.Millisecond, 4},
		{50 * time.Millisecond, 19}, {51 * time.Millisecond, 4},
	}, link.ladder.done)
}

func TestAPulseThatComesTooLateIsAsWideAsItWasAsked(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		width := time.Duration(rapid.IntRange(200, 40_000).Draw(t, "width")) * time.Microsecond
		way := time.Duration(rapid.IntRange(13, 90).Draw(t, "way")) * time.Millisecond
		asked := false
		link, _ := playOut(t, fakedecoder.Config{Quiescent: 16 * physic.MilliAmpere}, 300*time.Millisecond,
			func() time.Duration { return way },
			func(now time.Duration, d *fakedecoder.Decoder) {
				if now >= 100*time.Millisecond && !asked {
					asked = true
					d.Pulse(now+testLag, width, 60*physic.MilliAmpere)
				}
			})
		l := &link.ladder
		require.Positive(t, l.late)
		on := slices.IndexFunc(l.done, func(s loadStep) bool { return s.level == 19 })
		require.Positive(t, on)
		assert.InDelta(t, width, l.done[on+1].at-l.done[on].at, float64(hold))
		assert.EqualValues(t, 4, l.done[len(l.done)-1].level)
	})
}

func TestWhatWasLaidAheadIsLaidAnewWhenPowerGoes(t *testing.T) {
	var link slowLink
	wall := time.Duration(0)
	p := newPlayout(loadRating{step: testStep, top: 255, queue: 32}, testLag, nil)
	p.post = func(at time.Duration, f profile) { link.send(wall, 2*time.Millisecond, at, f) }
	d, err := fakedecoder.New(fakedecoder.Config{Quiescent: 40 * physic.MilliAmpere, Lead: testLag})
	require.NoError(t, err)
	p.add(newDecoderSource(d))
	known := func(to int) {
		for p.now < time.Duration(to)*time.Millisecond {
			wall = p.now + 3*time.Millisecond
			link.run(wall)
			p.complete(p.now + time.Millisecond)
		}
	}
	p.edge(signal.Edge{Time: time.Millisecond, Level: signal.Negative})
	known(20)
	d.Pulse(45*time.Millisecond, 30*time.Millisecond, 100*physic.MilliAmpere) // from 33 ms of the demand on
	known(40)
	p.edge(signal.Edge{Time: 40 * time.Millisecond, Level: signal.Off}) // a cutout: nothing is altered
	p.edge(signal.Edge{Time: 40*time.Millisecond + 400*time.Microsecond, Level: signal.Negative})
	known(50)
	p.edge(signal.Edge{Time: 50 * time.Millisecond, Level: signal.Off})
	known(100)
	link.run(time.Second)
	assert.Equal(t, []loadStep{
		{13 * time.Millisecond, 10}, {45 * time.Millisecond, 35}, {64 * time.Millisecond, 0},
	}, link.ladder.done)
	assert.Zero(t, link.ladder.late)
}

func TestAnInrushIsAFallingExponentialOfTheSameCharge(t *testing.T) {
	var link slowLink
	const peak, tau = 0.8, 2 * time.Millisecond
	p := newPlayout(loadRating{step: testStep, top: 255, queue: 32}, testLag, nil)
	p.post = func(at time.Duration, f profile) { link.send(p.now, 0, at, f) }
	p.edge(signal.Edge{Time: time.Millisecond, Level: signal.Positive})
	p.complete(10 * time.Millisecond)
	p.add(&capacitor{peak: peak, tau: tau, since: 10 * time.Millisecond})
	for p.now < 100*time.Millisecond {
		link.run(p.now)
		p.complete(p.now + time.Millisecond)
	}
	l := &link.ladder
	require.NotEmpty(t, l.done)
	assert.Equal(t, 10*time.Millisecond+testLag, l.done[0].at)
	assert.InDelta(t, peak/testStep, float64(l.done[0].level), 7, "a thirty-second of the time constant")
	assert.LessOrEqual(t, l.most, 32)
	charge := 0.0
	for i, s := range l.done[:len(l.done)-1] {
		assert.Greater(t, s.level, l.done[i+1].level, "it only falls")
		charge += float64(s.level) * testStep * (l.done[i+1].at - s.at).Seconds()
	}
	assert.Zero(t, l.done[len(l.done)-1].level)
	assert.InEpsilon(t, peak*tau.Seconds(), charge, 0.05)
	assert.Zero(t, l.late)
}

func TestSeveralDecodersAddUpAndTheTopOfTheLoadIsKept(t *testing.T) {
	var link slowLink
	p := newPlayout(loadRating{step: testStep, top: 20, queue: 32}, testLag, nil)
	p.post = func(at time.Duration, f profile) { link.send(p.now, 0, at, f) }
	for range 2 {
		d, err := fakedecoder.New(fakedecoder.Config{Quiescent: 12 * physic.MilliAmpere})
		require.NoError(t, err)
		d.Pulse(10*time.Millisecond, 6*time.Millisecond, 40*physic.MilliAmpere)
		p.add(newDecoderSource(d))
	}
	p.edge(signal.Edge{Time: time.Millisecond, Level: signal.Positive})
	for p.now < 40*time.Millisecond {
		p.complete(p.now + time.Millisecond)
		link.run(p.now)
	}
	assert.Equal(t, []loadStep{{13 * time.Millisecond, 6}, {22 * time.Millisecond, 20}, {28 * time.Millisecond, 6}}, link.ladder.done)
	assert.Equal(t, 1, p.clipped)
}

// Most pumps bring edges and no change of the demand.
func BenchmarkPlayoutOfAQuietDecoder(b *testing.B) {
	p := newPlayout(loadRating{step: testStep, top: 255, queue: 32}, testLag, func(time.Duration, profile) {})
	d, err := fakedecoder.New(fakedecoder.Default())
	require.NoError(b, err)
	p.add(newDecoderSource(d))
	level, t := signal.Positive, time.Duration(0)
	b.ReportAllocs()
	for b.Loop() {
		t += 58 * time.Microsecond
		level = -level
		p.edge(signal.Edge{Time: t, Level: level})
		p.complete(t)
	}
}
