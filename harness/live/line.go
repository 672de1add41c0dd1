package live

import (
	"time"

	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"
)

// keptBytes is how many bytes of a packet a Line keeps: more than the six of the longest (S-9.2.1, July 2012), so that one
// that is too long shows that it is.
const keptBytes = 8

// A Line is one thing that was read from the signal, and how often in a row: a packet, or a stretch of no use.
type Line struct {
	// Number counts the lines of a track from 1, also those that are not kept any more.
	Number uint64
	// First and Last are when the first and the last of them began, Decided when the first was complete.
	First, Last, Decided time.Duration
	// Count is how many there were: this one, and those that only said the same again.
	Count int64

	// Of a packet: what it means, empty for a stretch of no use; its first bytes and how many it had; the ones before its
	// start bit, the first time; what is wrong with it.
	Meaning  string
	Length   int
	bytes    [keptBytes]byte
	Preamble int
	Fault    signal.Fault

	// Of a stretch of no use: why, and how long, all of them together.
	Reason   signal.Reason
	Unusable time.Duration

	key key
}

// IsPacket tells a packet from a stretch of no use.
func (l *Line) IsPacket() bool { return l.Reason == "" }

// Bytes are the first bytes of the packet, error byte included; Length tells whether there are more.
func (l *Line) Bytes() dcc.Packet { return l.bytes[:min(l.Length, keptBytes)] }

// key is what lines are folded by.
type key struct {
	recipient Recipient
	length    uint8 // of a packet that is not valid
	fault     signal.Fault
	service   bool
	reason    signal.Reason
	long      bool // of an off state
}

// lines keeps the newest of them, in the order in which they were decided.
type lines struct {
	ring []Line
	last uint64         // number of the newest; 0 for none
	told map[key]uint64 // the newest line about each thing, of those that are kept
}

func newLines(kept int) lines {
	return lines{ring: make([]Line, kept), told: make(map[key]uint64, kept)}
}

// again returns the kept line about the same thing, or nil.
func (l *lines) again(k key) *Line {
	if n, ok := l.told[k]; ok {
		return &l.ring[n%uint64(len(l.ring))]
	}
	return nil
}

// add returns a new line about something, in the place of the oldest.
func (l *lines) add(k key) *Line {
	l.last++
	place := &l.ring[l.last%uint64(len(l.ring))]
	if place.Number > 0 && l.told[place.key] == place.Number {
		delete(l.told, place.key)
	}
	*place = Line{Number: l.last, Count: 1, key: k}
	l.told[k] = l.last
	return place
}

// appendTo appends the lines to dst, oldest first.
func (l *lines) appendTo(dst []Line) []Line {
	n := uint64(len(l.ring))
	for number := max(l.last, n) - n + 1; number <= l.last; number++ {
		if line := &l.ring[number%n]; line.Number == number { // else it was cleared
			dst = append(dst, *line)
		}
	}
	return dst
}

func (l *lines) clear() {
	clear(l.ring)
	clear(l.told)
}

// shortOff is how long an off state may last to be one of many that are alike, as the gaps for answers of decoders are. A
// longer one resets what decoders know of the mode that they are in, and is told by itself.
const shortOff = dcc.ServiceModeTimeout

// packet enters a packet and returns its line if that is a new one.
func (t *Track) packet(p *signal.Packet) *Line {
	instruction := t.listener.Hear(p.Bytes, p.StartBit, p.End)
	k := key{fault: p.Fault}
	if p.Fault == signal.None {
		k.recipient, k.service = RecipientOf(p.Bytes), t.listener.Mode() == dcc.Service
	} else {
		k.length = uint8(len(p.Bytes))
		copy(k.recipient[:], p.Bytes)
	}
	var bytes [keptBytes]byte
	copy(bytes[:], p.Bytes)
	if l := t.lines.again(k); l != nil && l.bytes == bytes && l.Length == len(p.Bytes) && p.Start-l.Last <= RefreshWithin {
		l.Count++
		l.Last = p.Start
		t.folded++
		return nil
	}
	l := t.lines.add(k)
	l.First, l.Last, l.Decided = p.Start, p.Start, p.End
	l.Meaning, l.Preamble, l.Fault = instruction.String(), p.Preamble, p.Fault
	l.bytes, l.Length = bytes, len(p.Bytes)
	return l
}

// unusable enters a stretch of no use and returns its line if that is a new one.
func (t *Track) unusable(u signal.Unusable) *Line {
	long := u.Reason == signal.ReasonOff && u.End-u.Start >= shortOff
	if long {
		t.listener.PowerOff()
	}
	if u.Reason == signal.ReasonLost {
		t.lost++
		t.lostTime += u.End - u.Start
	}
	k := key{reason: u.Reason, long: long}
	if l := t.lines.again(k); l != nil && !long && u.Start-l.Last <= RefreshWithin {
		l.Count++
		l.Last = u.Start
		l.Unusable += u.End - u.Start
		t.folded++
		return nil
	}
	l := t.lines.add(k)
	l.First, l.Last, l.Decided = u.Start, u.Start, u.End
	l.Reason, l.Unusable = u.Reason, u.End-u.Start
	return l
}
