//go:build simavr

package box

import (
	"fmt"
	"time"

	"bufferstop/harness/signal"
	"bufferstop/rigs/firmware"
	"bufferstop/rigs/processor"
)

const (
	// slice is how far the station runs at most before the probe follows: little beside what the probe takes for anything. Our own
	// choice.
	slice = time.Millisecond
	// gone is how long a track has no power before that is told: longer than the cutouts of bi-directional communication,
	// which are over after 488 µs (S-9.3.2, 2012).
	gone = time.Millisecond
)

// step lets the box run to the time to, or to the next conversion of the station. The station goes first; the probe follows and meets
// on its way what the station has done, in order of time. What the probe does to the rails comes before anything
// that the station can learn of it, since a station learns of its rails by its converter alone.
func (b *Box) step(to time.Duration) {
	to = b.runStation(to)
	b.runProbe(to)
	b.now = to
	if b.sampling {
		b.sampling = false
		b.board.Machine.Converted(b.stationSees(b.board.Machine.Channel(), to))
	}
	b.power()
	b.switchSupply()
}

// runStation runs the station up to to, or to a conversion, and returns the time that it is then.
func (b *Box) runStation(to time.Duration) time.Duration {
	if b.board == nil || b.stopped {
		for q := &b.station.line.ToStation; q.Arrives() <= to; { // nobody listens
			var lost [1]byte
			q.Take(to, lost[:])
		}
		return to
	}
	m := b.board.Machine
	b.station.hear(m, to)
	for {
		why := m.Run(b.station.cycles(to), false)
		b.edges = b.board.Edges(b.edges)
		b.sent = b.station.say(m, b.sent)
		switch why {
		case processor.AtTime:
			return to
		case processor.Converting:
			b.sampling = true
			return min(to, b.station.instant(m.SampledAt()))
		case processor.Stopped:
			b.stopped = true
			b.tell(Event{At: to, What: Fault, Whose: b.station.name, Text: b.board.Fault(to - b.station.base)})
			return to
		}
		b.restarts(&b.station, m)
	}
}

// stationSees is what a channel of the station's converter sees. One that is not wired sees nothing.
func (b *Box) stationSees(channel int, t time.Duration) uint32 {
	for i := range b.tracks {
		if o := &b.options.Station.Outputs[i]; o.Channel == channel {
			return o.Millivolts(b.tracks[i].Amperes(t))
		}
	}
	return 0
}

// runProbe lets the probe follow up to to, while the rails do what the station has made them do.
func (b *Box) runProbe(to time.Duration) {
	b.probe.hear(b.machine, to)
	for {
		next := to
		if len(b.edges) > b.pending {
			next = min(next, b.edgeAt())
		}
		for i := range b.tracks {
			next = min(next, b.tracks[i].absentAt)
		}
		next = max(next, b.railed)
		b.followTo(next)
		b.railed = next
		done := next >= to
		for len(b.edges) > b.pending && b.edgeAt() <= next {
			b.edge(next, b.edges[b.pending])
			b.pending++
			done = false
		}
		for i := range b.tracks {
			if t := &b.tracks[i]; t.absentAt <= next {
				b.miss(t)
				done = false
			}
		}
		if done {
			break
		}
	}
	b.edges = b.edges[:copy(b.edges, b.edges[b.pending:])]
	b.pending = 0
}

// edgeAt is when the next edge of the station happens.
func (b *Box) edgeAt() time.Duration { return b.station.instant(b.edges[b.pending].Cycle) }

// edge sets a bridge at t.
func (b *Box) edge(t time.Duration, e firmware.Edge) {
	track := &b.tracks[e.Output]
	switch was := track.Driven(); {
	case e.Level == signal.Off && was != signal.Off:
		track.since, track.flowed, track.shorted = t, track.Amperes(t), track.short
	case e.Level != signal.Off && was == signal.Off:
		track.since = t
	}
	track.Edge(t, e.Level)
	b.show(track)
}

// followTo runs the probe up to t, and lets what it does act on the rails.
func (b *Box) followTo(t time.Duration) {
	m, cycle := b.machine, b.probe.cycles(t)
	for !b.dead {
		why := m.Run(cycle, false)
		b.sent = b.probe.say(m, b.sent)
		b.changes = m.Changes(b.changes[:0])
		for _, c := range b.changes {
			b.pins[c.Port] = c.Value
			if !c.More {
				b.acts(min(max(b.probe.instant(c.Cycle), b.railed), t))
			}
		}
		switch why {
		case processor.AtTime:
			return
		case processor.Converting:
			m.Converted(b.probeSees(m.Channel(), min(max(b.probe.instant(m.SampledAt()), b.railed), t)))
		case processor.Stopped:
			b.dead = true
			b.tell(Event{At: t, What: Fault, Whose: b.probe.name, Text: fmt.Sprintf("its firmware came to its end at %#x", m.At())})
		}
		b.restarts(&b.probe, m)
	}
}

// probeSees is what a channel of the probe's converter sees: the magnitude of the current in the lead of its track.
func (b *Box) probeSees(channel int, t time.Duration) uint32 {
	for i := range b.tracks {
		if w := b.tracks[i].wired; w != nil && w.Channel == channel {
			b.railed = t
			millivolts := uint32(b.tracks[i].Amperes(t)*w.Gain*1000 + 0.5)
			b.show(&b.tracks[i])
			return millivolts
		}
	}
	return 0
}

// acts lets the pins of the probe act on the rails at t.
func (b *Box) acts(t time.Duration) {
	b.railed = t
	for i := range b.tracks {
		track := &b.tracks[i]
		if track.wired == nil {
			continue
		}
		steps := 0
		for bit, p := range track.wired.Ladder {
			if b.high(p) {
				steps |= 1 << bit
			}
		}
		if steps != track.load {
			track.load = steps
			amperes := float64(steps) * track.wired.Step
			track.SetLoad(t, amperes)
			b.tell(Event{At: t, What: LoadChanges, Track: track.Name(), Amperes: amperes})
		}
		if short := b.high(track.wired.Short); short != track.short {
			track.short = short
			e := Event{At: t, What: ShortOpens, Track: track.Name()}
			siemens := 0.0
			if short {
				e.What, siemens = ShortCloses, shortSiemens
			}
			track.SetShort(t, siemens)
			b.tell(e)
		}
		b.show(track)
	}
}

func (b *Box) high(p processor.Pin) bool { return b.pins[p.Port]>>p.Bit&1 != 0 }

// pin sets an input of the probe.
func (b *Box) pin(cycle uint64, p processor.Pin, high bool) {
	if err := b.machine.SetPin(cycle, p, high); err != nil {
		panic(err) // only for one that it does not have, and those of the board have been tried
	}
}

// power tells of tracks that the station has begun or ceased to drive.
func (b *Box) power() {
	for i := range b.tracks {
		t := &b.tracks[i]
		on := t.Driven() != signal.Off
		if on == t.power || !on && b.now-t.since < gone {
			continue
		}
		t.power = on
		e := Event{At: t.since, What: PowerOn, Track: t.Name()}
		if !on {
			e.What, e.Amperes = PowerOff, t.flowed
			e.Text = fmt.Sprintf(", %.0f mA flowed", 1000*t.flowed)
			if t.shorted {
				e.Text += ", and a short lay across it"
			}
		}
		b.tell(e)
	}
}

// switchSupply takes the station's supply away or gives it back, as the probe wants it.
func (b *Box) switchSupply() {
	if cut := b.high(b.options.Board.Supply); cut != b.cut {
		b.cut = cut
		if cut {
			b.takeSupply()
			b.tell(Event{At: b.now, What: SupplyCut})
			return
		}
		b.tell(Event{At: b.now, What: SupplyBack})
		if err := b.giveSupply(); err != nil { // it could be built before
			b.tell(Event{At: b.now, What: Fault, Whose: b.station.name, Text: err.Error()})
		}
	}
}

// takeSupply frees the station's processor. Characters that are on its line are lost, and all that it has not done yet.
func (b *Box) takeSupply() {
	if b.board == nil {
		return
	}
	if b.options.Station.KeepEEPROM {
		b.kept = b.board.Machine.EEPROM()
	}
	b.board.Machine.Free()
	b.board, b.sampling, b.edges = nil, false, b.edges[:0]
	b.station.line.ToStation.Clear()
	for i := range b.tracks {
		b.edge(b.now, firmware.Edge{Output: i, Level: signal.Off})
	}
}

// giveSupply gives a new processor its supply now.
func (b *Box) giveSupply() error {
	board, err := firmware.NewBoard(b.options.Station, b.options.StationImage, b.kept)
	if err != nil {
		return err
	}
	b.board, b.stopped, b.station.base, b.station.resets = board, false, b.now, 0
	return nil
}

// restarts tells of a processor that has started anew by itself.
func (b *Box) restarts(h *half, m *processor.Machine) {
	if n := m.Resets(); n != h.resets {
		h.resets = n
		b.tell(Event{At: h.instant(m.Cycle()), What: Resets, Whose: h.name})
	}
}
