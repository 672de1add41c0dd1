package probe

import (
	"context"
	"fmt"
	"math"
	"time"
)

// exchange sends a command and waits for its answer. The stream goes on into the queue meanwhile.
func (c *Client) exchange(ctx context.Context, m Message, p pending) (answer, error) {
	if err := ctx.Err(); err != nil {
		return answer{}, err
	}
	p.answer = make(chan answer, 1)
	if err := c.out.command(m, p); err != nil {
		return answer{}, err
	}
	select {
	case a := <-p.answer:
		return a, a.err
	case <-ctx.Done():
		return answer{}, ctx.Err()
	case <-c.ended:
		return answer{}, c.dead()
	}
}

// done sends a command that is answered by a DONE, and returns when it took effect.
func (c *Client) done(ctx context.Context, m Message) (at time.Duration, err error) {
	a, err := c.exchange(ctx, m, pending{})
	if err != nil {
		return 0, err
	}
	answered, ok := a.message.(Done)
	if !ok {
		return 0, fmt.Errorf("%w: %v to %v", ErrNoAnswer, a.message.Type(), m.Type())
	}
	return c.Time(answered.Tick), nil
}

// Load lays a course of load across a track and returns when its first step begins: later than asked when it came too
// late. The errors of all orders: Refused, ErrLost, ErrNoAnswer, ErrBusy, ErrClosed, or ctx.Err().
func (c *Client) Load(ctx context.Context, track int, l LoadProfile) (at time.Duration, err error) {
	tick, err := c.begins(l)
	if err != nil {
		return 0, err
	}
	m := &Load{Track: uint8(track), Behind: l.Behind, At: tick}
	if err := m.fill(l.Steps); err != nil {
		return 0, err
	}
	return c.done(ctx, m)
}

// begins is the tick at which a profile begins. One that is further off than a tick of 32 bits can tell would be taken for
// past, or for ahead.
func (c *Client) begins(l LoadProfile) (uint32, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	at := c.newest
	if !l.Now {
		at = c.epoch.ticks(l.At)
		if ahead := at - c.newest; ahead > math.MaxInt32/2 {
			return 0, fmt.Errorf("probe: load at %v: want at most %v from now, %v", l.At,
				time.Duration(math.MaxInt32/2*c.epoch.Nanos).Round(time.Second), c.epoch.time(c.newest))
		} else if ahead < -math.MaxInt32/2 {
			at = c.newest - math.MaxInt32/2 // past is past
		}
	}
	return c.epoch.Tick + uint32(at), nil
}

// Post is Load without waiting for the answer, for whoever has no time to. It allocates nothing. Whether the probe was
// late or refused is told by Health.
func (c *Client) Post(track int, l LoadProfile) error {
	tick, err := c.begins(l)
	if err != nil {
		return err
	}
	s := &c.out
	s.mu.Lock()
	defer s.mu.Unlock()
	s.load.Track, s.load.Behind, s.load.At = uint8(track), l.Behind, tick
	if err := s.load.fill(l.Steps); err != nil {
		return err
	}
	return s.commandLocked(TypeLoad, s.load.Append(s.plain[:0]), pending{timed: !l.Now, tick: tick})
}

// Short closes the switch across a track for at most the given time (rounded up to whole milliseconds), or opens it.
func (c *Client) Short(ctx context.Context, track int, on bool, most time.Duration) (at time.Duration, err error) {
	ms := (most + time.Millisecond - 1) / time.Millisecond
	if on && (ms < 1 || ms > 1<<16-1) {
		return 0, fmt.Errorf("probe: short of %v: want 1ms to 65.535s", most)
	}
	m := Short{Track: uint8(track), On: on}
	if on {
		m.MostMs = uint16(ms)
	}
	return c.done(ctx, m)
}

// Supply switches the supply of the station.
func (c *Client) Supply(ctx context.Context, on bool) (at time.Duration, err error) {
	return c.done(ctx, Supply{on})
}

// Reflex has the probe answer a packet by itself, until it is given another rule of that number, the rule is cleared, Safe
// is called or the host falls silent.
func (c *Client) Reflex(ctx context.Context, track int, rule ReflexRule) error {
	m, err := rule.message(track)
	if err != nil {
		return err
	}
	_, err = c.done(ctx, m)
	return err
}

// ClearReflex takes a rule away.
func (c *Client) ClearReflex(ctx context.Context, track, rule int) error {
	_, err := c.done(ctx, Reflex{Track: uint8(track), Rule: uint8(rule)})
	return err
}

// Mark asks for the probe's time of now.
func (c *Client) Mark(ctx context.Context, id uint16) (at time.Duration, err error) {
	a, err := c.exchange(ctx, AskMark{id}, pending{})
	if err != nil {
		return 0, err
	}
	m, ok := a.message.(Mark)
	if !ok || m.ID != id {
		return 0, fmt.Errorf("%w: %v to mark %d", ErrNoAnswer, a.message, id)
	}
	return c.Time(m.Tick), nil
}

// Safe opens shorts, takes loads off, empties queues, clears reflexes and switches the supply on. It asks up to three
// times when the answer stays away.
func (c *Client) Safe(ctx context.Context) (at time.Duration, err error) {
	for range 3 {
		if at, err = c.done(ctx, Safe{}); err != ErrNoAnswer {
			break
		}
	}
	return at, err
}

// Sync asks the probe for its time once. The point counts for Clock as well.
func (c *Client) Sync(ctx context.Context) (SyncPoint, error) {
	a, err := c.exchange(ctx, AskSync{0x434e5953}, pending{})
	if err != nil {
		return SyncPoint{}, err
	}
	m, ok := a.message.(Sync)
	if !ok {
		return SyncPoint{}, fmt.Errorf("%w: %v to SYNC", ErrNoAnswer, a.message.Type())
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.epoch == nil {
		return SyncPoint{}, ErrLost
	}
	return c.point(m, a.sent, a.received), nil
}

// Status asks the probe for its counters.
func (c *Client) Status(ctx context.Context) (Status, error) {
	a, err := c.exchange(ctx, AskStatus{}, pending{})
	if err != nil {
		return Status{}, err
	}
	m, ok := a.message.(Status)
	if !ok {
		return Status{}, fmt.Errorf("%w: %v to STATUS", ErrNoAnswer, a.message.Type())
	}
	return m, nil
}
