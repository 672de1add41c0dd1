package station

import (
	"time"

	"bufferstop/harness/dcc"
)

// Review says what is legal and unwise in the dialect, and what of it does not go with what the station claims and
// declares.
func (f *File) Review() []Remark {
	if f.Dialect == nil {
		return nil
	}
	v := &review{d: f.Dialect, remarks: f.Dialect.Review()}
	need := func(o Operation, why string) {
		if !f.Dialect.Has(o) {
			v.remark("", "no [operation.%s], which the station needs: it claims %s", o, why)
		}
	}
	c := f.Claims
	for _, o := range []Operation{Identify, SetPower, ReadPower, StopAll} {
		need(o, "tracks")
	}
	if len(c.SpeedSteps) > 0 {
		need(SetSpeed, "speed_steps")
		need(Stop, "speed_steps")
	}
	if c.Functions.Claimed {
		need(SetFunction, "functions")
	}
	if c.Accessories.Claimed {
		need(SetAccessory, "accessories")
	}
	if c.Aspects.Claimed {
		need(SetAspect, "aspects")
	}
	if len(c.ServiceMethods) > 0 {
		need(ReadCV, "service_methods")
		need(WriteCV, "service_methods")
	}
	if c.BitWrite {
		need(WriteBit, "bit_write")
	}
	if c.ProgrammingOnMain {
		need(WriteOnMain, "programming_on_main")
	}
	if c.BitWriteOnMain {
		need(WriteBitOnMain, "bit_write_on_main")
	}
	if c.AccessoryOff {
		need(ClearAccessory, "accessory_off")
	}
	if c.Consist {
		need(SetConsist, "consist")
		need(ClearConsist, "consist")
	}
	v.claimed(c)
	v.declared(f.Declares)
	return v.remarks
}

// claimed tries to say what the station claims to understand.
func (v *review) claimed(c Claims) {
	try := func(command Command) {
		if !v.d.Has(command.operation) {
			return
		}
		if _, _, err := v.d.render(command); err != nil {
			v.remark("operation."+string(command.operation)+".send", "the station claims what the dialect cannot say, %q: %s", command.Words(), err)
		}
	}
	ends := func(r Range) []int {
		if !r.Claimed {
			return nil
		}
		return []int{r.First, r.Last}
	}
	var addresses []dcc.Address
	for _, n := range ends(c.ShortAddresses) {
		addresses = append(addresses, dcc.Short(uint16(n)))
	}
	for _, n := range ends(c.LongAddresses) {
		addresses = append(addresses, dcc.Long(uint16(n)))
	}
	for _, a := range addresses {
		for _, s := range c.SpeedSteps {
			try(SetSpeedCommand(a, s, dcc.Forward, int(s)-2))
			try(SetSpeedCommand(a, s, dcc.Reverse, 0))
		}
		for _, n := range ends(c.Functions) {
			try(SetFunctionCommand(a, n, true))
		}
		try(StopCommand(a))
		if c.Consist {
			try(SetConsistCommand(a, 127, true))
		}
		if c.BitWriteOnMain {
			try(WriteBitOnMainCommand(a, 1024, 7, true))
		}
	}
	for _, n := range ends(c.Accessories) {
		try(SetAccessoryCommand(n, 1))
	}
	for _, n := range ends(c.Aspects) {
		for _, shown := range ends(c.AspectValues) {
			try(SetAspectCommand(n, shown))
		}
	}
	for _, t := range c.Tracks {
		try(SetPowerCommand(t, true))
	}
	for _, m := range c.ServiceMethods {
		// CV 1024 and 255 are the largest that DCC has (S-9.2.3 E, July 2012).
		if m == Direct {
			try(ReadCVCommand(1024, m))
			try(WriteCVCommand(1024, 255, m))
		}
		try(ReadCVCommand(1, m))
	}
}

// declared compares the times that a station promises with those that the dialect gives it.
func (v *review) declared(d Declares) {
	late := func(o Operation, name string, promised time.Duration) {
		if r := v.d.operations[o]; r != nil && promised > 0 && r.timeout <= promised {
			v.remark("operation."+string(o), "its answer may take %v, and the station declares %s = %v: a station that keeps its promise is cut off", r.timeout, name, promised)
		}
	}
	late(ReadCV, "read_time", d.ReadTime)
	late(ReadCV, "no_decoder_time", d.NoDecoderTime)
	late(WriteCV, "no_decoder_time", d.NoDecoderTime)
	late(VerifyCV, "no_decoder_time", d.NoDecoderTime)
}
