package fakedecoder

import (
	"fmt"
	"time"

	"bufferstop/harness/dcc"

	"periph.io/x/conn/v3/physic"
)

// A Config says what decoder New builds. The zero value is a decoder with the factory's CVs that draws nothing and never
// acknowledges; Default is an ordinary one.
type Config struct {
	// Name is what reports call the decoder.
	Name string
	// Address is the primary address: CV1, or CV17 and CV18 with CV29 bit 5. Zero (dcc.Broadcast) leaves the address
	// that the CVs give.
	Address dcc.Address
	// CVs are the values that differ from the factory's, by CV number 1..1024. They win over Address. Reset to factory
	// values (CV8=8) forgets them.
	CVs map[int]byte
	// ReadOnly are CVs that cannot be written, beside CV7 and CV8, which never can (S-9.2.2, July 2012, CV7 and CV8).
	ReadOnly []int
	// WriteOnly are CVs that can be written and of which no verify is acknowledged: what a station learns of them, it learns from
	// the acknowledge of the write.
	WriteOnly []int
	// Preamble is how many complete ones the decoder wants before a packet: 10, 11 or 12 (S-9.2 A, July 2004: fewer
	// than 10 must not be accepted, more than 12 must not be required). Zero means 10.
	Preamble int

	// Acknowledge is the pulse that answers service-mode packets.
	Acknowledge Acknowledge
	// Storage is how long writing a CV to non-volatile memory takes. The acknowledge of a write follows it
	// (S-9.2.3 D, July 2012), and the decoder takes no other CV access while it lasts.
	Storage time.Duration

	// Quiescent is what the decoder draws with all outputs off. S-9.2.3 E (July 2012) allows 100 mA.
	Quiescent physic.ElectricCurrent
	// Motor is what the motor draws at full speed; below, in proportion to the speed step.
	Motor physic.ElectricCurrent
	// Output is what each function that is on draws.
	Output physic.ElectricCurrent
	// Inrush is the charging of the decoder's capacitor when the track gets voltage.
	Inrush Inrush
	// Hold is how long the decoder remembers its state (speed, functions, service mode) without track voltage. Also the
	// time in which its capacitor runs empty, so that a shorter interruption starts a smaller inrush.
	Hold time.Duration

	// Lock is what the decoder does while CV15 and CV16 differ.
	Lock LockRule
	// NoDirectMode: direct-mode packets are not understood.
	NoDirectMode bool
	// NoBitMode: bit verify and bit write are not understood, in service mode and on the main.
	NoBitMode bool
	// NoPagedMode: the page register is understood, but nothing answers while it is not 1 (S-9.2.3 E, July 2012).
	NoPagedMode bool
	// NoWriteAcknowledge: writes are stored but not acknowledged; S-9.2.3 E (July 2012) only says that they may be.
	NoWriteAcknowledge bool
	// Deaf: no packet is heard at all.
	Deaf bool

	// Lead is how much later than the decoder says its demand is drawn, by a load that follows it over a slow link. It is
	// taken off Acknowledge.Delay, as far as that goes, and a Pulse begins so much earlier, so that both are on the rails when
	// they should be.
	Lead time.Duration
}

// An Acknowledge is the basic acknowledgement of S-9.2.3 D (July 2012): the decoder's load grows by at least 60 mA for
// 6 ms ± 1 ms. Zero Amplitude means that the decoder never acknowledges.
type Acknowledge struct {
	// Amplitude is the growth of the load, 0..100 A. With Ripple it is the mean.
	Amplitude physic.ElectricCurrent
	// Width is the length of the pulse, rise included. More than zero unless Amplitude is zero.
	Width time.Duration
	// Delay is the time from the end of the end bit of the second packet (for a write: from the end of storage) to the
	// start of the pulse.
	Delay time.Duration
	// Rise is the length of the straight ramp at the start of the pulse. Up to Width.
	Rise time.Duration
	// Ripple is the peak-to-peak size of a triangle on top of the pulse, as the commutator of a motor makes. Up to twice
	// Amplitude. It begins where the ramp ends, at zero and rising.
	Ripple physic.ElectricCurrent
	// RippleFrequency is the frequency of that triangle, up to 250 kHz. Needed with Ripple.
	RippleFrequency physic.Frequency
	// Chop interrupts the pulse.
	Chop Chop
	// Repeat is how many times more, at most, the decoder acts and acknowledges while the same packets keep coming: once for each
	// further pair of them. Zero: one acknowledge for an unbroken run of identical packets.
	Repeat int
	// Dropout, when it is n > 0, makes every nth acknowledge fail to appear.
	Dropout int
}

// A Chop switches an acknowledge pulse on and off as a motor driven by pulse width modulation does. The zero value does not.
type Chop struct {
	// On and Off are the mean lengths of the parts, each at least 1 µs; both zero for no chopping.
	On, Off time.Duration
	// Jitter is the greatest deviation of one part from its mean, less than On and Off.
	Jitter time.Duration
	// Seed picks the deviations.
	Seed uint64
}

// An Inrush is the current into an empty capacitor: Peak at first, falling exponentially with the time constant Tau.
type Inrush struct {
	Peak physic.ElectricCurrent
	Tau  time.Duration
}

// A LockRule says what CVs a locked decoder keeps closed. A decoder is locked while CV15 and CV16 differ; CV15 itself
// always stays open.
type LockRule uint8

// The two readings of the decoder lock.
const (
	// LockWrites: writes are ignored (S-9.2.2, July 2012, CV15 and CV16).
	LockWrites LockRule = iota
	// LockAll: no access at all (RCN-225, as other pages quote it; its text was not seen).
	LockAll
)

// Limits of a Config: greater than any decoder needs, small enough that sums cannot overflow.
const (
	greatestCurrent = 100 * physic.Ampere
	greatestTime    = time.Hour
	shortestPart    = time.Microsecond // of a chopped pulse and of a quarter ripple
)

// A ConfigError says which field of a Config New cannot build, and why.
type ConfigError struct {
	Field string // as in Go, e.g. "Acknowledge.Width"
	Got   string
	Want  string
}

func (e *ConfigError) Error() string {
	return fmt.Sprintf("fake decoder: %s is %s, want %s", e.Field, e.Got, e.Want)
}

// check finds the first field that New cannot build.
func (c *Config) check() error {
	if err := c.Address.Check(); err != nil {
		return fmt.Errorf("fake decoder: Address: %w", err)
	}
	if c.Preamble != 0 && (c.Preamble < 10 || c.Preamble > 12) {
		return &ConfigError{"Preamble", fmt.Sprint(c.Preamble), "10..12, or 0 for 10"}
	}
	if c.Lock > LockAll {
		return &ConfigError{"Lock", fmt.Sprint(c.Lock), "LockWrites or LockAll"}
	}
	for _, cv := range c.ReadOnly {
		if cv < 1 || cv > lastCV {
			return &ConfigError{"ReadOnly", fmt.Sprintf("CV%d", cv), "CV1..CV1024"}
		}
	}
	for _, cv := range c.WriteOnly {
		if cv < 1 || cv > lastCV {
			return &ConfigError{"WriteOnly", fmt.Sprintf("CV%d", cv), "CV1..CV1024"}
		}
	}
	a := &c.Acknowledge
	for _, q := range []struct {
		field string
		value physic.ElectricCurrent
		max   physic.ElectricCurrent
	}{
		{"Acknowledge.Amplitude", a.Amplitude, greatestCurrent},
		{"Acknowledge.Ripple", a.Ripple, 2 * a.Amplitude},
		{"Quiescent", c.Quiescent, greatestCurrent},
		{"Motor", c.Motor, greatestCurrent},
		{"Output", c.Output, greatestCurrent},
		{"Inrush.Peak", c.Inrush.Peak, greatestCurrent},
	} {
		if q.value < 0 || q.value > q.max {
			return &ConfigError{q.field, q.value.String(), fmt.Sprintf("0 A..%v", q.max)}
		}
	}
	for _, d := range []struct {
		field string
		value time.Duration
		max   time.Duration
	}{
		{"Acknowledge.Width", a.Width, greatestTime},
		{"Acknowledge.Delay", a.Delay, greatestTime},
		{"Acknowledge.Rise", a.Rise, a.Width},
		{"Acknowledge.Chop.On", a.Chop.On, greatestTime},
		{"Acknowledge.Chop.Off", a.Chop.Off, greatestTime},
		{"Storage", c.Storage, greatestTime},
		{"Inrush.Tau", c.Inrush.Tau, greatestTime},
		{"Hold", c.Hold, greatestTime},
		{"Lead", c.Lead, greatestTime},
	} {
		if d.value < 0 || d.value > d.max {
			return &ConfigError{d.field, d.value.String(), fmt.Sprintf("0s..%v", d.max)}
		}
	}
	switch {
	case a.Amplitude > 0 && a.Width == 0:
		return &ConfigError{"Acknowledge.Width", "0s", "more than 0s, since the amplitude is not zero"}
	case a.Ripple > 0 && (a.RippleFrequency <= 0 || a.RippleFrequency > 250*physic.KiloHertz):
		return &ConfigError{"Acknowledge.RippleFrequency", a.RippleFrequency.String(), "more than 0 Hz up to 250 kHz"}
	case a.Chop != Chop{} && (a.Chop.On < shortestPart || a.Chop.Off < shortestPart):
		return &ConfigError{"Acknowledge.Chop", fmt.Sprintf("%v on, %v off", a.Chop.On, a.Chop.Off), "at least 1µs each"}
	case a.Chop.Jitter < 0 || a.Chop.Jitter > 0 && a.Chop.Jitter >= min(a.Chop.On, a.Chop.Off):
		return &ConfigError{"Acknowledge.Chop.Jitter", a.Chop.Jitter.String(), "0s up to less than the on and the off time"}
	case a.Repeat < 0:
		return &ConfigError{"Acknowledge.Repeat", fmt.Sprint(a.Repeat), "0 or more"}
	case a.Dropout < 0:
		return &ConfigError{"Acknowledge.Dropout", fmt.Sprint(a.Dropout), "0 or more"}
	case c.Inrush.Peak > 0 && c.Inrush.Tau == 0:
		return &ConfigError{"Inrush.Tau", "0s", "more than 0s, since the peak is not zero"}
	}
	return nil
}
