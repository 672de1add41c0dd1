package fakedecoder

import (
	"time"

	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"

	"periph.io/x/conn/v3/physic"
)

// A Decoder is a mobile decoder laid across the rails. It knows only the edges that it is given. It is used by one
// goroutine at a time, and time never goes back in any of its calls.
type Decoder struct {
	config   Config
	receiver *signal.Receiver
	level    signal.Level
	now      time.Duration

	cvs      cvStore
	match    addresses
	mode     mode
	service  service
	main     mainAccess
	motion   motion
	active   functions
	power    power
	steady   physic.ElectricCurrent // quiescent, motor and outputs
	pulses   []pulse
	given    acknowledges
	counters Counters
}

// Counters tell what a decoder has heard and done since it was built.
type Counters struct {
	Heard        int64 // valid packets, idle and other decoders' included
	Addressed    int64 // of these, operations-mode packets to this decoder: its address, its consist, or all
	Service      int64 // of these, service-mode packets heard in service mode
	Bad          int64 // packets with a wrong error byte or an impossible length
	Unusable     int64 // stretches of signal that could not be read
	Acknowledges int64 // acknowledge pulses given
	Dropped      int64 // acknowledge pulses due that Acknowledge.Dropout left out
	PowerUps     int64 // starts from the power-up state
}

// New builds a decoder that lies on a track without voltage. The error is a *ConfigError, or comes from the address.
func New(c Config) (*Decoder, error) {
	if err := c.check(); err != nil {
		return nil, err
	}
	d := &Decoder{config: c, pulses: make([]pulse, 0, 8)}
	if err := d.cvs.load(&c); err != nil {
		return nil, err
	}
	d.power.deficit = 1
	d.service.page = 1
	d.motion.direction = dcc.Forward
	d.readdress()
	d.draw()
	reading := signal.DecoderReading()
	if c.Preamble != 0 {
		reading.Preamble = c.Preamble
	}
	d.receiver = signal.NewReceiver(reading, (*ear)(d))
	return d, nil
}

// Edge tells the decoder that the track has changed. An edge from off to a polarity gives it power.
func (d *Decoder) Edge(e signal.Edge) {
	d.now = e.Time
	if e.Level == signal.Off || d.level == signal.Off {
		d.switchPower(e)
	}
	d.level = e.Level
	if !d.config.Deaf {
		d.receiver.Edge(e)
	}
}

// ear is the decoder as its receiver sees it.
type ear Decoder

// Packet takes a packet that the receiver has read.
func (r *ear) Packet(p *signal.Packet) {
	d := (*Decoder)(r)
	if p.Fault != signal.None {
		d.counters.Bad++
		return
	}
	d.counters.Heard++
	d.hear(p.Bytes, p.End)
}

// Unusable takes a stretch that the receiver could not read. S-9.2 C (July 2004): the next valid preamble starts afresh.
// A track without voltage is no fault of the signal.
func (r *ear) Unusable(u signal.Unusable) {
	if u.Reason != signal.ReasonOff {
		r.counters.Unusable++
	}
}

// Name is the configured name.
func (d *Decoder) Name() string { return d.config.Name }

// Address is the address to which the decoder answers now: the long one while CV29 bit 5 is set, else the short one.
// dcc.Broadcast when CV1 is 0, which turns the digital operation off (S-9.2.2, July 2012, CV1).
func (d *Decoder) Address() dcc.Address { return d.match.own }

// Speed is the speed step that the locomotive was last told, 0 for stop, of as many as Steps says. Momentum (CV3, CV4)
// is not modelled.
func (d *Decoder) Speed() int { return d.motion.step }

// Steps is the number of speed steps of the last speed instruction: 14 while CV29 bit 1 is clear, else 28 or 128 (which
// has 126 steps; S-9.2.1 C, July 2012). Zero before the first.
func (d *Decoder) Steps() dcc.Steps { return d.motion.steps }

// Direction is the direction that the locomotive was last told. In a consist it is its own, not the consist's. CV29 bit
// 0 (which way the motor is wired) does not alter it.
func (d *Decoder) Direction() dcc.Direction { return d.motion.direction }

// EmergencyStopped reports whether the last speed instruction was an emergency stop.
func (d *Decoder) EmergencyStopped() bool { return d.motion.emergency }

// Function reports whether function n, 0..68, is on. Other numbers are never on.
func (d *Decoder) Function(n int) bool { return d.active.on(n) }

// CV is the value that the CV, 1..1024, has in memory; 0 outside. A write that is still being stored does not show yet.
func (d *Decoder) CV(cv int) byte {
	d.settle(d.now)
	if cv < 1 || cv > lastCV {
		return 0
	}
	return d.cvs.read(cv)
}

// ServiceMode reports whether the decoder is in service mode at the last time that it was told.
func (d *Decoder) ServiceMode() bool {
	return d.mode == serviceMode && d.now-d.service.last <= serviceTimeout
}

// Powered reports whether the track has voltage.
func (d *Decoder) Powered() bool { return d.level != signal.Off }

// Counters returns what was counted so far.
func (d *Decoder) Counters() Counters { return d.counters }
