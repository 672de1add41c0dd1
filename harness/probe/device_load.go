package probe

import "time"

// A deviceLoad is the load of one track of a device.
type deviceLoad struct {
	level uint16
	ends  int64 // tick at which the hold of the step under way is over, or none
	queue []queuedStep
	heat  int64 // how long it was above its continuous rating, less a tenth of how long it was not, in tenths of a tick
	since int64 // tick up to which heat is counted
	brief int64 // the most of heat
}

// cooling is how many times as slowly the load cools as it heats: with ten, a load that is always at the edge of its brief
// rating stays within what its heat sink is for (rigs/bench/README.md, Load, Heat).
const cooling = 10

// A queuedStep waits for its turn.
type queuedStep struct {
	timed    bool  // the first of a profile: it begins at a tick
	at       int64 // that
	behind   bool  // but not before the hold of the step before it is over
	level    uint16
	hold     int64 // ticks; 0: for ever
	restores bool  // its level is the one that the step before it has replaced
}

func (d *Device) newLoad(t TrackHello) deviceLoad {
	return deviceLoad{ends: none, since: d.now, brief: cooling * d.span(time.Duration(t.LoadBriefMs)*time.Millisecond)}
}

func (l *deviceLoad) idle() bool { return l.level == 0 && len(l.queue) == 0 && l.ends == none }

// begins is the tick at which the first step of the queue begins.
func (l *deviceLoad) begins() int64 {
	if len(l.queue) == 0 {
		return none
	}
	switch s := &l.queue[0]; {
	case !s.timed:
		return l.ends
	case s.behind && l.ends != none:
		return max(s.at, l.ends)
	default:
		return s.at
	}
}

// due is the tick at which the load changes by itself.
func (l *deviceLoad) due(continuous uint16) int64 {
	tick := min(l.begins(), l.ends)
	if l.level > continuous {
		tick = min(tick, l.since+(l.brief-l.heat+cooling-1)/cooling)
	}
	return tick
}

// warm counts heat up to now.
func (l *deviceLoad) warm(now int64, continuous uint16) {
	if l.level > continuous {
		l.heat += cooling * (now - l.since)
	} else {
		l.heat = max(l.heat-(now-l.since), 0)
	}
	l.since = now
}

// workLoad does what is due of a track's load.
func (d *Device) workLoad(t *deviceTrack) {
	l := &t.load
	l.warm(d.now, t.LoadContinuous)
	if l.level > t.LoadContinuous && l.heat >= l.brief {
		d.loadOff(t)
		d.event(d.now, LoadOffRating, t.ID, 0)
	}
	for l.begins() <= d.now {
		s := l.queue[0]
		l.queue = l.queue[:copy(l.queue, l.queue[1:])]
		level := s.level
		if s.hold > 0 {
			l.ends = d.now + s.hold
		} else {
			l.ends = none
		}
		if len(l.queue) > 0 && l.queue[0].restores {
			l.queue[0].level = l.level
		}
		d.setLoad(t, level)
	}
	if l.ends <= d.now {
		l.ends = none
		d.setLoad(t, 0)
	}
}

func (d *Device) setLoad(t *deviceTrack, level uint16) {
	if t.load.level == level {
		return
	}
	t.load.warm(d.now, t.LoadContinuous)
	t.load.level = level
	if d.config.OnLoad != nil {
		d.config.OnLoad(int(t.ID), level, d.Now())
	}
}

// loadOff takes the load off and empties its queue.
func (d *Device) loadOff(t *deviceTrack) {
	t.load.queue, t.load.ends = t.load.queue[:0], none
	d.setLoad(t, 0)
}

// enqueueLoad puts steps into the queue. It returns the tick of the first, or false when the queue has no room.
func (d *Device) enqueueLoad(t *deviceTrack, m *Load) (at int64, ok bool) {
	l := &t.load
	room := int(d.config.Hello.LoadQueue)
	if m.Behind {
		room -= len(l.queue)
	}
	if int(m.Count) > room {
		return 0, false
	}
	at = d.now + max(int64(int32(m.At-d.shown(d.now))), 0)
	if !m.Behind {
		if l.queue = l.queue[:0]; m.Count == 0 {
			d.loadOff(t)
			return d.now, true
		}
	}
	for i, s := range m.Steps[:m.Count] {
		l.queue = append(l.queue, queuedStep{timed: i == 0, at: at, behind: m.Behind, level: s.Level, hold: d.units(s.Hold)})
	}
	d.workLoad(t)
	return at, true
}

// units is how many ticks so many units of HoldMicros take.
func (d *Device) units(n uint16) int64 { return d.span(time.Duration(n) * holdUnit) }
