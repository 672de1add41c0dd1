package harness

import (
	"slices"
	"time"

	"bufferstop/harness/current"
	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
)

// Heard is a packet that a watch read from the track.
type Heard struct {
	Start, StartBit, End time.Duration
	// Preamble counts the one bits before the start bit, with the end bit of the packet before when that one ran on
	// into them (S-9.2 footnote 3, July 2004).
	Preamble int
	Bytes    dcc.Packet
	Fault    signal.Fault
	Meaning  dcc.Instruction
	// Service says that a decoder which heard the stream so far is in service mode (S-9.2.3 C, July 2012).
	Service bool
}

// A Watch reads a track from the moment it is set until it is stopped: packets, timing statistics, what made no packet,
// and current samples.
type Watch struct {
	Packets  []Heard
	Unusable []signal.Unusable
	Currents []current.Sample
	// LostTime is how much of the time the probe has lost: what happened then is in none of the others.
	LostTime time.Duration
	// Begun is when the watch was set, Ended when it was stopped, zero before.
	Begun, Ended time.Duration

	steady   signal.Steady
	tape     Tape
	rig      Rig
	receiver *signal.Receiver
	listener dcc.Listener
	cancel   func()
}

// Watch sets a watch on a track. The caller stops it.
func (s *Session) Watch(track station.Track) *Watch {
	w := &Watch{rig: s.Rig, Begun: s.Rig.Now()}
	w.receiver = signal.NewReceiver(signal.StationReading(), watchSink{w})
	w.cancel = s.Rig.Track(track).Listen(w)
	return w
}

// Edges reads what the probe saw.
func (w *Watch) Edges(edges []signal.Edge) {
	w.tape.Edges(edges)
	w.steady.Edges(edges)
	w.receiver.Edges(edges)
}

// Tape holds the last edges that the watch saw.
func (w *Watch) Tape() *Tape { return &w.tape }

// Samples keeps what the probe measured.
func (w *Watch) Samples(samples []current.Sample) { w.Currents = append(w.Currents, samples...) }

// Lost takes that the probe lost what happened from one time to the other.
func (w *Watch) Lost(from, to time.Duration) {
	w.LostTime += to - from
	w.tape.Lost(from, to)
	w.steady.Lost(from, to)
	w.receiver.Lost(from, to)
}

// Statistics is the timing of everything heard so far.
func (w *Watch) Statistics() *signal.Statistics { return w.receiver.Statistics() }

// Steady is the longest time that the track stood at one polarity, up to the newest edge, or to the end of a stopped watch.
func (w *Watch) Steady() *signal.Steady { return &w.steady }

// Stop ends the watch at the rig's present time; what is broken off there is cut, not faulty. A second Stop does
// nothing.
func (w *Watch) Stop() {
	if w.cancel == nil {
		return
	}
	w.cancel()
	w.cancel = nil
	w.Ended = w.rig.Now()
	w.receiver.Finish(w.Ended)
	w.steady.Finish(w.Ended)
}

// After returns the packets that started at or after t.
func (w *Watch) After(t time.Duration) []Heard {
	i, _ := slices.BinarySearchFunc(w.Packets, t, func(h Heard, t time.Duration) int { return int(h.Start - t) })
	return w.Packets[i:]
}

// powerOff is how long a track is without voltage before its decoders count as off: more than a cutout for bi-directional communication
// (488 µs, S-9.3.2 2.4, from memory), over which they have to keep their state. Our own choice.
const powerOff = time.Millisecond

// watchSink is the side of a Watch that its receiver talks to.
type watchSink struct{ watch *Watch }

func (s watchSink) Packet(p *signal.Packet) {
	w := s.watch
	h := Heard{
		Start: p.Start, StartBit: p.StartBit, End: p.End,
		Preamble: p.Preamble,
		Bytes:    slices.Clone(p.Bytes),
		Fault:    p.Fault,
	}
	if p.AfterEndBit {
		h.Preamble++
	}
	h.Meaning = w.listener.Hear(h.Bytes, h.StartBit, h.End)
	h.Service = w.listener.Mode() == dcc.Service
	w.Packets = append(w.Packets, h)
}

func (s watchSink) Unusable(u signal.Unusable) {
	if u.Reason == signal.ReasonOff && u.End-u.Start >= powerOff {
		s.watch.listener.PowerOff()
	}
	s.watch.Unusable = append(s.watch.Unusable, u)
}

// To reports whether the packet is for the multi-function decoders at an address (S-9.2.1 A, July 2012).
func (h Heard) To(address dcc.Address) bool {
	if address.Long {
		return len(h.Bytes) > 2 && h.Bytes[0] == 0xc0|byte(address.Number>>8) && h.Bytes[1] == byte(address.Number)
	}
	return len(h.Bytes) > 1 && h.Bytes[0] == byte(address.Number)
}
