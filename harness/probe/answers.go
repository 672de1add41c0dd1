package probe

import "time"

// room reports whether the probe's command buffer has room for so many bytes more, with some to spare for signs of life.
func (c *Client) room(size int) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.unread == 0 || c.unread+size <= int(c.hello.CommandBuffer)-spare
}

// spare is what is kept free in the probe's command buffer: two signs of life.
const spare = 2 * (frameOverhead + 2)

// expect notes that an answer is to come.
func (c *Client) expect(seq uint8, p pending) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if old := &c.pending[seq]; old.used { // 255 commands were sent since
		c.giveUp(old)
	}
	if p.sent == 0 {
		p.sent = c.clock.Now()
	}
	c.pending[seq] = p
	c.unread += p.size
}

func (c *Client) giveUp(p *pending) {
	c.health.Unanswered++
	c.unread -= p.size
	p.settle(answer{err: ErrNoAnswer})
}

// sweep gives up what is unanswered for too long.
func (c *Client) sweep(now time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for i := range c.pending {
		if p := &c.pending[i]; p.used && now-p.sent > answerLimit {
			c.giveUp(p)
		}
	}
}

// spoke notes how long we had been silent.
func (c *Client) spoke(silence time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.health.Connected {
		c.health.LongestSilence = max(c.health.LongestSilence, silence)
	}
}

// doneCame takes a DONE. If an epoch begins with it, that is returned.
func (c *Client) doneCame(payload []byte, now time.Duration) *epoch {
	m, err := parseDone(payload)
	if err != nil {
		c.malformed()
		return nil
	}
	if c.reads.state == starting && m.Command == TypeStart && m.Of == c.reads.startSeq {
		return c.running(m.Tick, now)
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	p := &c.pending[m.Of]
	if !p.used || p.command != m.Command {
		return nil
	}
	if late := int32(m.Tick - p.tick); p.timed && late > 0 {
		c.health.Late++
		c.health.WorstLate = max(c.health.WorstLate, time.Duration(float64(late)*c.epoch.Nanos))
	}
	c.unread -= p.size
	if p.answer == nil {
		*p = pending{} // and no message on the heap, as for one that somebody waits for
		return nil
	}
	c.settle(p, m, now)
	return nil
}

// settle gives a command its answer. Apart, so that the hot path allocates nothing.
func (c *Client) settle(p *pending, m Message, now time.Duration) {
	p.settle(answer{message: m, sent: p.sent, received: now})
}

// answerCame takes another answer.
func (c *Client) answerCame(f Frame, now time.Duration) {
	m, err := ParseReport(f.Type, f.Payload, 0)
	if err != nil {
		c.malformed()
		return
	}
	if refused, ok := m.(Refused); ok {
		c.refused(refused, now)
		return
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	p := c.question(m)
	if p == nil {
		return
	}
	if sync, ok := m.(Sync); ok && c.epoch != nil {
		c.points.add(c.point(sync, p.sent, now))
	}
	c.unread -= p.size
	c.settle(p, m, now)
}

// question is the oldest command to which m can be the answer, or nil.
func (c *Client) question(m Message) (oldest *pending) {
	if sync, ok := m.(Sync); ok {
		if p := &c.pending[sync.Of]; p.used && p.command == TypeAskSync {
			return p
		}
		return nil
	}
	asked := TypeAskStatus
	if m.Type() == TypeMark {
		asked = TypeAskMark
	}
	for i := range c.pending {
		if p := &c.pending[i]; p.used && p.command == asked && (oldest == nil || p.sent < oldest.sent) {
			oldest = p
		}
	}
	return oldest
}

// refused takes a REFUSED.
func (c *Client) refused(m Refused, now time.Duration) {
	r := &c.reads
	if r.state == starting && m.Command == TypeStart && m.Of == r.startSeq {
		if m.Reason == ReasonOrder {
			r.state = asking // it was reset between our two questions
			return
		}
		r.failure = m
		return
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	p := &c.pending[m.Of]
	if !p.used || p.command != m.Command {
		return
	}
	if p.answer == nil && p.command != TypeAskSync {
		c.health.RefusedPosts++
		c.health.LastRefusal = m
	}
	if m.Reason == ReasonOrder && r.state == running {
		r.stream = now - 2*silentAfter // the probe was reset: greet it anew
	}
	c.unread -= p.size
	p.settle(answer{err: m, sent: p.sent, received: now})
}

func (c *Client) malformed() { c.count(func(h *Health) { h.Malformed++ }) }

// point makes a sync point of an answer.
func (c *Client) point(m Sync, sent, received time.Duration) SyncPoint {
	ticks := c.epoch.unwrapped(m.Tick, c.newest)
	return SyncPoint{Sent: sent, Received: received,
		Probe: time.Duration(float64(ticks) * (1e9 / float64(c.hello.Clock))),
		Time:  c.epoch.time(ticks)}
}
