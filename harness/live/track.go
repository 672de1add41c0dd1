package live

import (
	"sort"
	"time"

	"bufferstop/harness/current"
	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"
)

// Options say what is looked for on a track. The zero value reads the signal and charts the current.
type Options struct {
	// Lines is how many lines are kept; 2000 if zero.
	Lines int
	// Trips is what counts as a trip; without a limit Above there are none.
	Trips current.TripFilter
	// Acknowledges is what counts as an acknowledge; without a threshold there are none.
	Acknowledges current.AcknowledgeFilter
	// News, if not nil, is told of each line when it begins, and Happened of each event. The line is theirs only during the
	// call.
	News     func(*Line)
	Happened func(Event)
}

const (
	defaultLines = 2000 // our own choice: a minute of a busy station that never says the same twice
	eventsKept   = 200  // our own choice
)

// An Event is a trip or an acknowledge.
type Event struct {
	// Time is when it began, Decided when it was over.
	Time, Decided time.Duration
	Trip          *current.Trip // one of the two is set
	Acknowledge   *current.Acknowledge
}

// A State is how a track stands. It reads well on a screen.
type State string

// The states of a track.
const (
	Unknown  State = "not seen yet"
	Off      State = "off"
	Signal   State = "signal"
	Positive State = "steady positive" // a voltage that does not change any more
	Negative State = "steady negative"
	Lost     State = "lost" // the probe lost what happens
)

// steady is how long a level may last in a signal: a whole zero is never longer (S-9.1 A, Table 1, 2020).
const steady = 12 * time.Millisecond

// A Track is what is seen of one track. It is used by one goroutine at a time; it is a harness.Listener.
type Track struct {
	options  Options
	receiver *signal.Receiver
	listener dcc.Listener
	recent   window
	lines    lines
	folded   int64
	lost     int64
	lostTime time.Duration

	now   time.Duration
	begun time.Duration // of what is counted
	seen  bool
	state struct {
		level signal.Level
		since time.Duration // the last edge
		known bool
		lost  bool
	}

	charts             [len(Spans)]chart
	newest             current.Sample
	samples            int64
	trips              *current.Trips
	acknowledges       *current.Acknowledges
	events             []Event // the newest last
	tripped, responded int64
}

// NewTrack returns a track of which nothing has been seen.
func NewTrack(o Options) *Track {
	if o.Lines <= 0 {
		o.Lines = defaultLines
	}
	t := &Track{options: o, recent: newWindow(), lines: newLines(o.Lines), events: make([]Event, 0, eventsKept)}
	t.receiver = signal.NewReceiver(signal.StationReading(), sink{t})
	for i, span := range Spans {
		t.charts[i].span = span
	}
	if o.Trips.Above > 0 {
		t.trips = current.NewTrips(o.Trips, func(trip current.Trip) {
			t.tripped++
			t.happened(Event{Time: trip.Start, Decided: trip.Time, Trip: &trip})
		})
	}
	if o.Acknowledges.Threshold > 0 {
		t.acknowledges = current.NewAcknowledges(o.Acknowledges, func(a current.Acknowledge) {
			t.responded++
			t.happened(Event{Time: a.Start, Decided: a.Start + a.Width, Acknowledge: &a})
		})
	}
	return t
}

// Edges takes what the probe saw, in order of time.
func (t *Track) Edges(edges []signal.Edge) {
	for len(edges) > 0 {
		t.reach(edges[0].Time)
		n := len(edges)
		if next := t.recent.next(); edges[n-1].Time >= next {
			n = max(sort.Search(n, func(i int) bool { return edges[i].Time >= next }), 1)
		}
		t.receiver.Edges(edges[:n])
		t.recent.receiver.Edges(edges[:n])
		last := edges[n-1]
		t.state.known, t.state.lost = true, false
		t.state.level, t.state.since = last.Level, last.Time
		t.now = max(t.now, last.Time)
		edges = edges[n:]
	}
}

// Samples takes what the probe measured, in order of time.
func (t *Track) Samples(samples []current.Sample) {
	for _, s := range samples {
		t.begin(s.Time)
		t.newest = s
		t.samples++
		for i := range t.charts {
			t.charts[i].sample(s)
		}
		if t.trips != nil {
			t.trips.Sample(s)
		}
		if t.acknowledges != nil {
			t.acknowledges.Sample(s)
		}
	}
	if n := len(samples); n > 0 {
		t.now = max(t.now, samples[n-1].Time)
	}
}

// Lost tells that the probe lost what happened from one time to the other.
func (t *Track) Lost(from, to time.Duration) {
	t.reach(from)
	t.receiver.Lost(from, to)
	t.recent.receiver.Lost(from, to)
	t.state.known, t.state.lost = true, true
	t.now = max(t.now, to)
}

// Advance tells that it is now, and that all before has been handed over.
func (t *Track) Advance(now time.Duration) {
	t.reach(now)
	t.now = max(t.now, now)
}

// Finish ends the signal: what is still open is decided.
func (t *Track) Finish(end time.Duration) {
	t.Advance(end)
	t.receiver.Finish(end)
	if t.acknowledges != nil {
		t.acknowledges.Finish()
	}
}

// Clear forgets all that was counted and listed until now. The charts run on, and so does the signal.
func (t *Track) Clear() {
	t.receiver.ResetStatistics()
	t.recent.clear(t.now)
	t.lines.clear()
	t.events = t.events[:0]
	t.folded, t.lost, t.lostTime, t.tripped, t.responded = 0, 0, 0, 0, 0
	t.begun = t.now
}

// State is how the track stands now.
func (t *Track) State() State {
	s := &t.state
	switch {
	case !s.known:
		return Unknown
	case s.lost:
		return Lost
	case s.level == signal.Off:
		return Off
	case t.now-s.since <= steady:
		return Signal
	case s.level == signal.Negative:
		return Negative
	}
	return Positive
}

// begin takes note of the first that is seen.
func (t *Track) begin(at time.Duration) {
	if !t.seen {
		t.seen, t.begun = true, at
	}
}

// reach goes on to a time of the signal.
func (t *Track) reach(at time.Duration) {
	t.begin(at)
	t.recent.at(at)
}

// happened keeps an event.
func (t *Track) happened(e Event) {
	if len(t.events) == eventsKept {
		t.events = append(t.events[:0], t.events[1:]...)
	}
	t.events = append(t.events, e)
	if t.options.Happened != nil {
		t.options.Happened(e)
	}
}

// sink is the side of a Track that its receiver talks to.
type sink struct{ track *Track }

func (s sink) Packet(p *signal.Packet) { s.track.news(s.track.packet(p)) }

func (s sink) Unusable(u signal.Unusable) { s.track.news(s.track.unusable(u)) }

func (t *Track) news(l *Line) {
	if l != nil && t.options.News != nil {
		t.options.News(l)
	}
}
