package probe

import (
	"math"
	"math/bits"
	"time"

	"bufferstop/harness/signal"

	"periph.io/x/conn/v3/physic"
)

// The times of a probe that README.md fixes. All are our own choice, but that the short opens within 100 ms of the host's
// silence is what the bench promises.
const (
	silence     = 100 * time.Millisecond // after that, shorts open and loads go off
	longSilence = time.Second            // after that, the stream ends
	defaultRoom = 1 << 20
)

// A DeviceConfig says what probe a Device is, and what hangs on it. The callbacks may be nil. They are called while the
// device works and must not call it.
type DeviceConfig struct {
	Hello Hello
	// FirstTick is what the clock shows at time zero, and PPM by how many millionths it is fast.
	FirstTick uint32
	PPM       float64
	// Current is what flows in a track, by its id.
	Current func(track int, t time.Duration) physic.ElectricCurrent
	// OnLoad, OnShort and OnSupply are told what the probe's outputs do.
	OnLoad   func(track int, level uint16, t time.Duration)
	OnShort  func(track int, on bool, t time.Duration)
	OnSupply func(on bool, t time.Duration)
	// Room is how many bytes can wait to be sent, in whole frames; what finds none is dropped. Zero is 1 MiB.
	Room int
	// ResetCause is what the Status tells.
	ResetCause uint8
}

// A Device is a probe in virtual time: its clock moves when it is told to. It does all that the protocol says. It is what
// firmware is compared with, and the far end of a client in tests. It is used by one goroutine at a time.
type Device struct {
	config DeviceConfig
	hz     uint64 // that the clock really has
	now    int64  // ticks since time zero
	zero   int64  // tick of the newest reset
	first  uint32 // what the clock showed then
	greets bool   // a HELLO has come since

	tracks []deviceTrack
	supply bool
	rules  []reflexRule

	framer Framer
	heard  int64 // tick of the newest valid frame, or before
	spoken bool  // one has come
	hushed int   // how much of the silence has been seen to: 1 after the short one, 2 after the long one

	stream  deviceStream
	seq     uint8
	out     []byte
	spare   []byte
	payload [MaxPayload]byte
	status  Status
}

// A deviceTrack is one track of a device.
type deviceTrack struct {
	TrackHello
	level Code  // as its comparators tell it
	offAt int64 // tick at which they will tell off, or none
	load  deviceLoad
	short bool
	opens int64 // tick at which the short opens by itself
	ear   recogniser
}

// none is a tick that never comes.
const none = math.MaxInt64

// NewDevice makes a probe that has just been reset, at time zero. Its tracks are off.
func NewDevice(c DeviceConfig) *Device {
	d := &Device{config: c, first: c.FirstTick, supply: true}
	d.hz = uint64(math.Round(float64(c.Hello.Clock) * (1 + c.PPM*1e-6)))
	if d.config.Room == 0 {
		d.config.Room = defaultRoom
	}
	d.config.Hello.Version = Version
	for _, t := range c.Hello.Tracks {
		d.tracks = append(d.tracks, deviceTrack{TrackHello: t, offAt: none, load: d.newLoad(t), opens: none, ear: newRecogniser(d.hz)})
	}
	d.rules = make([]reflexRule, c.Hello.ReflexRules)
	d.stream.level = [MaxTracks]Code{CodeNone, CodeNone}
	d.status.ResetCause = c.ResetCause
	return d
}

// tickAt is the last tick at or before a time; timeOf is the first time at which a tick has come.
func (d *Device) tickAt(t time.Duration) int64 {
	hi, lo := bits.Mul64(uint64(t), d.hz)
	q, _ := bits.Div64(hi, lo, 1e9)
	return int64(q)
}

func (d *Device) timeOf(tick int64) time.Duration {
	hi, lo := bits.Mul64(uint64(tick), 1e9)
	q, r := bits.Div64(hi, lo, d.hz)
	if r > 0 {
		q++
	}
	return time.Duration(q)
}

// span is how many ticks a time takes by the clock that the Hello states: the device knows no other.
func (d *Device) span(t time.Duration) int64 {
	return int64(t) * int64(d.config.Hello.Clock/1000) / 1e6
}

// shown is what the clock shows at a tick.
func (d *Device) shown(tick int64) uint32 { return d.first + uint32(tick-d.zero) }

// Now is the time of the device.
func (d *Device) Now() time.Duration { return d.timeOf(d.now) }

// Tick is what its clock shows at a time.
func (d *Device) Tick(t time.Duration) uint32 { return d.shown(d.tickAt(t)) }

// Next is the next time at which the device does something by itself.
func (d *Device) Next() (t time.Duration, ok bool) {
	tick := d.due()
	if tick == none {
		return 0, false
	}
	return d.timeOf(tick), true
}

// due is the tick of that.
func (d *Device) due() int64 {
	tick := d.stream.due()
	for i := range d.tracks {
		t := &d.tracks[i]
		tick = min(tick, t.offAt, t.opens, t.load.due(t.LoadContinuous))
	}
	if d.spoken && d.hushed < 2 {
		tick = min(tick, d.heard+d.span([...]time.Duration{silence, longSilence}[d.hushed]))
	}
	return tick
}

// Advance lets the time come to t. A time that is past changes nothing.
func (d *Device) Advance(t time.Duration) { d.advance(d.tickAt(t)) }

func (d *Device) advance(to int64) {
	for {
		tick := d.due()
		if tick > to {
			break
		}
		d.now = max(d.now, tick)
		d.work()
	}
	d.now = max(d.now, to)
}

// work does what is due now. What happens at the end of a stretch belongs to the next one.
func (d *Device) work() {
	d.endStretch()
	for i := range d.tracks {
		t := &d.tracks[i]
		if t.offAt <= d.now {
			t.offAt = none
			d.edge(i, CodeOff)
		}
		if t.opens <= d.now {
			d.switchShort(t, false)
			d.status.OpenedByItself++
			d.event(d.now, ShortOpenedTime, t.ID, 0)
		}
		d.workLoad(t)
	}
	d.sample()
	d.hush()
}

// Edge tells the device that the voltage of a track goes to a level at t, which is not before any time told earlier.
func (d *Device) Edge(track int, t time.Duration, level signal.Level) {
	d.Advance(t)
	for i := range d.tracks {
		if tr := &d.tracks[i]; int(tr.ID) == track {
			d.voltage(i, CodeOf(level))
		}
	}
}

// voltage is what the comparators make of it: that there is none they tell late, and not at all if it comes back before.
func (d *Device) voltage(index int, code Code) {
	t := &d.tracks[index]
	if code == CodeOff {
		if d.config.Hello.Has(SeesOff) && t.level != CodeOff && t.offAt == none {
			t.offAt = d.now + int64(t.OffDelay)
			if t.OffDelay == 0 {
				t.offAt = none
				d.edge(index, CodeOff)
			}
		}
		return
	}
	t.offAt = none
	if code != t.level {
		d.edge(index, code)
	}
}

// edge takes what the comparators tell.
func (d *Device) edge(index int, code Code) {
	t := &d.tracks[index]
	d.streamEdge(index, code)
	t.level = code
	if packet := t.ear.edge(d.now, code); packet != nil {
		d.packet(t, packet)
	}
}

// hush does what the silence of the host asks for.
func (d *Device) hush() {
	if !d.spoken {
		return
	}
	if d.hushed == 0 && d.now-d.heard >= d.span(silence) {
		d.hushed = 1
		for i := range d.tracks {
			t := &d.tracks[i]
			if t.short {
				d.switchShort(t, false)
				d.status.OpenedByItself++
				d.event(d.now, ShortOpenedSilent, t.ID, 0)
			}
			if !t.load.idle() {
				d.loadOff(t)
				d.event(d.now, LoadOffSilent, t.ID, 0)
			}
		}
		if d.clearRules() {
			d.event(d.now, ReflexesOffSilent, 0, 0)
		}
	}
	if d.hushed == 1 && d.now-d.heard >= d.span(longSilence) {
		d.hushed = 2
		d.stop()
		d.switchSupply(true)
	}
}

// Reset is what a watchdog or a missing supply does: all is as at the start, and the clock begins anew at tick.
func (d *Device) Reset(t time.Duration, tick uint32) {
	d.Advance(t)
	for i := range d.tracks {
		d.switchShort(&d.tracks[i], false)
		d.loadOff(&d.tracks[i])
		d.tracks[i].load = d.newLoad(d.tracks[i].TrackHello)
	}
	d.switchSupply(true)
	d.clearRules()
	d.zero, d.first = d.now, tick
	d.greets, d.spoken, d.hushed, d.seq = false, false, 0, 0
	d.stream = deviceStream{level: [MaxTracks]Code{CodeNone, CodeNone}}
	d.framer = Framer{}
	d.out = d.out[:0]
	d.status = Status{ResetCause: d.config.ResetCause}
}

// Sent gives the bytes that the device has sent since the last call. They are valid until the next.
func (d *Device) Sent() []byte {
	sent := d.out
	d.out, d.spare = d.spare[:0], sent
	return sent
}

// Waiting is how many bytes Sent would give.
func (d *Device) Waiting() int { return len(d.out) }

// emit sends a frame, if there is room for it. One that is dropped has had its sequence number.
func (d *Device) emit(t Type, payload []byte) {
	seq := d.seq
	d.seq++
	if len(d.out)+len(payload)+frameOverhead+2 > d.config.Room {
		d.status.FramesDropped++
		return
	}
	d.out = AppendFrame(d.out, t, seq, payload)
}

func (d *Device) event(tick int64, what What, track, detail uint8) {
	d.emit(TypeEvent, Occurrence{d.shown(tick), what, track, detail}.Append(d.payload[:0]))
}

func (d *Device) switchShort(t *deviceTrack, on bool) {
	t.opens = none
	if t.short == on {
		return
	}
	t.short = on
	if d.config.OnShort != nil {
		d.config.OnShort(int(t.ID), on, d.Now())
	}
}

func (d *Device) switchSupply(on bool) {
	if d.supply == on {
		return
	}
	d.supply = on
	if d.config.OnSupply != nil {
		d.config.OnSupply(on, d.Now())
	}
}
