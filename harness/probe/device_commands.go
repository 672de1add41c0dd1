package probe

import "errors"

// Receive gives the device bytes that the host has sent, all of them at the device's present time.
func (d *Device) Receive(p []byte) {
	for {
		frame, rest, ok := d.framer.Next(p)
		d.status.CommandsBroken = uint16(d.framer.Broken().Total())
		if !ok {
			return
		}
		p = rest
		d.heard, d.spoken, d.hushed = d.now, true, 0
		if frame.Type != TypeAlive || len(frame.Payload) > 0 {
			d.command(frame)
		}
	}
}

// command carries out a command and answers it.
func (d *Device) command(f Frame) {
	m, err := ParseCommand(f.Type, f.Payload)
	if err != nil {
		why := reason(err)
		if errors.Is(err, ErrUnknownType) {
			why = ReasonUnknown
		}
		d.refuse(f, why)
		return
	}
	switch m := m.(type) {
	case AskHello:
		d.greets = true
		d.emit(TypeHello, d.config.Hello.Append(d.payload[:0]))
	case AskSync:
		d.emit(TypeSync, Sync{f.Seq, d.shown(d.now), m.Token}.Append(d.payload[:0]))
	case AskStatus:
		d.emit(TypeStatus, d.Status().Append(d.payload[:0]))
	case AskMark:
		d.emit(TypeMark, Mark{m.ID, d.shown(d.now)}.Append(d.payload[:0]))
	default:
		at, why := d.carryOut(m)
		if why != 0 {
			d.refuse(f, why)
			return
		}
		d.emit(TypeDone, Done{f.Seq, f.Type, d.shown(at)}.Append(d.payload[:0]))
	}
}

func (d *Device) refuse(f Frame, why Reason) {
	d.status.Refused++
	d.emit(TypeRefused, Refused{f.Seq, f.Type, why}.Append(d.payload[:0]))
}

// Status is what the device counts.
func (d *Device) Status() Status {
	s := d.status
	s.Tick = d.shown(d.now)
	s.UptimeMs = uint32((d.now - d.zero) / int64(d.config.Hello.Clock/1000))
	return s
}

// carryOut carries out a command that is answered by a DONE, with the tick for it.
func (d *Device) carryOut(m Message) (at int64, why Reason) {
	switch m := m.(type) {
	case Stop:
		d.stop()
		return d.now, 0
	case Safe:
		d.safe()
		return d.now, 0
	case Start:
		if !d.greets {
			return 0, ReasonOrder
		}
		if !d.begin(m) {
			return 0, ReasonRange
		}
		return d.now, 0
	case Supply:
		return d.now, d.supplyCommand(m)
	case Short:
		return d.now, d.shortCommand(m)
	case *Load:
		return d.loadCommand(m)
	case Reflex:
		return d.now, d.reflexCommand(m)
	}
	return 0, ReasonUnknown
}

func (d *Device) safe() {
	for i := range d.tracks {
		d.switchShort(&d.tracks[i], false)
		d.loadOff(&d.tracks[i])
	}
	d.clearRules()
	d.switchSupply(true)
}

// fitted returns the track if the device has it and the feature on it, else why not.
func (d *Device) fitted(track uint8, f Features) (*deviceTrack, Reason) {
	if !d.greets {
		return nil, ReasonOrder
	}
	for i := range d.tracks {
		t := &d.tracks[i]
		if t.ID == track && d.config.Hello.Has(f) && (f&HasShort == 0 || t.ShortMilliohms > 0) && (f&HasLoad == 0 || t.LoadTop > 0) {
			return t, 0
		}
	}
	return nil, ReasonNotFitted
}

func (d *Device) supplyCommand(m Supply) Reason {
	switch {
	case !d.greets:
		return ReasonOrder
	case !d.config.Hello.Has(HasSupply):
		return ReasonNotFitted
	}
	d.switchSupply(m.On)
	return 0
}

func (d *Device) shortCommand(m Short) Reason {
	t, why := d.fitted(m.Track, HasShort)
	switch {
	case why != 0:
		return why
	case m.On && m.MostMs > t.ShortMostMs:
		return ReasonRange
	}
	d.switchShort(t, m.On)
	if m.On {
		t.opens = d.now + int64(m.MostMs)*int64(d.config.Hello.Clock/1000)
	}
	return 0
}

func (d *Device) loadCommand(m *Load) (at int64, why Reason) {
	t, why := d.fitted(m.Track, HasLoad)
	if why != 0 {
		return 0, why
	}
	for _, s := range m.Steps[:m.Count] {
		if s.Level > t.LoadTop {
			return 0, ReasonRange
		}
	}
	at, ok := d.enqueueLoad(t, m)
	if !ok {
		return 0, ReasonBusy
	}
	return at, 0
}

func (d *Device) reflexCommand(m Reflex) Reason {
	t, why := d.fitted(m.Track, HasReflex|HasLoad)
	switch {
	case why != 0:
		return why
	case int(m.Rule) >= len(d.rules) || m.Length > 0 && m.Level > t.LoadTop:
		return ReasonRange
	}
	d.rules[m.Rule] = reflexRule{Reflex: m}
	return 0
}
