package probe

import (
	"fmt"
	"math/rand/v2"
	"sort"
	"time"

	"bufferstop/harness/current"
	"bufferstop/harness/signal"
)

// A course is what really happens on a track: edges at times that a clock of 16 MHz can tell exactly.
type course struct {
	edges []signal.Edge
	rng   *rand.Rand
	next  time.Duration
	level signal.Level
	mean  time.Duration // between edges
	offs  bool          // now and then the voltage goes
	count int           // edges so far
	brief bool          // they are not kept
}

func newCourse(seed uint64, mean time.Duration, offs bool) *course {
	return &course{rng: rand.New(rand.NewPCG(seed, 1)), mean: mean, offs: offs, level: signal.Off, next: 10 * time.Microsecond}
}

// until tells the device of the edges before t.
func (c *course) until(t time.Duration, d *Device, track int) {
	for c.next < t {
		e := signal.Edge{Time: c.next, Level: -c.level}
		switch {
		case c.level == signal.Off:
			e.Level = signal.Positive
			if c.rng.IntN(2) == 0 {
				e.Level = signal.Negative
			}
		case c.offs && c.rng.IntN(40) == 0:
			e.Level = signal.Off
		}
		c.level = e.Level
		if c.count++; !c.brief {
			c.edges = append(c.edges, e)
		}
		d.Edge(track, e.Time, e.Level)
		ticks := time.Duration(c.rng.Int64N(int64(2*c.mean/125))) + 1
		if e.Level == signal.Off {
			ticks += 100 // longer than the off delay, or no probe would see it
		}
		c.next += ticks * 125
	}
}

// levelAt is the level at t, an edge at t itself counted.
func (c *course) levelAt(t time.Duration) signal.Level {
	i := sort.Search(len(c.edges), func(i int) bool { return c.edges[i].Time > t })
	if i == 0 {
		return signal.Off
	}
	return c.edges[i-1].Level
}

// A witness is a sink that keeps all and holds it to the rules of Sink as it comes.
type witness struct {
	tracks   [MaxTracks]seen
	complete time.Duration
	events   []Event
	faults   []string
}

type seen struct {
	edges   []signal.Edge
	initial []bool // of each edge: it only tells the level
	lost    [][2]time.Duration
	samples []current.Sample
	fresh   bool // the next edge tells the level
	last    time.Duration
}

func newWitness() *witness {
	w := new(witness)
	for i := range w.tracks {
		w.tracks[i] = seen{fresh: true, last: -1}
	}
	return w
}

func (w *witness) fault(format string, values ...any) {
	if len(w.faults) < 10 {
		w.faults = append(w.faults, fmt.Sprintf(format, values...))
	}
}

func (w *witness) Edges(track int, edges []signal.Edge) {
	s := &w.tracks[track]
	for _, e := range edges {
		if e.Time < s.last || e.Time == s.last && !s.fresh {
			w.fault("track %d: edge at %v after %v", track, e.Time, s.last)
		}
		if e.Time < w.complete {
			w.fault("track %d: edge at %v, complete to %v", track, e.Time, w.complete)
		}
		s.edges, s.initial = append(s.edges, e), append(s.initial, s.fresh)
		s.last, s.fresh = e.Time, false
	}
}

func (w *witness) Samples(track int, samples []current.Sample) {
	s := &w.tracks[track]
	for _, c := range samples {
		if n := len(s.samples); n > 0 && c.Time <= s.samples[n-1].Time {
			w.fault("track %d: sample at %v after %v", track, c.Time, s.samples[n-1].Time)
		}
		s.samples = append(s.samples, c)
	}
}

func (w *witness) Lost(track int, from, to time.Duration) {
	s := &w.tracks[track]
	if from >= to || from < s.last && s.last < to {
		w.fault("track %d: lost from %v to %v, last %v", track, from, to, s.last)
	}
	if n := len(s.lost); n > 0 && from < s.lost[n-1][1] {
		w.fault("track %d: lost from %v, before to %v", track, from, s.lost[n-1][1])
	}
	s.lost = append(s.lost, [2]time.Duration{from, to})
	s.last, s.fresh = to, true
}

func (w *witness) Complete(until time.Duration) {
	for i := range w.tracks {
		if n := len(w.tracks[i].edges); n > 0 && w.tracks[i].edges[n-1].Time >= until && until > w.complete {
			w.fault("track %d: edge at %v is beyond complete %v", i, w.tracks[i].edges[n-1].Time, until)
		}
	}
	w.complete = max(w.complete, until)
}

func (w *witness) Event(e Event) { w.events = append(w.events, e) }

// compare holds what was seen of a track against what really happened, which began so much earlier: outside of the lost
// stretches everything is there, at its time, and nothing else.
func (w *witness) compare(track int, c *course, offset time.Duration) (faults []string) {
	faults = append(faults, w.faults...)
	s := &w.tracks[track]
	lost := func(t time.Duration) bool {
		i := sort.Search(len(s.lost), func(i int) bool { return s.lost[i][1] > t })
		return i < len(s.lost) && s.lost[i][0] <= t
	}
	var got []signal.Edge
	for i, e := range s.edges {
		if !s.initial[i] {
			got = append(got, e)
			continue
		}
		if want := c.levelAt(e.Time + offset); want != e.Level {
			// An edge at the very instant may stand on either side.
			if before := c.levelAt(e.Time + offset - 1); before != e.Level {
				faults = append(faults, fmt.Sprintf("level at %v is %v, want %v", e.Time, e.Level, want))
			}
		}
	}
	i := 0
	for _, e := range c.edges {
		t := e.Time - offset
		if t <= 0 || t >= w.complete || lost(t) {
			continue
		}
		if i < len(got) && got[i] == (signal.Edge{Time: t, Level: e.Level}) {
			i++
			continue
		}
		if known := sort.Search(len(s.edges), func(k int) bool { return s.edges[k].Time >= t }); known < len(s.edges) &&
			s.edges[known].Time == t && s.initial[known] && s.edges[known].Level == e.Level {
			continue // it is the one that tells the level
		}
		there := "nothing"
		if i < len(got) {
			there = fmt.Sprint(got[i])
		}
		return append(faults, fmt.Sprintf("edge %v is missing, there is %s", signal.Edge{Time: t, Level: e.Level}, there))
	}
	if i < len(got) {
		faults = append(faults, fmt.Sprintf("edge %v is too much", got[i]))
	}
	return faults
}
