package examination

import (
	"errors"

	"bufferstop/fakedecoder"
	"bufferstop/harness"
	"bufferstop/harness/station"
)

// The accesses to a CV, in direct mode where no method is named. The rig is told of each before the station is: where a fake decoder cannot answer
// fast enough over the link to the probe, the probe answers in its stead, if it knows what.

// PrepareToRead does what there is to do beforehand, for those who measure how long a read takes.
func (x *Check) PrepareToRead(cv int) { x.anticipate(harness.Access{CV: cv}) }

// AskToRead asks the station for the value of a CV.
func (x *Check) AskToRead(cv int) (byte, error) { return x.AskToReadBy(station.Direct, cv) }

// AskToReadBy asks the station for the value of a CV by a method.
func (x *Check) AskToReadBy(m station.Method, cv int) (byte, error) {
	x.anticipate(harness.Access{Method: m, CV: cv})
	return x.Station.ReadCV(x.ctx, cv, m)
}

// AskToWrite asks the station to write a CV.
func (x *Check) AskToWrite(cv int, value byte) error {
	return x.AskToWriteBy(station.Direct, cv, value)
}

// AskToWriteBy asks the station to write a CV by a method.
func (x *Check) AskToWriteBy(m station.Method, cv int, value byte) error {
	x.anticipate(harness.Access{Method: m, CV: cv, Write: true, Value: value})
	return x.Station.WriteCV(x.ctx, cv, value, m)
}

// AskToVerify asks the station whether a CV has a value.
func (x *Check) AskToVerify(cv int, value byte) (same bool, err error) {
	return x.AskToVerifyBy(station.Direct, cv, value)
}

// AskToVerifyBy asks the station by a method whether a CV has a value.
func (x *Check) AskToVerifyBy(m station.Method, cv int, value byte) (same bool, err error) {
	x.anticipate(harness.Access{Method: m, CV: cv})
	return x.Station.VerifyCV(x.ctx, cv, value, m)
}

// VerifyOrReadBy asks the station by a method whether a CV has a value; one that has no command to verify has to read it. A read by any
// method but the direct one asks for each value in turn, so what the CV holds had better be small.
func (x *Check) VerifyOrReadBy(m station.Method, cv int, value byte) (same bool, err error) {
	same, err = x.AskToVerifyBy(m, cv, value)
	if !errors.Is(err, station.ErrNotSupported) {
		return same, err
	}
	got, err := x.AskToReadBy(m, cv)
	return got == value, err
}

// AskToWriteBit asks the station to write one bit of a CV.
func (x *Check) AskToWriteBit(cv, bit int, on bool) error {
	a := harness.Access{CV: cv, WriteBit: true, Bit: bit}
	if on {
		a.Value = 1
	}
	x.anticipate(a)
	return x.Station.WriteBit(x.ctx, cv, bit, on)
}

// anticipate tells the rig of an access to the decoder that the check has fitted, if it has one and the rig wants to know.
func (x *Check) anticipate(a harness.Access) {
	track, wants := x.Rig.Track(station.Programming).(harness.Anticipator)
	if a.Decoder = x.fitted; wants && a.Decoder != nil {
		x.Fitted("prepare the probe for an access to a CV", track.Anticipate(x.ctx, a))
	}
}

// fit notes the decoder that a check has fitted.
func (x *Check) fit(d *fakedecoder.Decoder) *fakedecoder.Decoder {
	x.fitted = d
	return d
}
