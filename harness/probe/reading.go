package probe

import (
	"context"
	"errors"
	"fmt"
	"time"

	"bufferstop/harness/link"
)

// state is how far the greeting has come.
type state uint8

const (
	asking   state = iota // for the HELLO
	starting              // a START is on its way
	running
)

// A reading is what the reading goroutine keeps for itself.
type reading struct {
	framer Framer
	gate   gate
	state  state
	closed int // how often the link was closed in a row

	since     time.Duration // the first question of this greeting, if greeting
	greeting  bool
	asked     time.Duration // the newest question
	startSeq  uint8
	hello     *Hello
	payload   []byte // of that
	restarted bool   // the greeting is because nothing came, not because the link was lost

	heard  bool // seq is that of the newest frame
	seq    uint8
	stream time.Duration // when the newest stretch came
	synced time.Duration
	swept  time.Duration
	token  uint32

	unqueued *epoch // for which the queue has had no room yet
	anchor   time.Duration
	failure  error
}

// read is the reading goroutine. It never waits for whoever pumps, so that the probe always hears that we live.
func (c *Client) read(life context.Context) {
	defer close(c.ended)
	buf := make([]byte, readBuffer)
	r := &c.reads
	for {
		before := c.clock.Now()
		n, err := c.link.Read(life, buf, readSlice)
		now := c.clock.Now()
		if n > 0 {
			r.closed = 0
			c.bytes(buf[:n], now)
		}
		switch {
		case r.failure != nil:
			c.end(r.failure)
			return
		case life.Err() != nil:
			c.end(ErrClosed)
			return
		case err == nil || errors.Is(err, link.ErrTimeout):
			c.chores(before, now)
		case errors.Is(err, link.ErrClosed):
			if r.closed++; r.closed == closedInARow {
				c.end(fmt.Errorf("%w: %w", ErrLost, err))
				return
			}
			c.lose(false)
		default:
			c.end(fmt.Errorf("%w: %w", ErrLost, err))
			return
		}
	}
}

// end notes that nothing more comes, and why.
func (c *Client) end(err error) {
	c.mu.Lock()
	c.fatal = err
	c.mu.Unlock()
	c.lose(false)
	c.signal()
}

func (c *Client) signal() {
	select {
	case c.arrived <- struct{}{}:
	default:
	}
}

// lose goes back to the greeting.
func (c *Client) lose(restarted bool) {
	r := &c.reads
	if r.state == running || !restarted {
		r.restarted = restarted
	}
	if r.state == running {
		c.record.entry(recordLoss, c.clock.Now(), nil)
	}
	r.state, r.greeting, r.heard = asking, false, false
	r.gate.epoch = nil
	r.framer.Reset()
	c.out.lose(ErrLost)
	c.mu.Lock()
	defer c.mu.Unlock()
	c.health.Connected = false
	for i := range c.pending {
		if p := &c.pending[i]; p.used {
			p.settle(answer{err: ErrLost})
		}
	}
	c.unread = 0
}

// bytes takes what was read.
func (c *Client) bytes(p []byte, now time.Duration) {
	recorded, rest := p, p
	for {
		frame, left, ok := c.reads.framer.Next(rest)
		if !ok {
			break
		}
		rest = left
		if e := c.take(frame, now); e != nil {
			// In the recording the epoch stands where it begins in the stream.
			n := len(recorded) - len(rest)
			c.record.bytes(recordReceived, now, recorded[:n])
			c.record.entry(recordEpoch, now, e.encode())
			recorded = recorded[n:]
		}
	}
	c.record.bytes(recordReceived, now, recorded)
	c.mu.Lock()
	c.health.Broken = c.reads.framer.Broken()
	c.mu.Unlock()
}

// take takes one frame. If an epoch begins with it, it is returned.
func (c *Client) take(f Frame, now time.Duration) *epoch {
	r := &c.reads
	c.mu.Lock()
	c.health.Frames++
	if r.heard {
		c.health.FramesLost += uint64(f.Seq - r.seq - 1)
	}
	c.mu.Unlock()
	r.heard, r.seq = true, f.Seq
	switch f.Type {
	case TypeStretch:
		if r.state != running {
			return nil // of before the START
		}
		if !r.gate.pass(f.Payload, now) {
			c.count(func(h *Health) { h.Implausible++ })
			return nil
		}
		r.stream = now
		c.mu.Lock()
		c.newest = r.gate.next
		c.mu.Unlock()
		c.enqueue(f, now)
	case TypeEvent:
		if r.state == running {
			c.enqueue(f, now)
		}
	case TypeHello:
		c.helloCame(f.Payload)
	case TypeDone:
		return c.doneCame(f.Payload, now)
	case TypeRefused, TypeSync, TypeStatus, TypeMark:
		c.answerCame(f, now)
	default:
		c.count(func(h *Health) { h.Unknown++ })
	}
	return nil
}

func (c *Client) count(f func(*Health)) {
	c.mu.Lock()
	defer c.mu.Unlock()
	f(&c.health)
}

// enqueue puts a frame into the queue. What finds no room is missing there, which its taker sees by the times.
func (c *Client) enqueue(f Frame, now time.Duration) {
	r := &c.reads
	if r.unqueued != nil && c.queue.push(queueEpoch, r.unqueued.encode(), now) {
		r.unqueued = nil
	}
	if r.unqueued != nil || !c.queue.push(f.Type, f.Payload, now) {
		c.count(func(h *Health) { h.Dropped++ })
	}
	c.signal()
}

// helloCame takes the HELLO of a probe and starts it.
func (c *Client) helloCame(payload []byte) {
	r := &c.reads
	if r.state != asking {
		return
	}
	if len(payload) > 0 && payload[0] != Version {
		r.failure = fmt.Errorf("%w: it speaks %d, we speak %d", ErrVersion, payload[0], Version)
		return
	}
	hello, err := parseHello(payload)
	if err != nil {
		r.failure = fmt.Errorf("%w: %w", ErrVersion, err)
		return
	}
	c.mu.Lock()
	first := c.hello
	c.mu.Unlock()
	if first != nil && (first.Serial != hello.Serial || first.Name != hello.Name) {
		r.failure = fmt.Errorf("%w: another answers in its place: %q with serial number %d, it was %q with %d", ErrLost,
			hello.Name, hello.Serial, first.Name, first.Serial)
		return
	}
	r.hello, r.payload = hello, append([]byte(nil), payload...)
	r.state = starting
	r.asked = c.clock.Now()
	r.startSeq = c.out.greet(c.start)
}

// chores does what is due. All that had come before the given time has been read: only so long is it known that something
// has not come, because the machine may have kept us waiting since.
func (c *Client) chores(before, now time.Duration) {
	r := &c.reads
	if c.out.work(now) {
		c.lose(false)
		return
	}
	if r.state != running {
		c.greet(now)
		return
	}
	if before-r.stream >= silentAfter {
		c.lose(true)
		return
	}
	if now-r.synced >= syncEvery {
		r.synced = now
		r.token++
		_ = c.out.command(AskSync{r.token}, pending{sent: c.clock.Now()}) // there is another soon
	}
	if now-time.Duration(c.pumped.Load()) > leftAlone && c.out.lays() && c.out.command(Safe{}, pending{}) == nil {
		c.count(func(h *Health) { h.LeftAlone++ })
	}
	if now-r.swept >= syncEvery/4 {
		r.swept = now
		c.sweep(before)
	}
}

// greet asks again.
func (c *Client) greet(now time.Duration) {
	r := &c.reads
	if !r.greeting {
		r.greeting, r.since = true, now
	} else if now-r.asked < greetEvery {
		return
	}
	if now-r.since > c.options.GreetLimit {
		r.failure = fmt.Errorf("%w: no probe has answered within %v (is it a probe, is it running, and is the speed right?)",
			ErrNoAnswer, c.options.GreetLimit)
		return
	}
	r.asked = now
	if r.state == starting {
		r.startSeq = c.out.greet(c.start)
		return
	}
	c.out.greet(AskHello{Version})
}

// running begins an epoch: the probe has started at tick.
func (c *Client) running(tick uint32, now time.Duration) *epoch {
	r := &c.reads
	e := &epoch{Hello: r.payload, Tick: tick, Nanos: 1e9 / float64(r.hello.Clock) * (1 + c.options.PPM*1e-6),
		Corrections: c.options.Corrections}
	c.mu.Lock()
	first := c.epoch == nil
	if !first {
		// The probe's clock may have begun anew, so the host's says how long it was gone, by the rate that was found.
		e.At = c.epoch.At + now - r.anchor
		if fit := c.points.fit(); fit.Points >= 3 {
			e.At = c.epoch.At + time.Duration(float64(fit.Probe(now))*(1+c.options.PPM*1e-6))
		}
		e.At = max(e.At, c.epoch.time(c.newest))
		if r.restarted {
			c.health.Restarts++
		} else {
			c.health.Reconnects++
		}
	} else {
		c.hello = r.hello
	}
	c.epoch, c.newest, c.points = e, 0, syncPoints{}
	c.health.Connected = true
	c.mu.Unlock()
	r.gate.begin(e, now)
	r.anchor, r.stream, r.synced = now, now, now-syncEvery
	r.state = running
	r.unqueued = e
	if c.queue.push(queueEpoch, e.encode(), now) {
		r.unqueued = nil
	}
	c.pumped.Store(int64(now))
	c.out.begin()
	// Whoever had the probe before may have been killed in the midst of anything, and a link that is back within 100 ms has left on what
	// was on: the supply of the station may be cut, a short be closed.
	_ = c.out.command(Safe{}, pending{}) // a loss is seen to elsewhere
	if first {
		close(c.greeted)
	}
	return e
}
