package probe

import (
	"time"

	"bufferstop/harness/current"
	"bufferstop/harness/signal"
)

// unknown is the level of a track of which nothing is known.
const unknown Code = 4

// A delivery makes of stretches what a Sink takes. It allocates nothing once its slices have grown.
//
// A comparator that tells off does so late, by the off delay of the track, and what the other comparator saw meanwhile is
// the noise of a track without voltage. So the last edges are held back for as long as an off that is still to come
// could do away with them.
type delivery struct {
	epoch    *epoch
	begun    bool  // a stretch of this epoch has come
	next     int64 // tick at which the next stretch should begin
	held     int64 // the longest off delay: what happened later than so long before the end is held back
	complete time.Duration
	tracks   []trackDelivery
	stretch  Stretch

	edges []signal.Edge // what is handed out, for reuse

	losses      uint64
	lostTime    time.Duration
	samplesLost uint64
}

// A trackDelivery is that of one track.
type trackDelivery struct {
	id       int
	offDelay int64
	level    Code // as the probe saw it last
	edges    []heldEdge
	told     Code // the level that the sink knows, or unknown
	samples  []current.Sample
	zero     float64 // counts
	nanoamps float64 // per count
	lostTo   time.Duration
	unseen   bool // the track is not looked at, since from
	from     time.Duration
}

type heldEdge struct {
	tick int64
	code Code
}

// begin begins an epoch.
func (d *delivery) begin(e *epoch, h *Hello) {
	d.epoch, d.begun, d.next, d.held = e, false, 0, 0
	if len(d.tracks) != len(h.Tracks) {
		d.tracks = make([]trackDelivery, len(h.Tracks))
	}
	for i, t := range h.Tracks {
		td := &d.tracks[i]
		*td = trackDelivery{id: int(t.ID), offDelay: int64(t.OffDelay), level: unknown, told: unknown,
			edges: td.edges[:0], samples: td.samples[:0], lostTo: td.lostTo, unseen: td.unseen, from: td.from,
			zero: float64(t.SenseZero), nanoamps: 1e3 * float64(t.SenseMicroamps)}
		if c := e.Corrections[t.ID]; c.Gain != 0 {
			td.zero, td.nanoamps = c.Zero, td.nanoamps*c.Gain
		}
		d.held = max(d.held, td.offDelay)
	}
}

// frame takes the payload of a frame that is a stretch or an occurrence. The error is a *MessageError.
func (d *delivery) frame(t Type, payload []byte, s Sink) error {
	if t == TypeEvent {
		o, err := parseOccurrence(payload)
		if err == nil {
			s.Event(Event{d.epoch.time(d.epoch.unwrapped(o.Tick, d.next)), o.What, int(o.Track), int(o.Detail)})
		}
		return err
	}
	if err := d.stretch.Parse(payload, len(d.tracks)); err != nil {
		return err
	}
	d.take(s)
	return nil
}

// take takes the stretch that was parsed.
func (d *delivery) take(s Sink) {
	st := &d.stretch
	start := d.epoch.unwrapped(st.Start, d.next)
	if d.begun && start < d.next {
		return // the gate lets none through that goes back
	}
	gap := !d.begun || start > d.next
	d.begun = true
	end := start + int64(st.Length)
	d.next = end
	for i := range d.tracks {
		td := &d.tracks[i]
		switch {
		case st.Flags>>td.id&1 != 0 && !td.unseen:
			d.lose(td, d.epoch.time(end), s)
			continue
		case gap && !td.unseen:
			d.lose(td, d.epoch.time(start), s)
		}
		d.track(td, st, i, start, s)
	}
	d.sample(start)
	final := end - d.held
	until := max(d.epoch.time(final), d.complete)
	for i := range d.tracks {
		d.hand(&d.tracks[i], final, until, s)
	}
	d.complete = until
	s.Complete(until)
}

// lose throws away what is held back of a track, and tells that nothing is known of it until to.
func (d *delivery) lose(td *trackDelivery, to time.Duration, s Sink) {
	td.edges = td.edges[:0]
	td.level, td.told = unknown, unknown
	from := max(d.complete, td.lostTo)
	if to <= from {
		return
	}
	td.lostTo = to
	d.losses++
	d.lostTime += to - from
	s.Lost(td.id, from, to)
}

// track takes the items of one track.
func (d *delivery) track(td *trackDelivery, st *Stretch, index int, start int64, s Sink) {
	level := st.Level(uint8(td.id))
	if level == CodeNone {
		if !td.unseen { // told as one stretch when it is over: a probe may never look at a track
			td.unseen, td.from = true, max(d.complete, td.lostTo)
			td.edges, td.level, td.told = td.edges[:0], unknown, unknown
		}
		return
	}
	if td.unseen {
		td.unseen = false
		if to := d.epoch.time(start); to > td.from {
			td.lostTo = to
			s.Lost(td.id, td.from, to)
		}
	}
	if td.level != unknown && td.level != level {
		d.lose(td, d.epoch.time(start), s) // an edge between two stretches is missing
	}
	if td.level == unknown {
		td.level = level
		td.put(start, level)
	}
	at := start
	for _, item := range st.Items[index] {
		at += int64(item.Delta())
		code := item.Code()
		if code == CodeNone || code == td.level {
			continue
		}
		td.level = code
		if code == CodeOff {
			d.off(td, at)
			continue
		}
		td.put(at, code)
	}
}

// put adds an edge. Of two at one tick only the second shows: between them was no time.
func (td *trackDelivery) put(at int64, code Code) {
	if n := len(td.edges); n > 0 && td.edges[n-1].tick == at {
		td.edges[n-1].code = code
		return
	}
	td.edges = append(td.edges, heldEdge{at, code})
}

// off takes a change to off that the probe saw at a tick.
func (d *delivery) off(td *trackDelivery, at int64) {
	since := at - td.offDelay
	for n := len(td.edges); n > 0 && td.edges[n-1].tick > since; n = len(td.edges) {
		// An edge that tells the level at the beginning is still needed to tell one.
		if td.told == unknown && n == 1 {
			td.edges[0].code = CodeOff
			return
		}
		td.edges = td.edges[:n-1]
	}
	td.put(since, CodeOff)
}

// sample takes the samples of the stretch.
func (d *delivery) sample(start int64) {
	st := &d.stretch
	if st.Flags&LostSamples != 0 {
		d.samplesLost++
		return // the times of those that are left are not known: they stand at equal distances
	}
	channel := int(st.First)
	at := start + int64(st.Offset)
	for _, v := range st.Values {
		td := &d.tracks[channel]
		if td.nanoamps > 0 {
			td.samples = append(td.samples, current.Sample{Time: d.epoch.time(at), Current: td.current(v)})
		}
		at += int64(st.Spacing)
		if channel++; channel == len(d.tracks) {
			channel = 0
		}
	}
}

// hand hands out what is no longer held back.
func (d *delivery) hand(td *trackDelivery, final int64, until time.Duration, s Sink) {
	n := 0
	d.edges = d.edges[:0]
	for n < len(td.edges) && td.edges[n].tick < final {
		if e := td.edges[n]; e.code != td.told {
			td.told = e.code
			d.edges = append(d.edges, signal.Edge{Time: d.epoch.time(e.tick), Level: e.code.level()})
		}
		n++
	}
	td.edges = td.edges[:copy(td.edges, td.edges[n:])]
	if len(d.edges) > 0 {
		s.Edges(td.id, d.edges)
	}
	n = 0
	for n < len(td.samples) && td.samples[n].Time < until {
		n++
	}
	if n > 0 {
		s.Samples(td.id, td.samples[:n])
		td.samples = td.samples[:copy(td.samples, td.samples[n:])]
	}
}
