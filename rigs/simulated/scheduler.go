package simulated

import (
	"math/rand/v2"
	"slices"
	"time"

	"bufferstop/harness/dcc"
)

// key tells whom a packet is for, so that two packets to one decoder keep their distance.
type key uint32

const (
	noKey        key = 0       // idle: nobody
	everybody    key = 1 << 16 // broadcast
	shortKey     key = 2 << 16
	longKey      key = 3 << 16
	accessoryKey key = 4 << 16
)

func keyOf(a dcc.Address) key {
	switch {
	case a == dcc.Broadcast:
		return everybody
	case a.Long:
		return longKey | key(a.Number)
	}
	return shortKey | key(a.Number)
}

// accessoryKeyOf is the key of the decoder that has a user's accessory number: each has four.
func accessoryKeyOf(n dcc.Numbering, number int) key {
	raw, _ := n.Raw(number) // the interpreter has checked it
	return accessoryKey | key(raw>>2)
}

// kind groups commands of which a later one replaces an earlier one to the same decoder that still waits.
type kind uint8

const (
	kindSpeed kind = iota
	kindStop
	kindFunctions // and the group: the group number is added
	kindConsist   = 24
	kindAccessory = 32
	kindMainWrite = 33
)

// command is a packet that was asked for and waits to be sent, or sent again.
type command struct {
	packet dcc.Packet
	key    key
	kind   kind
	copies int // still to send
	sent   int
	pair   bool // S-9.2.1 C (2012): the first two copies allow no other packet to this decoder between them
	after  time.Duration
}

// scheduler decides what the main track says next: commands before anything else, each for the first time before any
// is repeated; then the refresh list; then idle. No decoder is addressed twice in a row, which keeps packets to the
// same decoder more than 5 ms apart, NEM 671 section 5.1 (2014): any other packet takes longer than that.
type scheduler struct {
	settings *settings
	encoder  encoder
	roster   roster
	commands []command
	last     key
	start    startup
	random   *rand.Rand
	idle     dcc.Packet
	count    int // packets sent
	idles    int // of these, idle packets
	power    bool
	// pause has the generator send ones for a while before the packet; size and still are how many locomotives there were, and
	// for how many packets. Flawed firmware only.
	pause bool
	size  int
	still int
	// drained is called when a command has gone out for the last time.
	drained func(t time.Duration)
	// serviceLeak is a packet of the programming track that a flawed firmware sends here as well.
	serviceLeak dcc.Packet
}

func newScheduler(s *settings, random *rand.Rand) scheduler {
	return scheduler{settings: s, random: random, encoder: encoder{flaws: &s.flaws, numbering: s.numbering}, idle: sealed(dcc.Idle{}), start: newStartup(s)}
}

// full reports that no further command is taken now.
func (s *scheduler) full() bool { return len(s.commands) >= s.settings.commandDepth }

// enqueue takes a command, in place of one of the same kind to the same decoder that waits.
func (s *scheduler) enqueue(c command) {
	f := &s.settings.flaws
	for i := range s.commands {
		old := &s.commands[i]
		replaces := old.key == c.key && c.kind < kindAccessory ||
			f.accessoryOneSlot && old.key == c.key && c.kind == kindAccessory || f.mainWriteOneSlot && c.kind == kindMainWrite
		if replaces && old.kind == c.kind {
			*old = c
			return
		}
	}
	s.commands = append(s.commands, c)
}

// drop takes the waiting commands to one decoder away, or all for noKey.
func (s *scheduler) drop(k key) {
	kept := s.commands[:0]
	for _, c := range s.commands {
		if k != noKey && c.key != k {
			kept = append(kept, c)
		}
	}
	s.commands = kept
}

// dropSpeed takes the waiting speed of one decoder away: what it was told before must not come after its stop.
func (s *scheduler) dropSpeed(k key) {
	for i := range s.commands {
		if c := &s.commands[i]; c.key == k && c.kind == kindSpeed {
			s.commands = append(s.commands[:i], s.commands[i+1:]...)
			return
		}
	}
}

// dropMotion takes waiting speeds away: a stop of all must not be followed by an older speed.
func (s *scheduler) dropMotion() {
	kept := s.commands[:0]
	for _, c := range s.commands {
		if c.kind != kindSpeed && c.kind != kindStop {
			kept = append(kept, c)
		}
	}
	s.commands = kept
}

// reset forgets every locomotive and command.
func (s *scheduler) reset() {
	s.roster.clear()
	s.drop(noKey)
	s.start = newStartup(s.settings)
}

// nextPacket is asked by the bit generator at the end of each packet.
func (s *scheduler) nextPacket(t time.Duration) dcc.Packet {
	if !s.power {
		return nil
	}
	s.count++
	s.hesitate()
	if p := s.start.next(); p != nil {
		s.last = noKey
		return p
	}
	if p := s.serviceLeak; p != nil && s.count%4 == 0 {
		s.last = noKey
		return p
	}
	if n := s.settings.strewn; n > 0 && s.random.IntN(n) == 0 {
		s.last = noKey
		return s.idle
	}
	if p := s.nextCommand(t); p != nil {
		return p
	}
	if s.settings.shuffled {
		s.roster.shuffle(s.random)
	}
	if p, k := s.roster.refresh(&s.encoder, s.refreshedGroups(), s.allowed); p != nil {
		s.last = k
		return s.spoil(p)
	}
	s.last = noKey
	return s.spoil(s.idle)
}

// refreshedGroups are the function groups that are repeated for ever, bit n for group n.
func (s *scheduler) refreshedGroups() uint16 {
	groups := uint16(lowGroups)
	if s.settings.refreshHigh {
		groups = 1<<functionGroups - 1
	}
	if s.settings.flaws.f21Once {
		groups &^= 1 << dcc.F21F28
	}
	return groups
}

// hesitate is what flawed firmware does with a certain number of locomotives, once it has had so many for a while.
func (s *scheduler) hesitate() {
	const settledIn = 40 // packets
	f, n := &s.settings.flaws, len(s.roster.list)
	if s.still++; n != s.size {
		s.size, s.still = n, 0
	}
	s.pause = f.hesitates && f.hesitateFrom <= n && n <= f.hesitateTo && s.still > settledIn && s.still%spoilEvery == 0
}

// allowed reports whether a packet that is not a command may go to a decoder now.
func (s *scheduler) allowed(k key) bool {
	if k == s.last {
		return false
	}
	for i := range s.commands {
		if c := &s.commands[i]; c.pair && c.sent == 1 && c.key == k {
			return s.settings.flaws.pairTorn
		}
	}
	return true
}

// nextCommand sends stops to all first, then the command that was sent least often, the oldest of these first.
func (s *scheduler) nextCommand(t time.Duration) dcc.Packet {
	best := -1
	for i := range s.commands {
		c := &s.commands[i]
		if c.after > t || c.key == s.last || !s.mayFollow(i) {
			continue
		}
		if c.key == everybody {
			best = i
			break
		}
		if best < 0 || c.sent < s.commands[best].sent {
			best = i
		}
	}
	if best < 0 {
		return nil
	}
	c := &s.commands[best]
	c.sent++
	c.copies--
	p := c.packet
	s.last = c.key
	if c.key == everybody && !s.settings.flaws.stopTearsPair {
		s.unpair()
	}
	if c.copies == 0 {
		s.commands = append(s.commands[:best], s.commands[best+1:]...)
		s.drained(t)
	}
	return p
}

// mayFollow reports whether command i keeps out of the way of a pair that has begun.
func (s *scheduler) mayFollow(i int) bool {
	for j := range s.commands {
		if c := &s.commands[j]; j != i && c.pair && c.sent == 1 && c.key == s.commands[i].key {
			return false
		}
	}
	return true
}

// unpair lets pairs begin again that a broadcast has cut in two.
func (s *scheduler) unpair() {
	for i := range s.commands {
		if c := &s.commands[i]; c.pair && c.sent == 1 {
			c.sent, c.copies = 0, c.copies+1
		}
	}
}

// spoilEvery is how many packets go by between two that a flawed firmware spoils.
const spoilEvery = 12

// spoil is what flawed firmware does to packets of the refresh, now and then.
func (s *scheduler) spoil(p dcc.Packet) dcc.Packet {
	f := &s.settings.flaws
	if p.IsIdle() {
		s.idles++
	}
	switch {
	case f.staleErrorByte && s.count%spoilEvery == 0:
		p = slices.Clone(p)
		p[len(p)-1] ^= 0x55
	case f.stray != nil && p.IsIdle():
		if stray := f.stray(s.idles); stray != nil {
			p = stray
		}
	case f.idleTooLong && p.IsIdle() && s.idles%spoilEvery == 0:
		p = dcc.Seal(0xff, 0, 0, 0, 0, 0)
	}
	return p
}
