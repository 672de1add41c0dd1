package probe

import (
	"math"
)

// A deviceStream is the STRETCH frames of a device.
type deviceStream struct {
	started bool
	length  int64 // of a stretch
	spacing int64 // of samples, 0: none
	start   int64 // of the stretch under way
	level   [MaxTracks]Code
	item    [MaxTracks]int64 // tick of the newest item, by index
	next    int64            // tick of the next sample
	cut     int64            // tick at which the stretch ends early because its frame is full, or none
	channel uint8
	stretch Stretch
}

// due is the tick at which the stretch ends or a sample is taken.
func (s *deviceStream) due() int64 {
	switch {
	case !s.started:
		return none
	case s.spacing == 0:
		return s.end()
	}
	return min(s.end(), s.next)
}

// end is the tick at which the stretch under way ends.
func (s *deviceStream) end() int64 { return min(s.start+s.length, s.cut) }

// spareBytes is what is left of a frame when its stretch is ended early: at that tick, the other track may still have an
// edge with what goes before it, and a sample may be taken. What happens at a tick is not parted.
const spareBytes = 32

// filled looks whether the frame is full.
func (s *deviceStream) filled(now int64) {
	if s.stretch.PayloadBytes() > MaxPayload-spareBytes {
		s.cut = min(s.cut, now+1)
	}
}

// begin begins the stream, or begins it anew with other settings. It is false when they are beyond the device.
func (d *Device) begin(m Start) bool {
	ticksPerMilli := int64(d.config.Hello.Clock / 1000)
	length := int64(m.StretchMicros) * ticksPerMilli / 1000
	if length > math.MaxUint16 {
		return false
	}
	d.stop()
	s := &d.stream
	s.started, s.length, s.spacing = true, length, 0
	if m.SampleMicros > 0 && d.config.Hello.Has(SeesCurrent) {
		s.spacing = int64(m.SampleMicros) * ticksPerMilli / 1000 / int64(len(d.tracks))
		s.next, s.channel = d.now+s.spacing, 0
	}
	d.beginStretch()
	return true
}

// stop ends the stream with what there is of a stretch.
func (d *Device) stop() {
	if d.stream.started && d.now > d.stream.start {
		d.sendStretch()
	}
	d.stream.started = false
}

// beginStretch begins a stretch now.
func (d *Device) beginStretch() {
	s := &d.stream
	s.start, s.cut = d.now, none
	s.stretch.Flags = 0
	s.stretch.Values = s.stretch.Values[:0]
	s.stretch.Spacing = uint16(min(s.spacing, math.MaxUint16)) // with one sample alone it says nothing
	s.stretch.tracks = len(d.tracks)
	for i := range d.tracks {
		s.level[d.tracks[i].ID] = d.tracks[i].level
		s.item[i] = d.now
		s.stretch.Items[i] = s.stretch.Items[i][:0]
	}
}

// endStretch ends the stretch under way if its time is over.
func (d *Device) endStretch() {
	if d.stream.started && d.now >= d.stream.end() {
		d.sendStretch()
		d.beginStretch()
	}
}

// sendStretch sends the stretch up to now. What happens now is not in it.
func (d *Device) sendStretch() {
	s := &d.stream
	for i := range d.tracks {
		for n := len(s.stretch.Items[i]); n > 0 && s.item[i] == d.now && s.stretch.Items[i][n-1].Code() != CodeNone; n-- {
			s.item[i] -= int64(s.stretch.Items[i][n-1].Delta())
			s.stretch.Items[i] = s.stretch.Items[i][:n-1]
		}
	}
	if n := len(s.stretch.Values); n > 0 && s.start+int64(s.stretch.Offset)+int64(n-1)*s.spacing >= d.now {
		s.stretch.Values = s.stretch.Values[:n-1]
	}
	s.stretch.Start, s.stretch.Length = d.shown(s.start), uint16(d.now-s.start)
	s.stretch.Levels = uint8(s.level[0] | s.level[1]<<2)
	d.emit(TypeStretch, s.stretch.Append(d.payload[:0]))
}

// streamEdge puts an edge into the stretch.
func (d *Device) streamEdge(index int, code Code) {
	s := &d.stream
	if !s.started {
		return
	}
	if s.stretch.PayloadBytes()+2*int((d.now-s.item[index])/MaxDelta+1) > MaxPayload {
		// More edges at one tick than any frame holds.
		d.status.EdgesLost++
		s.stretch.Flags |= 1 << d.tracks[index].ID
		return
	}
	delta := d.now - s.item[index]
	for ; delta > MaxDelta; delta -= MaxDelta {
		s.stretch.Items[index] = append(s.stretch.Items[index], MakeItem(CodeNone, MaxDelta))
	}
	s.stretch.Items[index] = append(s.stretch.Items[index], MakeItem(code, uint16(delta)))
	s.item[index] = d.now
	s.filled(d.now)
}

// sample takes the sample that is due.
func (d *Device) sample() {
	s := &d.stream
	if !s.started || s.spacing == 0 || s.next > d.now {
		return
	}
	if len(s.stretch.Values) == 0 {
		s.stretch.Offset, s.stretch.First = uint16(d.now-s.start), s.channel
	}
	s.stretch.Values = append(s.stretch.Values, d.convert(&d.tracks[s.channel]))
	s.filled(d.now)
	s.next += s.spacing
	if s.channel++; int(s.channel) == len(d.tracks) {
		s.channel = 0
	}
}

// convert is what the converter makes of the current of now.
func (d *Device) convert(t *deviceTrack) uint16 {
	count := float64(t.SenseZero)
	if d.config.Current != nil && t.SenseMicroamps > 0 {
		count += math.Round(float64(d.config.Current(int(t.ID), d.Now())) / (1e3 * float64(t.SenseMicroamps)))
	}
	return uint16(min(max(count, 0), float64(t.SenseFull)))
}
