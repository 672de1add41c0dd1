package probe

import (
	"context"
	"errors"
	"fmt"
	"io"
	"sync"
	"sync/atomic"
	"time"

	"bufferstop/harness/link"
)

// What a client does by itself, and when. Where no source is named, it is our own choice.
const (
	readSlice = 5 * time.Millisecond // the longest read, so that signs of life are in time
	// aliveAfter is when a sign of life is sent: the protocol wants one at least every 25 ms.
	aliveAfter  = 15 * time.Millisecond
	syncEvery   = 500 * time.Millisecond
	greetEvery  = 250 * time.Millisecond // a probe that starts up hears nothing
	silentAfter = 500 * time.Millisecond // without stretches for so long, the probe has started anew
	answerLimit = time.Second
	// leftAlone is from when on nobody pumps any more: whoever uses a probe does many times a second. As long as we live the probe
	// hears of it, so that it is for us to see to what lies across the rails when the goroutine that laid it hangs.
	leftAlone  = 3 * time.Second
	writeLimit = 10 * time.Millisecond
	readBuffer = 16 << 10
	// closedInARow is how often a link has to be closed, with nothing between, to be gone for good: a link.ReopeningLink
	// tells of each loss once.
	closedInARow = 3

	defaultStretch        = time.Millisecond
	defaultSampleInterval = 500 * time.Microsecond
	defaultQueue          = 4 << 20 // 20 s of a line of 2 Mbaud that is always busy
	defaultGreetLimit     = 5 * time.Second
)

// Options say how a probe is used. The zero value is useful.
type Options struct {
	// Record, if set, gets the raw stream, see Replay. It is written to by another goroutine, and by none once Close has
	// returned.
	Record io.Writer
	// Stretch is how much a frame of the stream tells: 500 µs to 4 ms; zero is 1 ms.
	Stretch time.Duration
	// SampleInterval is the time between two samples of a track: 100 µs to 60 ms; zero is 500 µs, below zero is none.
	SampleInterval time.Duration
	// PPM is by how many millionths the probe's time is to be longer than its ticks say: negative for a clock that is fast.
	PPM float64
	// Corrections are those of the tracks, by id.
	Corrections [MaxTracks]Correction
	// QueueBytes is the size of the queue between the link and Pump; zero is 4 MiB.
	QueueBytes int
	// GreetLimit is how long the probe may take to answer at first and after each loss; zero is 5 s.
	GreetLimit time.Duration
	// Clock is the host's; nil is a new wall clock.
	Clock link.Clock
}

// A Client is the host's end of a probe. Pump is called by one goroutine at a time; everything else by any.
type Client struct {
	link    duplex
	clock   link.Clock
	options Options
	start   Start
	queue   *queue
	arrived chan struct{}
	record  *recorder
	cancel  context.CancelFunc
	ended   chan struct{} // closed when the reading goroutine has ended
	greeted chan struct{} // closed at the first greeting
	closing sync.Once
	closed  error // of Close

	out   sender
	reads reading // of the reading goroutine
	takes delivery
	frame [maxQueued]byte
	timer *time.Timer

	pumped atomic.Int64 // when, on the host's clock

	mu      sync.Mutex
	hello   *Hello // of the first greeting: a probe that comes back is the same
	epoch   *epoch // the newest
	newest  int64  // its newest tick
	fatal   error  // why nothing more comes
	pending [256]pending
	unread  int // bytes of commands without an answer
	health  Health
	points  syncPoints
}

// maxQueued is the longest entry of the queue.
const maxQueued = 4 << 10

// Open greets the probe at the far end of the link, which is the client's from then on, and has it start. A
// link.ReopeningLink has it greeted anew after each loss. ctx bounds the opening only.
func Open(ctx context.Context, l link.Link, o Options) (*Client, error) {
	start, err := o.settle()
	if err != nil {
		return nil, errors.Join(err, l.Close())
	}
	c := newClient(l, o, start)
	if o.Record != nil {
		c.record, err = newRecorder(o.Record, recordingHead{Begun: time.Now().UTC(), StretchMicros: start.StretchMicros,
			SampleMicros: start.SampleMicros})
		if err != nil {
			return nil, errors.Join(err, l.Close())
		}
	}
	life, cancel := context.WithCancel(context.Background())
	c.cancel = cancel
	c.out.start(life)
	go c.read(life)
	select {
	case <-c.greeted:
		return c, nil
	case <-c.ended:
		err = c.dead()
	case <-ctx.Done():
		err = ctx.Err()
	}
	cancel()
	<-c.ended
	return nil, errors.Join(err, c.link.Close(), c.record.close())
}

// newClient makes a client that does not read yet. The options are settled.
func newClient(l link.Link, o Options, start Start) *Client {
	c := &Client{
		link: duplex{Link: l}, clock: o.Clock, options: o, start: start,
		queue:   newQueue(o.QueueBytes),
		arrived: make(chan struct{}, 1),
		ended:   make(chan struct{}),
		greeted: make(chan struct{}),
		timer:   time.NewTimer(0),
	}
	c.out.client = c
	c.health.QueueSize = o.QueueBytes
	return c
}

// settle fills in what the options leave open and makes the START of them.
func (o *Options) settle() (Start, error) {
	if o.Stretch == 0 {
		o.Stretch = defaultStretch
	}
	if o.SampleInterval == 0 {
		o.SampleInterval = defaultSampleInterval
	}
	o.SampleInterval = max(o.SampleInterval, 0)
	if o.QueueBytes <= 0 {
		o.QueueBytes = defaultQueue
	}
	o.QueueBytes = max(o.QueueBytes, 2*maxQueued)
	if o.GreetLimit <= 0 {
		o.GreetLimit = defaultGreetLimit
	}
	if o.Clock == nil {
		o.Clock = link.NewWallClock()
	}
	stretch, sample := o.Stretch.Microseconds(), o.SampleInterval.Microseconds()
	if stretch < MinStretch || stretch > MaxStretch {
		return Start{}, fmt.Errorf("probe: stretch is %v, want 500µs to 4ms", o.Stretch)
	}
	if o.SampleInterval != 0 && (sample < MinSampleInterval || sample > MaxSampleInterval) {
		return Start{}, fmt.Errorf("probe: sample interval is %v, want 100µs to 60ms, or less than nothing for none", o.SampleInterval)
	}
	if o.PPM < -1e5 || o.PPM > 1e5 || o.PPM != o.PPM {
		return Start{}, fmt.Errorf("probe: clock correction is %v ppm, want -100000 to 100000", o.PPM)
	}
	return Start{uint16(stretch), uint16(sample)}, nil
}

// Hello is who the probe is and what it can do.
func (c *Client) Hello() Hello {
	c.mu.Lock()
	defer c.mu.Unlock()
	return *c.hello
}

// Arrived signals that Pump has something. After a signal is taken, call Pump.
func (c *Client) Arrived() <-chan struct{} { return c.arrived }

// Pump hands all that has come to s, in the goroutine that calls it, and reports whether there was something. It waits up
// to wait for the first. When the probe is lost for good and everything has been handed out, it returns an error that
// is ErrLost, or ErrClosed after Close; while the probe may still come back it returns none.
func (c *Client) Pump(ctx context.Context, wait time.Duration, s Sink) (bool, error) {
	c.pumped.Store(int64(c.clock.Now()))
	if c.drain(s) {
		return true, nil
	}
	if err := c.dead(); err != nil {
		if c.drain(s) { // it came before the end
			return true, nil
		}
		return false, err
	}
	if err := ctx.Err(); err != nil || wait <= 0 {
		return false, err
	}
	c.timer.Reset(wait)
	defer c.timer.Stop()
	for {
		select {
		case <-c.arrived:
			if c.drain(s) {
				return true, nil
			}
			if err := c.dead(); err != nil {
				return false, err
			}
		case <-c.timer.C:
			return c.drain(s), nil
		case <-ctx.Done():
			return false, ctx.Err()
		}
	}
}

// drain hands out what is in the queue.
func (c *Client) drain(s Sink) (some bool) {
	for {
		kind, payload, _, ok := c.queue.pop(c.frame[:])
		if !ok {
			break
		}
		some = true
		if kind == queueEpoch {
			if e, hello, err := decodeEpoch(payload); err == nil {
				c.takes.begin(e, hello)
			}
			continue
		}
		if err := c.takes.frame(kind, payload, s); err != nil {
			c.mu.Lock()
			c.health.Malformed++
			c.mu.Unlock()
		}
	}
	if some {
		c.mu.Lock()
		c.health.Losses, c.health.LostTime, c.health.SamplesLost = c.takes.losses, c.takes.lostTime, c.takes.samplesLost
		c.mu.Unlock()
	}
	return some
}

// dead is why nothing more comes.
func (c *Client) dead() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.fatal
}

// Health says how well client and probe get on.
func (c *Client) Health() Health {
	now, high := c.queue.level()
	c.mu.Lock()
	defer c.mu.Unlock()
	h := c.health
	h.Queued, h.QueueHigh = now, high
	h.RecordingLost, h.RecordingError = c.record.state()
	return h
}

// Clock says how the probe's clock goes by the host's, since the last greeting.
func (c *Client) Clock() ClockFit {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.points.fit()
}

// Time is when a tick is, by the newest greeting: of the times that are possible, the one nearest to now.
func (c *Client) Time(tick uint32) time.Duration {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.timeOf(tick)
}

func (c *Client) timeOf(tick uint32) time.Duration {
	if c.epoch == nil {
		return 0
	}
	return c.epoch.time(c.epoch.unwrapped(tick, c.newest))
}

// Tick is the tick at a time.
func (c *Client) Tick(t time.Duration) uint32 {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.epoch == nil {
		return 0
	}
	return c.epoch.Tick + uint32(c.epoch.ticks(t))
}

// Newest is the newest time of the probe that has arrived, pumped or not.
func (c *Client) Newest() time.Duration {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.epoch == nil {
		return 0
	}
	return c.epoch.time(c.newest)
}

// Close makes the probe safe, stops it and frees the link. A second Close does nothing.
func (c *Client) Close() error {
	c.closing.Do(func() {
		var err error
		if c.dead() == nil {
			ctx, cancel := context.WithTimeout(context.Background(), answerLimit)
			defer cancel()
			if _, err = c.Safe(ctx); err == nil {
				_, err = c.done(ctx, Stop{})
			}
			if errors.Is(err, ErrLost) {
				err = nil // a probe that nobody speaks with makes itself safe
			}
		}
		c.cancel()
		<-c.ended
		c.closed = errors.Join(err, c.link.Close(), c.record.close())
	})
	return c.closed
}
