package replay

import (
	"bytes"
	"context"
	"errors"
	"io"
	"math"
	"os"
	"sync"
	"time"

	"bufferstop/harness/link"
	"bufferstop/harness/probe"
	"bufferstop/harness/signal"
)

// Options say how a capture is replayed. The zero value is useful.
type Options struct {
	// Step is how much of the capture's time a Pump hands out at most; zero is 1 ms. A recording has the steps that it was
	// made in.
	Step time.Duration
	// Stdin is what the path "-" reads: a dump with one signal.
	Stdin io.Reader
	// Command runs sigrok-cli for session files; nil looks for it in the PATH.
	Command []string
	// Clock is the wall clock that a pace goes by; nil is a new one.
	Clock link.Clock
}

const defaultStep = time.Millisecond

// contents is what gives the edges of a file.
type contents interface {
	// read tells all edges before until and returns the time up to which all have been told. At the end of the file it
	// returns when that is, and io.EOF.
	read(ctx context.Context, until time.Duration) (time.Duration, error)
	close() error
}

// A Capture is a probe that is a file. Pump is called by one goroutine at a time; everything else by any.
type Capture struct {
	address  Address
	options  Options
	hello    probe.Hello
	contents contents         // nil for a recording
	stream   *probe.Recording // nil for all others
	file     *os.File         // of the recording
	arrived  chan struct{}

	begun  bool
	start  time.Duration // on the clock
	asked  time.Duration // up to which the contents were asked for
	edges  [][]signal.Edge
	ending error // what Pump returns once all has been handed out

	mu     sync.Mutex
	told   time.Duration
	health probe.Health
	due    *time.Timer
	closed bool
	once   sync.Once
	failed error
}

var _ probe.Source = (*Capture)(nil)

// Open opens the file that an address names.
func Open(ctx context.Context, text string, o Options) (*Capture, error) {
	a, err := ParseAddress(text)
	if err != nil {
		return nil, err
	}
	return a.Open(ctx, o)
}

// Open opens the file. ctx bounds the opening only.
func (a Address) Open(ctx context.Context, o Options) (*Capture, error) {
	if o.Step <= 0 {
		o.Step = defaultStep
	}
	if o.Clock == nil {
		o.Clock = link.NewWallClock()
	}
	c := &Capture{address: a, options: o, arrived: make(chan struct{}, 1)}
	var plain, raw []byte
	if a.Path != "-" {
		var err error
		if plain, raw, err = startOf(a.Path); err != nil {
			return nil, err
		}
	}
	tell := func(track int, e signal.Edge) { c.edges[track] = append(c.edges[track], e) }
	switch {
	case isRecording(plain):
		if err := c.openRecording(); err != nil {
			return nil, err
		}
	case isSession(raw):
		s, hello, err := openSession(ctx, a, o)
		if err != nil {
			return nil, err
		}
		s.tell, c.contents, c.hello = tell, s, hello
	default:
		d, hello, err := openDump(a, o, plain)
		if err != nil {
			return nil, err
		}
		d.tell, c.contents, c.hello = tell, d, hello
	}
	c.edges = make([][]signal.Edge, len(c.hello.Tracks))
	c.signal()
	return c, nil
}

// recordingStart is how the recording of a probe's stream begins, whichever its version.
const recordingStart = "bufferstop probe recording "

func isRecording(plain []byte) bool { return bytes.HasPrefix(plain, []byte(recordingStart)) }

// Hello is who the probe is: for a recording the one that was recorded, with its hands, which a capture has not; else a
// probe that sees. Its clock is the grid of the edges, as far as the file tells it.
func (c *Capture) Hello() probe.Hello { return c.hello }

// Arrived signals that Pump has something. After a signal is taken, call Pump.
func (c *Capture) Arrived() <-chan struct{} { return c.arrived }

func (c *Capture) signal() {
	select {
	case c.arrived <- struct{}{}:
	default:
	}
}

// Health tells what a client would have told of a recording, and of other files how far they are.
func (c *Capture) Health() probe.Health {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.health
}

// Pump hands the next step of the capture to s, in the goroutine that calls it, and reports whether there was one. At a
// pace, it waits up to wait until a step is due. When the capture is over, s gets an event that says so, and from then on
// Pump returns io.EOF, or what is wrong with the file; after Close an error that is probe.ErrClosed.
func (c *Capture) Pump(ctx context.Context, wait time.Duration, s probe.Sink) (bool, error) {
	if err := ctx.Err(); err != nil {
		return false, err
	}
	c.mu.Lock()
	closed := c.closed
	c.mu.Unlock()
	if closed {
		return false, probe.ErrClosed
	}
	if c.ending != nil {
		return false, c.ending
	}
	if !c.begun {
		c.begun, c.start = true, c.options.Clock.Now()
	}
	until := max(c.asked, c.told) + c.options.Step
	if c.address.Pace > 0 {
		if due := c.dueAt(until) - c.options.Clock.Now(); due > 0 {
			if err := c.options.Clock.Wait(ctx, max(min(due, wait), 0)); err != nil {
				return false, err
			}
			if due > wait {
				c.wake(until)
				return false, nil
			}
		}
	}
	err := c.step(ctx, until, s)
	if err != nil && ctx.Err() != nil {
		return false, err
	}
	c.asked, c.ending = until, err // what is wrong with a file is told when all before it has been handed out
	if err == io.EOF {
		s.Event(probe.Event{Time: c.told, What: probe.CaptureOver})
	}
	c.wake(until + c.options.Step)
	return true, nil
}

// dueAt is when, on the clock, the capture's time is t.
func (c *Capture) dueAt(t time.Duration) time.Duration {
	return c.start + time.Duration(min(float64(t)/c.address.Pace, math.MaxInt64/4))
}

// wake signals when the capture's time is t: at once without a pace, or when it is over.
func (c *Capture) wake(t time.Duration) {
	due := time.Duration(0)
	if c.address.Pace > 0 && c.ending == nil {
		due = c.dueAt(t) - c.options.Clock.Now()
	}
	if due <= 0 {
		c.signal()
		return
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	switch {
	case c.closed:
	case c.due == nil:
		c.due = time.AfterFunc(due, c.signal)
	default:
		c.due.Reset(due)
	}
}

// step hands out the capture up to a time, as far as it goes.
func (c *Capture) step(ctx context.Context, until time.Duration, s probe.Sink) error {
	if c.stream != nil {
		return c.recorded(ctx, until, s)
	}
	settled, err := c.contents.read(ctx, until)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	settled = max(settled, c.told)
	for i, edges := range c.edges {
		n := 0
		for n < len(edges) && (edges[n].Time < settled || err != nil) {
			n++
		}
		if n > 0 {
			s.Edges(int(c.hello.Tracks[i].ID), edges[:n])
			settled = max(settled, edges[n-1].Time+1)
			c.edges[i] = edges[:copy(edges, edges[n:])]
		}
	}
	c.mu.Lock()
	c.told = settled
	c.health.Connected = err == nil
	c.mu.Unlock()
	s.Complete(settled)
	return err
}

// End is the time up to which the capture has been handed out.
func (c *Capture) End() time.Duration {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.told
}

// Close closes the file and ends what unpacks it.
func (c *Capture) Close() error {
	c.once.Do(func() {
		c.mu.Lock()
		c.closed = true
		if c.due != nil {
			c.due.Stop()
		}
		c.mu.Unlock()
		c.signal()
		if c.contents != nil {
			c.failed = c.contents.close()
		}
		if c.file != nil {
			c.failed = errors.Join(c.failed, c.file.Close())
		}
	})
	return c.failed
}
