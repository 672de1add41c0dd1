package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"sync"
	"time"

	"bufferstop/harness/current"
	"bufferstop/harness/live"
	"bufferstop/harness/signal"
)

// A source is what is watched: a rig or captures. All but pauses belong to one goroutine.
type source interface {
	// begin does what is to be done before the first step.
	begin(ctx context.Context) error
	// step lets about d pass, and returns the time that it is then; io.EOF at the end.
	step(ctx context.Context, d time.Duration) (now time.Duration, err error)
	// obey carries out an order to the station.
	obey(ctx context.Context, o order)
	// pauses tells whether the time of the source stands still while nobody asks for a step.
	pauses() bool
	// close makes everything safe and lets go of it.
	close(ctx context.Context) error
}

// An order is something that the station is asked for: a command in the words of talk.
type order string

// A watching is what is seen of the tracks. The goroutine that watches writes it, the one that shows it reads it.
type watching struct {
	source
	about    string // what is watched; harmless
	names    []string
	orders   chan order
	recorder *recorder // nil for none
	closing  sync.Once
	closed   error

	mu       sync.Mutex
	tracks   []*live.Track
	filters  []live.Options
	now      time.Duration
	paused   bool
	over     bool // nothing more is taken
	message  string
	said     time.Time // on the wall clock
	slow     time.Time // when the pace was not kept the last time
	telling  bool      // what is new is kept until it is told
	told     []news
	messages []string
}

// news is a line or an event of a track.
type news struct {
	decided time.Duration
	track   int
	line    live.Line
	event   *live.Event // nil for a line
}

// ordersWaiting is how many orders may wait for the one that is carried out. Our own choice.
const ordersWaiting = 4

func newWatching(s source, about string, names []string, options []live.Options) *watching {
	w := &watching{source: s, about: about, names: names, filters: options, orders: make(chan order, ordersWaiting)}
	for i := range names {
		o := options[i]
		o.News = func(l *live.Line) {
			if w.telling {
				w.told = append(w.told, news{decided: l.Decided, track: i, line: *l})
			}
		}
		o.Happened = func(e live.Event) {
			if w.telling {
				w.told = append(w.told, news{decided: e.Decided, track: i, event: &e})
			}
		}
		w.tracks = append(w.tracks, live.NewTrack(o))
	}
	return w
}

// A trackWatch is the listener of one track.
type trackWatch struct {
	*watching
	track int
}

// Edges takes what the probe saw.
func (t trackWatch) Edges(edges []signal.Edge) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.over {
		return
	}
	t.tracks[t.track].Edges(edges)
	t.recorder.add(t.track, edges...)
}

// Samples takes what the probe measured.
func (t trackWatch) Samples(samples []current.Sample) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if !t.over {
		t.tracks[t.track].Samples(samples)
	}
}

// Lost takes note of what the probe lost.
func (t trackWatch) Lost(from, to time.Duration) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.over {
		return
	}
	t.tracks[t.track].Lost(from, to)
	t.recorder.add(t.track, signal.Edge{Time: from, Level: signal.Off})
}

// say shows a message for a while.
func (w *watching) say(format string, values ...any) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.message, w.said = fmt.Sprintf(format, values...), time.Now()
	if w.telling {
		w.messages = append(w.messages, w.message)
	}
}

// reached takes note of the time, until when everything has been handed over.
func (w *watching) reached(now time.Duration) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.over {
		return nil
	}
	w.now = max(w.now, now)
	for _, t := range w.tracks {
		t.Advance(w.now)
	}
	return w.recorder.write(w.now)
}

// finish ends the signals, and the recording.
func (w *watching) finish() error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.over {
		return nil
	}
	w.over = true
	for _, t := range w.tracks {
		t.Finish(w.now)
	}
	return w.recorder.close(w.now)
}

func (w *watching) isPaused() bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.paused
}

// close makes everything safe, and ends the recording with it. A second call returns what the first did.
func (w *watching) close(ctx context.Context) error {
	w.closing.Do(func() { w.closed = errors.Join(w.source.close(ctx), w.finish()) })
	return w.closed
}

const (
	// frame is how much time passes in one step at the pace of the wall clock: little enough to look smooth.
	frame = 20 * time.Millisecond
	// The shortest and the longest step at other paces.
	shortestStep, longestStep = time.Millisecond, 200 * time.Millisecond
	// behind is how far the wall clock may be ahead before what was missed is given up: the machine is too slow, or an order
	// took its time.
	behind = 250 * time.Millisecond
)

// watch lets the time pass until there is no more, or the time is over, or ctx ends, which is no error. After each
// step it calls each, whose error ends it.
func (w *watching) watch(ctx context.Context, pace paceFlag, lasting time.Duration, each func() error) error {
	first, err := w.step(ctx, 0)
	if err == nil {
		err = w.begin(ctx)
	}
	length := longestStep / 4
	if pace > 0 {
		length = min(max(time.Duration(float64(frame)*float64(pace)), shortestStep), longestStep)
	}
	now := first
	if err == nil {
		now, err = w.step(ctx, 0)
	}
	for wall, from := time.Now(), now; ; {
		if reaching := w.reached(now); err == nil {
			err = reaching
		}
		if telling := each(); err == nil {
			err = telling
		}
		switch {
		case errors.Is(err, io.EOF):
			return nil
		case err != nil || ctx.Err() != nil:
			return unlessEnded(ctx, err)
		case lasting > 0 && now-first >= lasting:
			return nil
		}
		wait := time.Duration(0)
		if pace > 0 {
			wait = time.Duration(float64(now-from)/float64(pace)) - time.Since(wall)
			if wait < -behind {
				w.fallBehind()
			}
			if wait < -behind || wait > behind {
				wall, from, wait = time.Now(), now, 0
			}
		}
		stands := w.pauses() && w.isPaused()
		if stands {
			wait = frame
		}
		if err = w.idle(ctx, wait); err != nil {
			return unlessEnded(ctx, err)
		}
		if stands {
			wall, from = time.Now(), now
			now, err = w.step(ctx, 0)
			continue
		}
		d := length
		if lasting > 0 {
			d = min(d, first+lasting-now)
		}
		now, err = w.step(ctx, d)
	}
}

// slowFor is how long it is shown that the pace could not be kept. Our own choice.
const slowFor = 2 * time.Second

// fallBehind takes note that the pace was not kept, as by firmware whose simulation is slower than the real processor.
func (w *watching) fallBehind() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.slow = time.Now()
}

// unlessEnded is the error, or none when it only says that ctx has ended.
func unlessEnded(ctx context.Context, err error) error {
	if ctx.Err() != nil && errors.Is(err, ctx.Err()) {
		return nil
	}
	return err
}

// idle carries out the orders that have come, and waits for more.
func (w *watching) idle(ctx context.Context, wait time.Duration) error {
	timer := time.NewTimer(max(wait, 0))
	defer timer.Stop()
	for {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case o := <-w.orders:
			w.obey(ctx, o)
		case <-timer.C:
			return nil
		}
	}
}

// request asks for something, or says that too much is asked for already. What is said of it first is said before it can be done.
func (w *watching) request(o order) {
	w.say("asking for: %s", harmless(string(o)))
	select {
	case w.orders <- o:
	default:
		w.say("the station has not answered yet; %s is not asked for", harmless(string(o)))
	}
}
