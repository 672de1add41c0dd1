package bench

import (
	"math"
	"slices"
	"time"

	"bufferstop/harness/probe"
	"bufferstop/harness/signal"

	"periph.io/x/conn/v3/physic"
)

// A playout lays the demand of what is across a track as steps of the probe's load. What happens on the track is known to
// the host only after a while, and a command takes a while to the probe; both vary. So the demand of the instant t is laid for the
// instant t + lag, by the probe's own clock: late by a time that is always the same, and exact in its widths.
//
// What the demand will be is laid as far ahead as it is known. A pulse then ends in time even when the host is held up
// in the midst of it, and one that begins too late is as wide as it should be. When an edge alters what was laid ahead,
// it is laid anew.
type playout struct {
	lag  time.Duration
	load loadRating
	// post hands a profile to the probe, to begin at the rig's time at.
	post func(at time.Duration, p profile) // which is valid during the call
	// clipped counts how often a demand began to exceed the top of the load.
	clipped int

	sources []source
	base    float64 // amperes of a steady load

	now      time.Duration // the demand is known up to here
	off      bool          // the track has no voltage
	offSince time.Duration

	ahead    []demand // of the sources, from the instant horizon on
	horizon  time.Duration
	finished bool // nothing changes after the horizon
	segments []segment
	// steps are what was worked out: the level that stands, then what follows. The first handed of them were handed over.
	steps     []loadStep
	handed    int
	replacing bool   // what was handed over and is not on the rails yet is to be replaced
	beyond    bool   // the demand exceeds the top
	parts     int    // of the level to which the newest jump of the demand went
	followed  uint16 // the demand when the newest step was made of it
	withdrawn []loadStep
	buffer    [probe.MaxSteps]probe.LoadStep
}

// A source demands a current, in its own time.
type source interface {
	demand
	Edge(e signal.Edge)
	// forecast is the demand from now on, as far as no further edge alters it. It is valid until the next call.
	forecast() demand
}

// A demand is a current that is a straight line between two changes.
type demand interface {
	Current(t time.Duration) physic.ElectricCurrent
	NextChange(t time.Duration) (time.Duration, bool)
}

// loadRating is what a load can do.
type loadRating struct {
	step  float64 // amperes of one step
	top   uint16
	queue int // steps that the probe keeps
}

// level is the step nearest to a current, and whether the top cuts it down.
func (r loadRating) level(amperes float64) (level uint16, clipped bool) {
	n := math.Round(max(amperes, 0) / r.step)
	if n > float64(r.top) {
		return r.top, true
	}
	return uint16(n), false
}

// A loadStep is a level from a time on.
type loadStep struct {
	at    time.Duration
	level uint16
}

// A profile is what one LOAD carries.
type profile struct {
	replace bool
	steps   []probe.LoadStep
}

// A segment is a straight line of the demand, in amperes.
type segment struct {
	from, to time.Duration
	v, w     float64
}

const (
	// foresight is how far ahead the demand is laid: the longest legal pulse several times, and less than the silence after
	// which a probe takes everything off. Our own choice.
	foresight = 50 * time.Millisecond
	// finest is the shortest step into which a slope is cut. Our own choice: a ramp or a ripple is followed in tenths of a
	// millisecond, and a probe is not kept busy with it.
	finest = 100 * time.Microsecond
	// blink is how long an off state may last until the load is taken off the track, which draws nothing meanwhile anyhow: longer than
	// any cutout (488 µs, see suites/examination) and than the pauses of a bridge that is switched over. Our own choice.
	blink = 2 * time.Millisecond
	// endless is the end of a segment after which nothing changes.
	endless = time.Duration(math.MaxInt64)
	// hold is the unit in which the length of a step is told.
	hold = probe.HoldMicros * time.Microsecond
	// longestHold is the longest that can be told.
	longestHold = math.MaxUint16 * hold
)

// newPlayout starts a playout with nothing across the track, which has no voltage.
func newPlayout(load loadRating, lag time.Duration, post func(at time.Duration, p profile)) *playout {
	return &playout{lag: lag, load: load, post: post, off: true, finished: true, parts: 1, steps: []loadStep{{}}, handed: 1}
}

// add lays a source across the track. It lies there from now + lag on.
func (p *playout) add(s source) {
	p.sources = append(p.sources, s)
	p.plan(p.now)
}

// setBase sets the steady load. It lies across the track from now + lag on.
func (p *playout) setBase(amperes float64) {
	p.base = amperes
	p.plan(p.now)
}

// reset forgets all that was laid, for a load that was set otherwise: it is level steps now.
func (p *playout) reset(amperes float64) {
	clear(p.sources)
	level, _ := p.load.level(amperes)
	p.sources, p.ahead, p.segments, p.base = p.sources[:0], p.ahead[:0], p.segments[:0], amperes
	p.steps, p.handed = append(p.steps[:0], loadStep{p.now, level}), 1
	p.horizon, p.finished, p.replacing, p.beyond = p.now, true, false, false
}

// idle reports whether nothing lies across the track that may change.
func (p *playout) idle() bool { return len(p.sources) == 0 }

// edge takes a change of the track.
func (p *playout) edge(e signal.Edge) {
	p.advance(e.Time)
	if off := e.Level == signal.Off; off != p.off {
		p.off, p.offSince = off, e.Time
	}
	if p.idle() {
		return
	}
	for _, s := range p.sources {
		s.Edge(e)
	}
	p.check()
}

// advance takes that nothing happens until t.
func (p *playout) advance(t time.Duration) {
	if t <= p.now {
		return
	}
	if dark := p.offSince + blink; !p.idle() && p.off && p.now < dark && t >= dark {
		p.now = dark
		p.check()
	}
	p.now = t
}

// complete takes that all that happens until t is known, and hands over what can be.
func (p *playout) complete(t time.Duration) {
	p.advance(t)
	if p.idle() && p.handed == len(p.steps) && !p.replacing {
		return
	}
	p.check()
	p.handOver()
}

// check lays the demand anew if it is not what was laid.
func (p *playout) check() {
	if p.idle() || p.off && p.now < p.offSince+blink {
		return
	}
	n := 0
	for n < len(p.segments) && p.segments[n].to <= p.now {
		n++
	}
	p.segments = p.segments[:copy(p.segments, p.segments[n:])]
	p.extend()
	if !p.asExpected() {
		p.plan(p.now)
	}
}

// asExpected reports whether the demand goes on now as it was laid.
func (p *playout) asExpected() bool {
	if len(p.segments) == 0 {
		return false
	}
	s := p.segments[0]
	next, amperes := endless, p.base
	for _, source := range p.sources {
		amperes += inAmperes(source.Current(p.now))
		if t, changes := source.NextChange(p.now); changes {
			next = min(next, t)
		}
	}
	return next == s.to && math.Abs(amperes-s.value(p.now)) < p.load.step/2
}

func (s segment) value(t time.Duration) float64 {
	if s.to == endless {
		return s.v
	}
	return s.v + (s.w-s.v)*float64(t-s.from)/float64(s.to-s.from)
}

func inAmperes(i physic.ElectricCurrent) float64 { return float64(i) / float64(physic.Ampere) }

// plan works out from t on what is to be laid, in place of what was.
func (p *playout) plan(t time.Duration) {
	p.ahead = p.ahead[:0]
	for _, s := range p.sources {
		p.ahead = append(p.ahead, s.forecast())
	}
	cut := len(p.steps)
	for cut > 1 && p.steps[cut-1].at >= t {
		cut--
	}
	handed, replacing := p.handed, p.replacing
	p.withdrawn = append(p.withdrawn[:0], p.steps[min(cut, handed):handed]...)
	p.steps = p.steps[:cut]
	if handed > cut {
		p.replacing = true
		p.handed = cut
		for p.handed > 1 && p.steps[p.handed-1].at+p.lag > p.now {
			p.handed--
		}
	}
	p.segments = p.segments[:0]
	p.horizon, p.finished = t, false
	p.extend()
	// What was handed over is replaced as a whole, and what is due before the new profile is there would come late with it.
	// So nothing is replaced where all of it still holds: a demand that only goes on otherwise is added to it.
	if !replacing && handed > cut && len(p.steps) >= handed && slices.Equal(p.steps[cut:handed], p.withdrawn) {
		p.handed, p.replacing = handed, false
	}
}

// mostPlanned is how many steps are worked out before they can be handed over. Our own choice.
const mostPlanned = 64

// extend works out what is to be laid as far ahead as it is to be.
func (p *playout) extend() {
	for !p.finished && p.horizon < p.now+foresight && len(p.steps)-p.handed < mostPlanned {
		t := p.horizon
		end, v := endless, p.base
		for _, d := range p.ahead {
			v += inAmperes(d.Current(t))
			if next, changes := d.NextChange(t); changes {
				end = min(end, next)
			}
		}
		s := segment{from: t, to: end, v: v, w: v}
		if end == endless {
			p.finished = true
		} else {
			s.w = p.base
			for _, d := range p.ahead {
				s.w += inAmperes(d.Current(end - 1))
			}
			p.horizon = end
		}
		p.cut(s)
		p.segments = append(p.segments, s)
	}
}

// parts is how large a part of a level makes a step on a slope. A probe keeps only so many steps, and learns of more only
// after a while, so the exponential from a level down to nothing is to need no more of them, or seven in eight of them to be
// sure: those that are a part of the level each, down to where a part is a single step of the load, and those.
func (r loadRating) parts(level uint16) int {
	k := 1
	for ; k < int(level); k++ {
		if n := float64(k + 1); n*(math.Log(float64(level)/n)+1) > float64(r.queue)*7/8 {
			break
		}
	}
	return k
}

// cut makes steps of a segment.
func (p *playout) cut(s segment) {
	first, clipped := p.load.level(s.v)
	if clipped && !p.beyond {
		p.clipped++
	}
	p.beyond = clipped
	if s.to == endless {
		p.step(s.from, first)
		p.followed = first
		return
	}
	smooth := len(p.segments) > 0 && math.Abs(p.segments[len(p.segments)-1].w-s.v) < p.load.step
	if !smooth {
		p.parts = p.load.parts(first)
	}
	last, _ := p.load.level(s.w)
	pieces := max(min(apart(first, last), int((s.to-s.from)/finest)), 1)
	for i := range pieces {
		at := s.from + (s.to-s.from)*time.Duration(i)/time.Duration(pieces)
		level, _ := p.load.level(s.v + (s.w-s.v)*(float64(i)+0.5)/float64(pieces))
		before := p.steps[len(p.steps)-1]
		jump := i == 0 && !smooth
		coarse := max(int(p.followed)/p.parts, 1)
		if !jump && (at-before.at < finest || apart(level, p.followed) < coarse) {
			continue // it follows a little later
		}
		p.followed = level
		if !jump && last < first { // it stays while the demand falls on: the mean of that
			level -= min(level, uint16(max(int(level)/p.parts, 1)/2))
		}
		p.step(at, level)
	}
}

func apart(a, b uint16) int { return max(int(a)-int(b), int(b)-int(a)) }

// step adds a step, if it is one.
func (p *playout) step(at time.Duration, level uint16) {
	last := len(p.steps) - 1
	if last >= p.handed && p.steps[last].at == at {
		p.steps = p.steps[:last]
		last--
	}
	if p.steps[last].level != level {
		p.steps = append(p.steps, loadStep{at, level})
	}
}

// handOver gives the probe the steps that it has room for.
func (p *playout) handOver() {
	gone := 0 // what is surely on the rails, but for the last
	for gone+1 < p.handed && p.steps[gone+1].at+p.lag <= p.now {
		gone++
	}
	p.steps = p.steps[:copy(p.steps, p.steps[gone:])]
	p.handed -= gone
	underway := 0
	for _, s := range p.steps[:p.handed] {
		if s.at+p.lag > p.now {
			underway++
		}
	}
	room := p.load.queue - underway
	if p.replacing {
		room = p.load.queue
		if p.handed == len(p.steps) { // nothing but the level that stands
			p.post(p.now+p.lag, profile{replace: true, steps: []probe.LoadStep{{Level: p.steps[p.handed-1].level}}})
			p.replacing = false
		}
	}
	for p.handed < len(p.steps) && room > 0 {
		n := p.chunk(min(room, probe.MaxSteps))
		room -= n
	}
}

// chunk hands over as many steps as fit into one profile, and says how many.
func (p *playout) chunk(most int) int {
	first := p.steps[p.handed].at
	steps := p.buffer[:0]
	for i := p.handed; i < len(p.steps) && len(steps) < most; i++ {
		s := probe.LoadStep{Level: p.steps[i].level}
		if i+1 < len(p.steps) && len(steps)+1 < most && p.steps[i+1].at-p.steps[i].at < longestHold {
			// Whole units from the beginning of the profile, so that what is rounded off does not add up.
			s.Hold = (p.steps[i+1].at - first).Round(hold) - (p.steps[i].at - first).Round(hold)
		}
		steps = append(steps, s)
		if s.Hold == 0 {
			break
		}
	}
	p.post(first+p.lag, profile{replace: p.replacing, steps: steps})
	p.replacing = false
	p.handed += len(steps)
	return len(steps)
}
