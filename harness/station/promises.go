package station

import "bufferstop/harness/dcc"

// A Promise is a command that a station claims to understand.
type Promise struct {
	Key     string // of the claim, in the table [claims] of a station file
	Command Command
}

// Promises are commands that the claims stand for, at the ends of their ranges. What a station may lack, whatever it claims, is not among
// them: a command that releases a locomotive, one to verify a CV, or one that switches on a programming track which has power for an
// operation only. Nothing that a station claims is out of reach without it.
func (c Claims) Promises() (all []Promise) {
	add := func(key string, commands ...Command) {
		for _, command := range commands {
			all = append(all, Promise{key, command})
		}
	}
	if c.Track(Main) {
		add("tracks", SetPowerCommand(Main, true), SetPowerCommand(Main, false))
	}
	for _, a := range c.addressEnds() {
		for _, s := range c.SpeedSteps {
			add("speed_steps", SetSpeedCommand(a, s, dcc.Forward, s.Max()), SetSpeedCommand(a, s, dcc.Reverse, 0))
		}
		for _, n := range c.Functions.ends() {
			add("functions", SetFunctionCommand(a, n, true), SetFunctionCommand(a, n, false))
		}
		if c.ProgrammingOnMain {
			add("programming_on_main", WriteOnMainCommand(a, dcc.MaxCV, 255))
		}
		if c.BitWriteOnMain {
			add("bit_write_on_main", WriteBitOnMainCommand(a, dcc.MaxCV, 7, true))
		}
		if c.Consist {
			add("consist", SetConsistCommand(a, dcc.MaxShort, true), ClearConsistCommand(a))
		}
	}
	for _, n := range c.Accessories.ends() {
		add("accessories", SetAccessoryCommand(n, 0), SetAccessoryCommand(n, 1))
		if c.AccessoryOff {
			add("accessory_off", ClearAccessoryCommand(n, 1))
		}
	}
	for _, n := range c.Aspects.ends() {
		for _, shown := range c.AspectValues.ends() {
			add("aspects", SetAspectCommand(n, shown))
		}
	}
	if c.BitWrite {
		add("bit_write", WriteBitCommand(dcc.MaxCV, 7, true))
	}
	return all
}

// PromisedBy tells by which claim, as a key of the table [claims], the station promises to have an operation. It is empty where none does.
func (c Claims) PromisedBy(o Operation) (key string) {
	for _, p := range c.Promises() {
		if p.Command.operation == o {
			return p.Key
		}
	}
	return ""
}

// addressEnds are the addresses at the ends of what is claimed.
func (c Claims) addressEnds() (all []dcc.Address) {
	for _, n := range c.ShortAddresses.ends() {
		all = append(all, dcc.Short(uint16(n)))
	}
	for _, n := range c.LongAddresses.ends() {
		all = append(all, dcc.Long(uint16(n)))
	}
	return all
}
