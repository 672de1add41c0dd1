package station

import (
	"context"

	"bufferstop/harness/dcc"

	"periph.io/x/conn/v3/physic"
)

// Identify asks who the station is.
func (d *Driver) Identify(ctx context.Context) (Identity, error) {
	got, err := d.do(ctx, IdentifyCommand())
	return got.identity, err
}

// Reset puts the station into the state of its start: what that is, is the station's affair.
func (d *Driver) Reset(ctx context.Context) error { return d.done(ctx, ResetCommand()) }

// SetPower switches a track on or off. For a tripped track on also means to try again.
func (d *Driver) SetPower(ctx context.Context, t Track, on bool) error {
	return d.done(ctx, SetPowerCommand(t, on))
}

// Power asks for the state of a track.
func (d *Driver) Power(ctx context.Context, t Track) (PowerState, error) {
	got, err := d.do(ctx, PowerCommand(t))
	return got.power, err
}

// Current asks for the current that the station measures on a track.
func (d *Driver) Current(ctx context.Context, t Track) (physic.ElectricCurrent, error) {
	got, err := d.do(ctx, CurrentCommand(t))
	return got.current, err
}

// SetSpeed sets the speed of a locomotive: step 0 is a stop with the decoder's deceleration, otherwise 1..28 or 1..126.
// Numbers out of range are sent as they are: how a station refuses them is worth knowing.
func (d *Driver) SetSpeed(ctx context.Context, a dcc.Address, s dcc.Steps, direction dcc.Direction, step int) error {
	return d.done(ctx, SetSpeedCommand(a, s, direction, step))
}

// SetFunction switches function n of a locomotive on or off.
func (d *Driver) SetFunction(ctx context.Context, a dcc.Address, n int, on bool) error {
	return d.done(ctx, SetFunctionCommand(a, n, on))
}

// Release ends the control of a locomotive: the station need not refresh it any more.
func (d *Driver) Release(ctx context.Context, a dcc.Address) error {
	return d.done(ctx, ReleaseCommand(a))
}

// Stop is the emergency stop of one locomotive.
func (d *Driver) Stop(ctx context.Context, a dcc.Address) error { return d.done(ctx, StopCommand(a)) }

// StopAll is the emergency stop of all locomotives.
func (d *Driver) StopAll(ctx context.Context) error { return d.done(ctx, StopAllCommand()) }

// SetAccessory activates one output, 0 or 1, of the pair that has the number, as the user counts. Of a turnout, output 0
// usually is diverging and output 1 straight.
func (d *Driver) SetAccessory(ctx context.Context, number, output int) error {
	return d.done(ctx, SetAccessoryCommand(number, output))
}

// SetAspect shows an aspect, 0..255, on the extended accessory that has the number, as the user counts.
func (d *Driver) SetAspect(ctx context.Context, number, aspect int) error {
	return d.done(ctx, SetAspectCommand(number, aspect))
}

// ReadCV reads a CV, 1..1024, on the programming track. No decoder there is ErrNoAcknowledge.
func (d *Driver) ReadCV(ctx context.Context, cv int, m Method) (byte, error) {
	got, err := d.do(ctx, ReadCVCommand(cv, m))
	return got.value, err
}

// WriteCV writes a CV on the programming track.
func (d *Driver) WriteCV(ctx context.Context, cv int, v byte, m Method) error {
	return d.done(ctx, WriteCVCommand(cv, v, m))
}

// VerifyCV reports whether a CV on the programming track has the value.
func (d *Driver) VerifyCV(ctx context.Context, cv int, v byte, m Method) (bool, error) {
	got, err := d.do(ctx, VerifyCVCommand(cv, v, m))
	return got.truth, err
}

// WriteBit writes bit 0..7 of a CV on the programming track.
func (d *Driver) WriteBit(ctx context.Context, cv, bit int, set bool) error {
	return d.done(ctx, WriteBitCommand(cv, bit, set))
}

// WriteOnMain writes a CV of one decoder on the main track. That the packet was sent is all that the station can tell.
func (d *Driver) WriteOnMain(ctx context.Context, a dcc.Address, cv int, v byte) error {
	return d.done(ctx, WriteOnMainCommand(a, cv, v))
}

// WriteBitOnMain writes bit 0..7 of a CV of one decoder on the main track.
func (d *Driver) WriteBitOnMain(ctx context.Context, a dcc.Address, cv, bit int, set bool) error {
	return d.done(ctx, WriteBitOnMainCommand(a, cv, bit, set))
}

// ClearAccessory switches off one output, 0 or 1, of the pair that has the number: the other half of SetAccessory.
func (d *Driver) ClearAccessory(ctx context.Context, number, output int) error {
	return d.done(ctx, ClearAccessoryCommand(number, output))
}

// SetConsist puts a locomotive into the consist with the address 1..127, reversed if it stands in it with its rear ahead.
func (d *Driver) SetConsist(ctx context.Context, a dcc.Address, consist int, reversed bool) error {
	return d.done(ctx, SetConsistCommand(a, consist, reversed))
}

// ClearConsist takes a locomotive out of its consist.
func (d *Driver) ClearConsist(ctx context.Context, a dcc.Address) error {
	return d.done(ctx, ClearConsistCommand(a))
}

func (d *Driver) done(ctx context.Context, c Command) error {
	_, err := d.do(ctx, c)
	return err
}
