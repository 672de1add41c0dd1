package analyser

import (
	"context"
	"sync"
	"time"

	"bufferstop/harness/probe"
	"bufferstop/harness/signal"
)

// A queue holds edges between the goroutine that reads the samples and the one that takes them. Its size is fixed: when a
// track's part is full, what follows is lost until it has been emptied, and told as such. Samples are never left
// unread, because that would make the analyser itself lose some, and then no time after that would be right.
type queue struct {
	mu     sync.Mutex
	tracks []queued
	until  time.Duration // complete so far
	told   time.Duration // the same, as the sink knows it
	size   int           // edges of one track
	high   int
	losses uint64
	lost   time.Duration
	drops  uint64
}

// queued is the part of one track.
type queued struct {
	id       int
	edges    []signal.Edge
	taken    []signal.Edge // handed out, for reuse
	level    signal.Level  // the newest
	since    time.Duration // when it began
	known    bool
	lostFrom time.Duration // of what is being lost, or -1
}

func newQueue(ids []int, size int) *queue {
	q := &queue{size: size}
	for _, id := range ids {
		q.tracks = append(q.tracks, queued{id: id, edges: make([]signal.Edge, 0, size), taken: make([]signal.Edge, 0, size), lostFrom: -1})
	}
	return q
}

// push takes an edge. The lock is held.
func (q *queue) push(track int, e signal.Edge) {
	t := &q.tracks[track]
	t.level, t.since, t.known = e.Level, e.Time, true
	switch {
	case t.lostFrom >= 0:
		q.drops++
	case len(t.edges) == q.size:
		t.lostFrom = e.Time
		q.drops++
	default:
		t.edges = append(t.edges, e)
		q.high = max(q.high, len(t.edges))
	}
}

// lose says that everything since what was told last is of no use. The lock is held.
func (q *queue) lose() {
	for i := range q.tracks {
		t := &q.tracks[i]
		t.edges = t.edges[:0]
		if t.lostFrom < 0 || t.lostFrom > q.told {
			t.lostFrom = max(q.told, 0)
		}
	}
}

// pump hands out all that is complete.
func (q *queue) pump(scale func(time.Duration) time.Duration, s probe.Sink) bool {
	q.mu.Lock()
	until := q.until
	if until <= q.told {
		q.mu.Unlock()
		return false
	}
	type loss struct{ from, to time.Duration }
	var losses [probe.MaxTracks]loss
	for i := range q.tracks {
		t := &q.tracks[i]
		t.taken = t.taken[:0]
		n := 0
		for n < len(t.edges) && t.edges[n].Time < until {
			t.taken = append(t.taken, signal.Edge{Time: scale(t.edges[n].Time), Level: t.edges[n].Level})
			n++
		}
		t.edges = t.edges[:copy(t.edges, t.edges[n:])]
		if t.lostFrom >= 0 && t.lostFrom < until && len(t.edges) == 0 {
			losses[i] = loss{scale(t.lostFrom), scale(until)}
			q.losses++
			q.lost += losses[i].to - losses[i].from
			switch {
			case t.known && t.since >= until: // which level it has at until was lost as well
				t.lostFrom = until
			case t.known:
				t.edges = append(t.edges, signal.Edge{Time: until, Level: t.level})
				t.lostFrom = -1
			default:
				t.lostFrom = -1
			}
		}
	}
	q.told = until
	q.mu.Unlock()
	for i := range q.tracks {
		t := &q.tracks[i]
		if len(t.taken) > 0 {
			s.Edges(t.id, t.taken)
		}
		if losses[i].to > losses[i].from {
			s.Lost(t.id, losses[i].from, losses[i].to)
		}
	}
	s.Complete(scale(until))
	return true
}

// await calls take until it has something, an error or the time has passed.
func await(ctx context.Context, wait time.Duration, arrived <-chan struct{}, take func() (bool, error)) (bool, error) {
	if some, err := take(); some || err != nil || wait <= 0 {
		return some, err
	}
	timer := time.NewTimer(wait)
	defer timer.Stop()
	for {
		select {
		case <-arrived:
		case <-timer.C:
			return take()
		case <-ctx.Done():
			return false, ctx.Err()
		}
		if some, err := take(); some || err != nil {
			return some, err
		}
	}
}
