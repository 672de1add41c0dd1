package fakedecoder

import (
	"time"

	"periph.io/x/conn/v3/physic"
)

// A Forecast is the demand of a decoder in the time to come, as far as no further edge and no further pulse alters it. It is
// for whoever has to lay the demand before it is due. The zero value is ready for Decoder.Forecast, and may be used again.
type Forecast struct {
	decoder Decoder
	pulses  []pulse
}

// Forecast makes f what the decoder will demand. The decoder itself stays where it is.
func (d *Decoder) Forecast(f *Forecast) {
	f.pulses = append(f.pulses[:0], d.pulses...)
	f.decoder = *d
	f.decoder.pulses = f.pulses
}

// Current is the current demanded at t, as Decoder.Current has it. Times never go back.
func (f *Forecast) Current(t time.Duration) physic.ElectricCurrent { return f.decoder.Current(t) }

// NextChange is the next instant after t at which the demand jumps or bends, as Decoder.NextChange has it.
func (f *Forecast) NextChange(t time.Duration) (time.Duration, bool) { return f.decoder.NextChange(t) }

// Takes reports whether the decoder would store the value in the CV, were it written now.
func (d *Decoder) Takes(cv int, value byte) bool {
	return cv >= 1 && cv <= lastCV && d.cvs.writable(cv, value)
}

// Readable reports whether the decoder answers a verify of the CV at all.
func (d *Decoder) Readable(cv int) bool { return cv >= 1 && cv <= lastCV && d.cvs.readable(cv) }
