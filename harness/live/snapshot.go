package live

import (
	"time"

	"bufferstop/harness/signal"

	"periph.io/x/conn/v3/physic"
)

// A Snapshot is all that a view shows of a track, as it was at one time. It stays as it is while the track goes on.
type Snapshot struct {
	Now, Begun time.Duration // what is counted is counted from Begun on
	State      State
	Total      signal.Statistics
	Recent     Recent
	// Lines and Events are those that are kept, oldest first. Folded is how many more packets and stretches were only
	// repetitions.
	Lines  []Line
	Events []Event
	Folded int64
	// Trips and Acknowledges count them, Lost the stretches that the probe lost, LostTime how long they were together.
	Trips, Acknowledges, Lost int64
	LostTime                  time.Duration
	// Charts are one for each of Spans: columns, oldest first, the last one under way.
	Charts [len(Spans)][]Column
	// Current is the newest sample, and Sampled that there is one of the last seconds.
	Current physic.ElectricCurrent
	Sampled bool
}

// Snapshot writes what there is to see to s, and uses the memory that s has.
func (t *Track) Snapshot(s *Snapshot) {
	s.Now, s.Begun, s.State = t.now, t.begun, t.State()
	s.Total = *t.receiver.Statistics()
	s.Recent = t.recent.recent(t.now)
	s.Lines = t.lines.appendTo(s.Lines[:0])
	s.Events = append(s.Events[:0], t.events...)
	s.Folded, s.Lost, s.LostTime = t.folded, t.lost, t.lostTime
	s.Trips, s.Acknowledges = t.tripped, t.responded
	for i := range t.charts {
		t.charts[i].at(t.now)
		s.Charts[i] = t.charts[i].appendTo(s.Charts[i][:0])
	}
	s.Current, s.Sampled = t.newest.Current, t.samples > 0 && t.now-t.newest.Time <= RecentSpan
}
