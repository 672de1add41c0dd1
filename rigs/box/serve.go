//go:build simavr

package box

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"bufferstop/harness/link"
	"bufferstop/rigs/wire"
)

const (
	// tick is how far the box goes on at once, and so how late it may notice what a host has sent. Our own choice.
	tick = time.Millisecond
	// lag is how far the box may be behind the wall clock and catch up. What is more it loses, and goes on from there: a
	// box that ran through it at once would find that its hosts have been silent for all of that time. Little beside
	// the 100 ms of silence after which the probe lets go. Our own choice.
	lag = 20 * time.Millisecond
	// hostBuffer is how many characters wait for a host that does not take them. More are lost, as on any serial line without
	// flow control.
	hostBuffer = 64 << 10
)

// Serve runs the box in step with the wall clock, with its serial lines connected to two links, until ctx ends or one of them is
// closed, which is no error. When the machine is too slow for it, both processors fall behind together and what is sent still
// arrives.
func (b *Box) Serve(ctx context.Context, station, probe link.Link) error {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	ends := []*end{{link: station, line: b.StationLine()}, {link: probe, line: b.ProbeLine()}}
	var carrying sync.WaitGroup
	for _, e := range ends {
		carrying.Go(func() {
			e.carry(ctx)
			stop()
		})
	}
	err := b.pace(ctx, ends)
	stop()
	carrying.Wait()
	for _, e := range ends {
		err = errors.Join(err, e.failure)
	}
	return err
}

// pace goes on with the wall clock.
func (b *Box) pace(ctx context.Context, ends []*end) error {
	wall, from := time.Now(), b.now
	ticker := time.NewTicker(tick)
	defer ticker.Stop()
	var lost time.Duration
	told := wall
	for {
		due := from + time.Since(wall)
		if behind := due - b.now; behind > lag {
			lost += behind - lag
			from -= behind - lag
			due = b.now + lag
		}
		if lost >= lag && time.Since(told) >= time.Second {
			b.tell(Event{At: b.now, What: Slipped, Text: fmt.Sprintf("%v are lost", lost.Round(time.Millisecond))})
			lost, told = 0, time.Now()
		}
		for _, e := range ends {
			e.hear(b.now)
		}
		if due > b.now {
			if err := b.Advance(ctx, min(due, b.now+tick)); err != nil {
				if ctx.Err() != nil {
					return nil
				}
				return err
			}
			for _, e := range ends {
				e.say(b.now)
			}
		}
		if due > b.now+tick {
			continue // behind
		}
		select {
		case <-ctx.Done():
			return nil
		case <-ticker.C:
		}
	}
}

// An end is the far end of one of the links: a goroutine of its own carries bytes between the link and the box.
type end struct {
	link    link.Link
	line    *wire.Line
	failure error

	mu   sync.Mutex
	in   []byte // from the host, and not on the line yet
	out  []byte // for the host
	heap []byte // scratch
}

// carry carries until the link is closed.
func (e *end) carry(ctx context.Context) {
	var b [4096]byte
	for {
		e.mu.Lock()
		room := min(wire.TransmitBuffer-len(e.in), len(b))
		e.mu.Unlock()
		var err error
		n := 0
		if room > 0 {
			n, err = e.link.Read(ctx, b[:room], tick)
		} else {
			time.Sleep(tick)
		}
		e.mu.Lock()
		e.in = append(e.in, b[:n]...)
		e.heap = append(e.heap[:0], e.out...)
		e.mu.Unlock()
		if err == nil || errors.Is(err, link.ErrTimeout) {
			err = e.deliver(ctx)
		}
		switch {
		case err == nil, errors.Is(err, link.ErrTimeout):
		case ctx.Err() != nil, errors.Is(err, link.ErrClosed):
			return
		default:
			e.failure = err
			return
		}
	}
}

// deliver hands the host what is for it, as much as it takes.
func (e *end) deliver(ctx context.Context) error {
	if len(e.heap) == 0 {
		return ctx.Err()
	}
	n, err := e.link.Write(ctx, e.heap, 0)
	e.mu.Lock()
	e.out = e.out[:copy(e.out, e.out[n:])]
	e.mu.Unlock()
	return err
}

// hear puts on the line what the host has sent, as much of it as the line's transmit buffer has room for.
func (e *end) hear(now time.Duration) {
	q := &e.line.ToStation
	e.mu.Lock()
	defer e.mu.Unlock()
	n := min(wire.TransmitBuffer-len(q.Underway()), len(e.in))
	q.Put(now, e.in[:n])
	e.in = e.in[:copy(e.in, e.in[n:])]
}

// say takes from the line what has arrived for the host.
func (e *end) say(now time.Duration) {
	e.mu.Lock()
	defer e.mu.Unlock()
	var arrived [512]byte
	for n := e.line.ToHost.Take(now, arrived[:]); n > 0; n = e.line.ToHost.Take(now, arrived[:]) {
		e.out = append(e.out, arrived[:min(n, hostBuffer-len(e.out))]...)
	}
}
