package linktest

import (
	"context"
	"errors"
	"math/rand/v2"
	"time"

	"bufferstop/harness/link"
)

// Noisy is a link on which bits flip at random, both ways.
type Noisy struct {
	link.Link
	// Rate is the probability that a bit flips.
	Rate float64
	// Flipped counts those that did.
	Flipped int

	random *rand.Rand
}

// Noise puts noise on l; the seed decides which bits it hits.
func Noise(l link.Link, rate float64, seed uint64) *Noisy {
	return &Noisy{Link: l, Rate: rate, random: rand.New(rand.NewPCG(seed, 1))}
}

// Read flips bits of what comes.
func (n *Noisy) Read(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	got, err := n.Link.Read(ctx, p, timeout)
	n.hit(p[:got])
	return got, err
}

// Write flips bits of what goes.
func (n *Noisy) Write(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	sent := append([]byte(nil), p...)
	n.hit(sent)
	return n.Link.Write(ctx, sent, timeout)
}

func (n *Noisy) hit(p []byte) {
	for i := range p {
		for bit := range 8 {
			if n.random.Float64() < n.Rate {
				p[i] ^= 1 << bit
				n.Flipped++
			}
		}
	}
}

// Plug is a link whose plug can be pulled and put in again. As a link.ReopeningLink does, it tells of a loss once; on the
// next call it waits for the plug to be put in again, for as long as Limit.
type Plug struct {
	// Limit is how long it waits.
	Limit time.Duration
	// Absent is how long the plug stays out each time. It stays out for ever when this is more than Limit.
	Absent time.Duration
	// Lost, if set, is called when the plug is pulled: what a device does that is fed over it.
	Lost func()
	// Pulled counts how often it was.
	Pulled int

	behind link.Link
	clock  link.Clock
	out    bool
	told   bool
	since  time.Duration
	toGo   int // bytes handed over until it is pulled
	toCome int // bytes read until it is pulled
}

// Plugged returns l with a plug that is in.
func Plugged(l link.Link, c link.Clock) *Plug {
	return &Plug{behind: l, clock: c, toGo: -1, toCome: -1}
}

// PullAfterSent has the plug pulled when so many more bytes have been handed over: within a message, if it ends there.
func (p *Plug) PullAfterSent(bytes int) { p.toGo = bytes }

// PullAfterReceived has the plug pulled when so many more bytes have been read.
func (p *Plug) PullAfterReceived(bytes int) { p.toCome = bytes }

// Pull pulls the plug.
func (p *Plug) Pull() {
	p.out, p.told, p.since, p.toGo, p.toCome = true, false, p.clock.Now(), -1, -1
	p.Pulled++
	if p.Lost != nil {
		p.Lost()
	}
}

// in waits until the plug is in.
func (p *Plug) in(ctx context.Context) error {
	if err := ctx.Err(); err != nil || !p.out {
		return err
	}
	if !p.told {
		p.told = true
		return link.ErrClosed
	}
	if p.Absent > p.Limit {
		if err := p.clock.Wait(ctx, max(p.since+p.Limit-p.clock.Now(), 0)); err != nil {
			return err
		}
		return link.ErrClosed
	}
	if err := p.clock.Wait(ctx, max(p.since+p.Absent-p.clock.Now(), 0)); err != nil {
		return err
	}
	// What came while it was out is gone.
	for b := make([]byte, 1024); ; {
		if _, err := p.behind.Read(ctx, b, 0); err != nil {
			break
		}
	}
	p.out = false
	return nil
}

// Read follows the rules of link.Link.
func (p *Plug) Read(ctx context.Context, b []byte, timeout time.Duration) (int, error) {
	if err := p.in(ctx); err != nil {
		return 0, err
	}
	if p.toCome >= 0 {
		b = b[:min(len(b), max(p.toCome, 1))]
	}
	n, err := p.behind.Read(ctx, b, timeout)
	if p.toCome >= 0 {
		if p.toCome -= n; p.toCome <= 0 && n > 0 {
			p.Pull()
		}
	}
	return n, err
}

// Write follows the rules of link.Link.
func (p *Plug) Write(ctx context.Context, b []byte, timeout time.Duration) (int, error) {
	if err := p.in(ctx); err != nil {
		return 0, err
	}
	if p.toGo < 0 || p.toGo > len(b) {
		if p.toGo >= 0 {
			p.toGo -= len(b)
		}
		return p.behind.Write(ctx, b, timeout)
	}
	n, err := p.behind.Write(ctx, b[:p.toGo], timeout)
	whole := p.toGo == len(b)
	p.Pull()
	if err == nil && !whole {
		p.told = true
		return n, link.ErrClosed
	}
	return n, err
}

// Close closes the link behind.
func (p *Plug) Close() error { return p.behind.Close() }

// Deaf is a link whose far end has ceased to read once so many bytes were handed over.
type Deaf struct {
	link.Link
	Room int

	clock link.Clock
}

// Unread returns l with a far end that reads so many bytes more.
func Unread(l link.Link, c link.Clock, room int) *Deaf { return &Deaf{Link: l, Room: room, clock: c} }

// Write takes what there is room for.
func (d *Deaf) Write(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	n := min(len(p), d.Room)
	d.Room -= n
	if n > 0 {
		if _, err := d.Link.Write(ctx, p[:n], timeout); err != nil {
			return 0, err
		}
	}
	if n == len(p) {
		return n, nil
	}
	if err := d.clock.Wait(ctx, timeout); err != nil {
		return n, err
	}
	return n, link.ErrTimeout
}

// Talkative is a link whose far end says the same thing without end, from some time on, beside what it says otherwise.
type Talkative struct {
	link.Link
	clock link.Clock
	text  string
	every time.Duration // a byte
	from  time.Duration
	said  int64
}

// Endless returns l with a far end that says text again and again, from the time on, at so many bytes a second.
func Endless(l link.Link, c link.Clock, text string, bytesPerSecond int, from time.Duration) *Talkative {
	return &Talkative{Link: l, clock: c, text: text, every: time.Second / time.Duration(bytesPerSecond), from: from}
}

// Read brings what the far end says, and the endless text when that is silent.
func (t *Talkative) Read(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	next := t.from + time.Duration(t.said+1)*t.every
	wait := max(next-t.clock.Now(), 0)
	n, err := t.Link.Read(ctx, p, min(wait, timeout))
	if n > 0 || !errors.Is(err, link.ErrTimeout) || t.clock.Now() < next {
		return n, err
	}
	due := min(int64((t.clock.Now()-t.from)/t.every)-t.said, int64(len(p)))
	for i := range due {
		p[i] = t.text[(t.said+i)%int64(len(t.text))]
	}
	t.said += due
	return int(due), nil
}

// Piecemeal is a link that hands on what it reads in pieces, some of them late.
type Piecemeal struct {
	link.Link
	clock  link.Clock
	late   time.Duration
	random *rand.Rand
	held   []byte
}

// Pieces returns l in pieces of one to a few bytes; every now and then one is late, so that the next ones are there
// together with it. The seed decides.
func Pieces(l link.Link, c link.Clock, late time.Duration, seed uint64) *Piecemeal {
	return &Piecemeal{Link: l, clock: c, late: late, random: rand.New(rand.NewPCG(seed, 2))}
}

// Read brings a piece.
func (p *Piecemeal) Read(ctx context.Context, b []byte, timeout time.Duration) (int, error) {
	if len(p.held) == 0 {
		chunk := make([]byte, 256)
		n, err := p.Link.Read(ctx, chunk, timeout)
		if n == 0 {
			return 0, err
		}
		p.held = chunk[:n]
	}
	if p.random.IntN(4) == 0 && timeout > p.late {
		if err := p.clock.Wait(ctx, p.late); err != nil {
			return 0, err
		}
		more := make([]byte, 256)
		n, _ := p.Link.Read(ctx, more, 0)
		p.held = append(p.held, more[:n]...)
	}
	most := len(p.held)
	if p.random.IntN(3) > 0 {
		most = min(most, 1+p.random.IntN(3))
	}
	n := copy(b, p.held[:most])
	p.held = p.held[n:]
	return n, nil
}
