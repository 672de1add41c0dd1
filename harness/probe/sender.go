package probe

import (
	"context"
	"errors"
	"sync"
	"time"

	"bufferstop/harness/link"
)

// What a sender holds back at most, for a probe that is slower than we are. Our own choice.
const (
	mostWaiting = 64      // commands
	mostRest    = 4 << 10 // bytes that the link does not take
)

// A pending is a command that is on its way or waits for its answer.
type pending struct {
	used    bool
	command Type
	size    int           // of its frame on the line
	answer  chan answer   // nil: nobody waits
	sent    time.Duration // on the host's clock
	timed   bool          // it is a load that should begin at tick
	tick    uint32
}

// An answer is what came of a command.
type answer struct {
	message        Message
	err            error
	sent, received time.Duration
}

func (p *pending) settle(a answer) {
	if p.answer != nil {
		p.answer <- a // has room for one, and gets one
	}
	*p = pending{}
}

// A waiting is a command for which the probe has no room yet.
type waiting struct {
	command pending
	t       Type
	length  int
	payload [MaxPayload]byte
}

// A sender writes frames. It keeps to what the probe's command buffer holds, and to the order in which it was asked.
type sender struct {
	client *Client
	life   context.Context
	// cut ends what is being written, when the reading goroutine, which alone uses it, has seen that the link is closed: a
	// link that is opened again at the next call would otherwise do that in a command of somebody who must not wait.
	cut context.CancelFunc

	mu      sync.Mutex
	link    context.Context // ended by cut
	open    bool            // greeted: commands may be sent
	laid    bool            // something was, across the rails, since the newest SAFE
	gone    bool            // the link was closed
	seq     uint8
	rest    []byte        // what the link has not taken of the frames before
	last    time.Duration // when the newest frame was handed over whole
	backlog []waiting
	plain   [MaxPayload]byte
	load    Load
}

// start makes the sender ready, for as long as life does not end.
func (s *sender) start(life context.Context) {
	s.life = life
	s.link, s.cut = context.WithCancel(life)
}

// command sends a command, or keeps it until the probe has room.
func (s *sender) command(m Message, p pending) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.commandLocked(m.Type(), m.Append(s.plain[:0]), p)
}

func (s *sender) commandLocked(t Type, payload []byte, p pending) error {
	if !s.open {
		if err := s.client.dead(); err != nil {
			return err
		}
		return ErrLost
	}
	switch t {
	case TypeShort, TypeLoad, TypeReflex:
		s.laid = true
	case TypeSafe:
		s.laid = false
	}
	p.used, p.command, p.size = true, t, len(payload)+frameOverhead+2
	if len(s.backlog) > 0 || !s.client.room(p.size) {
		if len(s.backlog) == mostWaiting {
			return ErrBusy
		}
		w := waiting{command: p, t: t, length: len(payload)}
		copy(w.payload[:], payload)
		s.backlog = append(s.backlog, w)
		return nil
	}
	if len(s.rest) > mostRest {
		return ErrBusy
	}
	s.send(t, payload, p)
	return nil
}

// send sends a frame now. A pending that is not used expects no answer.
func (s *sender) send(t Type, payload []byte, p pending) (seq uint8) {
	seq = s.seq
	s.seq++
	if p.used {
		s.client.expect(seq, p)
	}
	s.rest = AppendFrame(s.rest, t, seq, payload)
	s.flush()
	return seq
}

// flush hands over what the link takes.
func (s *sender) flush() {
	if len(s.rest) == 0 || s.gone {
		return
	}
	n, err := s.client.link.Write(s.link, s.rest, writeLimit)
	now := s.client.clock.Now()
	s.client.record.bytes(recordSent, now, s.rest[:n])
	s.rest = s.rest[:copy(s.rest, s.rest[n:])]
	if err != nil && !errors.Is(err, link.ErrTimeout) && s.life.Err() == nil {
		s.gone, s.open = true, false
		return
	}
	if len(s.rest) == 0 {
		s.client.spoke(now - s.last)
		s.last = now
	}
}

// work hands over what was held back, and a sign of life when one is due.
func (s *sender) work(now time.Duration) (gone bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.flush()
	for len(s.backlog) > 0 && len(s.rest) == 0 && s.client.room(s.backlog[0].command.size) {
		w := &s.backlog[0]
		s.send(w.t, w.payload[:w.length], w.command)
		s.backlog = s.backlog[:copy(s.backlog, s.backlog[1:])]
	}
	if s.open && len(s.rest) == 0 && now-s.last >= aliveAfter {
		s.send(TypeAlive, nil, pending{})
	}
	return s.gone
}

// lays reports whether something may lie across the rails.
func (s *sender) lays() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.laid
}

// greet sends a frame of the greeting. A delimiter goes first, so that whatever the probe has heard before is no part of it.
func (s *sender) greet(m Message) (seq uint8) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.rest) == 0 {
		s.rest = append(s.rest, 0)
	}
	return s.send(m.Type(), m.Append(s.plain[:0]), pending{})
}

// begin lets commands pass.
func (s *sender) begin() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.open, s.last = true, s.client.clock.Now()
}

// lose throws away all that was to be sent.
func (s *sender) lose(err error) {
	s.cut()
	s.mu.Lock()
	defer s.mu.Unlock()
	s.link, s.cut = context.WithCancel(s.life)
	s.open, s.gone, s.rest = false, false, s.rest[:0]
	for i := range s.backlog {
		s.backlog[i].command.settle(answer{err: err})
	}
	s.backlog = s.backlog[:0]
}
