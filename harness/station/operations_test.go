package station_test

import (
	"context"
	"testing"
	"time"

	"bufferstop/harness/dcc"
	"bufferstop/harness/station"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
)

// operation is one call of the driver, with the line that it has to send, an answer that means success, and the result.
type operation struct {
	name   station.Operation
	call   func(context.Context, *station.Driver) (any, error)
	sent   string
	answer string
	result any
}

func plain(f func(context.Context, *station.Driver) error) func(context.Context, *station.Driver) (any, error) {
	return func(ctx context.Context, d *station.Driver) (any, error) { return nil, f(ctx, d) }
}

const fine = `0,"No error"`

// everyOperation holds the reference language as design.md section 12 has it.
var everyOperation = []operation{
	{station.Identify, func(ctx context.Context, d *station.Driver) (any, error) { return d.Identify(ctx) },
		"*IDN?", "maker,a model,17,1.0-rc", station.Identity{Maker: "maker", Model: "a model", Serial: "17", Version: "1.0-rc", Text: "maker,a model,17,1.0-rc"}},
	{station.Reset, plain(func(ctx context.Context, d *station.Driver) error { return d.Reset(ctx) }),
		"*RST;:SYST:ERR?", fine, nil},
	{station.SetPower, plain(func(ctx context.Context, d *station.Driver) error { return d.SetPower(ctx, station.Main, true) }),
		"TRAC:POW MAIN,ON;:SYST:ERR?", fine, nil},
	{station.SetPower, plain(func(ctx context.Context, d *station.Driver) error {
		return d.SetPower(ctx, station.Programming, false)
	}),
		"TRAC:POW PROG,OFF;:SYST:ERR?", fine, nil},
	{station.ReadPower, func(ctx context.Context, d *station.Driver) (any, error) { return d.Power(ctx, station.Main) },
		"TRAC:POW? MAIN;:SYST:ERR?", "TRIPPED;" + fine, station.Tripped},
	{station.ReadPower, func(ctx context.Context, d *station.Driver) (any, error) { return d.Power(ctx, station.Programming) },
		"TRAC:POW? PROG;:SYST:ERR?", "ON;" + fine, station.On},
	{station.ReadCurrent, func(ctx context.Context, d *station.Driver) (any, error) { return d.Current(ctx, station.Main) },
		"TRAC:CURR? MAIN;:SYST:ERR?", "1250;" + fine, 1250 * physic.MilliAmpere},
	{station.ReadCurrent, func(ctx context.Context, d *station.Driver) (any, error) { return d.Current(ctx, station.Main) },
		"TRAC:CURR? MAIN;:SYST:ERR?", "1.25E1;" + fine, 12500 * physic.MicroAmpere},
	{station.SetSpeed, plain(func(ctx context.Context, d *station.Driver) error {
		return d.SetSpeed(ctx, dcc.Short(3), dcc.Steps128, dcc.Forward, 10)
	}),
		"LOCO:SPE 3,10,FORW,128;:SYST:ERR?", fine, nil},
	{station.SetSpeed, plain(func(ctx context.Context, d *station.Driver) error {
		return d.SetSpeed(ctx, dcc.Long(10239), dcc.Steps28, dcc.Reverse, 0)
	}),
		"LOCO:SPE 10239,0,REV,28;:SYST:ERR?", fine, nil},
	{station.SetFunction, plain(func(ctx context.Context, d *station.Driver) error {
		return d.SetFunction(ctx, dcc.Short(3), 28, true)
	}),
		"LOCO:FUNC 3,28,ON;:SYST:ERR?", fine, nil},
	{station.Release, plain(func(ctx context.Context, d *station.Driver) error { return d.Release(ctx, dcc.Long(128)) }),
		"LOCO:REL 128;:SYST:ERR?", fine, nil},
	{station.Stop, plain(func(ctx context.Context, d *station.Driver) error { return d.Stop(ctx, dcc.Short(127)) }),
		"LOCO:STOP 127;:SYST:ERR?", fine, nil},
	{station.StopAll, plain(func(ctx context.Context, d *station.Driver) error { return d.StopAll(ctx) }),
		"LOCO:STOP ALL;:SYST:ERR?", fine, nil},
	{station.SetAccessory, plain(func(ctx context.Context, d *station.Driver) error { return d.SetAccessory(ctx, 310, 1) }),
		"ACC:OUTP 310,ON;:SYST:ERR?", fine, nil},
	{station.SetAccessory, plain(func(ctx context.Context, d *station.Driver) error { return d.SetAccessory(ctx, 1, 0) }),
		"ACC:OUTP 1,OFF;:SYST:ERR?", fine, nil},
	{station.SetAspect, plain(func(ctx context.Context, d *station.Driver) error { return d.SetAspect(ctx, 2044, 31) }),
		"ACC:ASP 2044,31;:SYST:ERR?", fine, nil},
	{station.ReadCV, func(ctx context.Context, d *station.Driver) (any, error) { return d.ReadCV(ctx, 29, "") },
		"CV:READ? 29;:SYST:ERR?", "6;" + fine, byte(6)},
	{station.ReadCV, func(ctx context.Context, d *station.Driver) (any, error) { return d.ReadCV(ctx, 1024, station.Paged) },
		"CV:READ? 1024,PAG;:SYST:ERR?", "255;" + fine, byte(255)},
	{station.WriteCV, plain(func(ctx context.Context, d *station.Driver) error { return d.WriteCV(ctx, 1, 3, station.Direct) }),
		"CV:WRIT 1,3,DIR;:SYST:ERR?", fine, nil},
	{station.VerifyCV, func(ctx context.Context, d *station.Driver) (any, error) {
		return d.VerifyCV(ctx, 8, 255, station.Register)
	},
		"CV:VER? 8,255,REG;:SYST:ERR?", "1;" + fine, true},
	{station.VerifyCV, func(ctx context.Context, d *station.Driver) (any, error) {
		return d.VerifyCV(ctx, 8, 0, station.AddressOnly)
	},
		"CV:VER? 8,0,ADDR;:SYST:ERR?", "0;" + fine, false},
	{station.WriteBit, plain(func(ctx context.Context, d *station.Driver) error { return d.WriteBit(ctx, 29, 5, true) }),
		"CV:BIT 29,5,1;:SYST:ERR?", fine, nil},
	{station.WriteBit, plain(func(ctx context.Context, d *station.Driver) error { return d.WriteBit(ctx, 29, 0, false) }),
		"CV:BIT 29,0,0;:SYST:ERR?", fine, nil},
	{station.WriteOnMain, plain(func(ctx context.Context, d *station.Driver) error {
		return d.WriteOnMain(ctx, dcc.Long(1000), 3, 20)
	}),
		"POM:WRIT 1000,3,20;:SYST:ERR?", fine, nil},
	{station.WriteBitOnMain, plain(func(ctx context.Context, d *station.Driver) error {
		return d.WriteBitOnMain(ctx, dcc.Long(1000), 29, 5, true)
	}),
		"POM:BIT 1000,29,5,1;:SYST:ERR?", fine, nil},
	{station.ClearAccessory, plain(func(ctx context.Context, d *station.Driver) error { return d.ClearAccessory(ctx, 310, 1) }),
		"ACC:CLE 310,ON;:SYST:ERR?", fine, nil},
	{station.SetConsist, plain(func(ctx context.Context, d *station.Driver) error {
		return d.SetConsist(ctx, dcc.Long(1000), 34, true)
	}),
		"CONS:SET 1000,34,REV;:SYST:ERR?", fine, nil},
	{station.ClearConsist, plain(func(ctx context.Context, d *station.Driver) error { return d.ClearConsist(ctx, dcc.Short(3)) }),
		"CONS:CLE 3;:SYST:ERR?", fine, nil},
}

// zero is the result that an operation has when it fails.
func zero(result any) any {
	switch result.(type) {
	case station.Identity:
		return station.Identity{}
	case station.PowerState:
		return station.PowerState("")
	case physic.ElectricCurrent:
		return physic.ElectricCurrent(0)
	case byte:
		return byte(0)
	case bool:
		return false
	}
	return nil
}

func TestEveryOperationSendsItsLineAndUnderstandsTheAnswer(t *testing.T) {
	covered := map[station.Operation]bool{}
	for _, o := range everyOperation {
		covered[o.name] = true
		t.Run(o.sent, func(t *testing.T) {
			s := answering(t)
			s.to(o.sent, at(5*time.Millisecond, o.answer))
			d := s.driver()
			got, err := o.call(t.Context(), d)
			require.NoError(t, err)
			assert.Equal(t, o.result, got)
			assert.Equal(t, []string{o.sent}, s.commands())

			last := d.LastExchange()
			assert.Equal(t, o.name, last.Operation)
			assert.Equal(t, o.sent, last.Sent)
			assert.Equal(t, o.answer, last.Answer)
			assert.Equal(t, 1, last.Tries)
			assert.NoError(t, last.Err)
			// 1 ms there, 5 ms to answer, 1 ms back.
			assert.Equal(t, 7*time.Millisecond, last.RoundTrip())
			assert.Equal(t, s.clock.Now(), last.Answered)
		})
	}
	for _, o := range station.Operations() {
		assert.True(t, covered[o], "%s is not in the table", o)
		assert.True(t, reference(t).Has(o), "%s is not in the reference dialect", o)
	}
}

func TestEveryOperationTellsTheFailuresApart(t *testing.T) {
	for _, o := range everyOperation {
		t.Run(o.sent, func(t *testing.T) {
			for answer, check := range map[string]func(error){
				`-222,"Data out of range;LOCO:SPE"`: func(err error) {
					var refused *station.Refused
					require.ErrorAs(t, err, &refused)
					assert.Equal(t, &station.Refused{Code: "-222", Text: "Data out of range;LOCO:SPE"}, refused)
				},
				`;-113,"Undefined header"`: func(err error) {
					var refused *station.Refused
					require.ErrorAs(t, err, &refused)
					assert.Equal(t, "-113", refused.Code)
				},
				`110,"No acknowledge"`: func(err error) { require.ErrorIs(t, err, station.ErrNoAcknowledge) },
				`120,"Track tripped"`:  func(err error) { require.ErrorIs(t, err, station.ErrTripped) },
				"garbage": func(err error) {
					var unexpected *station.UnexpectedAnswer
					require.ErrorAs(t, err, &unexpected)
					assert.Equal(t, o.name, unexpected.Operation)
					assert.Equal(t, o.sent, unexpected.Sent)
					assert.Equal(t, "garbage", unexpected.Got)
				},
			} {
				s := answering(t)
				s.to(o.sent, at(0, answer))
				got, err := o.call(t.Context(), s.driver())
				require.Error(t, err, answer)
				check(err)
				assert.Equal(t, zero(o.result), got, answer)
				assert.Contains(t, err.Error(), "station: "+string(o.name))
			}
		})
	}
}

func TestAnswerOfTheWrongKindIsUnexpected(t *testing.T) {
	for _, c := range []struct{ sent, answer string }{
		{"CV:READ? 29;:SYST:ERR?", `256;0,"No error"`},
		{"CV:READ? 29;:SYST:ERR?", `0,"No error"`},
		{"CV:READ? 29;:SYST:ERR?", `;0,"No error"`},
		{"CV:READ? 29;:SYST:ERR?", `-1;0,"No error"`},
		{"TRAC:POW? MAIN;:SYST:ERR?", `MAYBE;0,"No error"`},
		{"TRAC:CURR? MAIN;:SYST:ERR?", `9E99;0,"No error"`},
		{"CV:VER? 8,255,REG;:SYST:ERR?", `2;0,"No error"`},
		{"*IDN?", "maker,model"},
		{"LOCO:STOP ALL;:SYST:ERR?", ""},
	} {
		for _, o := range everyOperation {
			if o.sent != c.sent {
				continue
			}
			t.Run(c.sent+" "+c.answer, func(t *testing.T) {
				s := answering(t)
				s.to(c.sent, at(0, c.answer))
				_, err := o.call(t.Context(), s.driver())
				var unexpected *station.UnexpectedAnswer
				require.ErrorAs(t, err, &unexpected)
				assert.Equal(t, c.answer, unexpected.Got)
			})
			break
		}
	}
}
