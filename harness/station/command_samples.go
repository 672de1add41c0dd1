package station

import "bufferstop/harness/dcc"

// sampleCommands are commands of an operation with values at the ends of their ranges, to try a dialect with.
func sampleCommands(o Operation) []Command {
	addresses := []dcc.Address{dcc.Short(3), dcc.Short(127), dcc.Long(128), dcc.Long(1000), dcc.Long(10239)}
	var all []Command
	add := func(c Command) {
		if c.operation == o {
			all = append(all, c)
		}
	}
	add(IdentifyCommand())
	add(ResetCommand())
	add(StopAllCommand())
	for _, t := range []Track{Main, Programming} {
		add(SetPowerCommand(t, true))
		add(SetPowerCommand(t, false))
		add(PowerCommand(t))
		add(CurrentCommand(t))
	}
	for _, a := range addresses {
		for _, direction := range []dcc.Direction{dcc.Forward, dcc.Reverse} {
			for _, speedStep := range []int{0, 1, 28} {
				add(SetSpeedCommand(a, dcc.Steps28, direction, speedStep))
			}
			for _, speedStep := range []int{0, 1, 28, 126} {
				add(SetSpeedCommand(a, dcc.Steps128, direction, speedStep))
			}
		}
		for _, n := range []int{0, 1, 12, 28} {
			add(SetFunctionCommand(a, n, true))
			add(SetFunctionCommand(a, n, false))
		}
		add(ReleaseCommand(a))
		add(StopCommand(a))
		add(WriteOnMainCommand(a, 1, 0))
		add(WriteOnMainCommand(a, 1024, 255))
		add(WriteBitOnMainCommand(a, 1, 0, false))
		add(WriteBitOnMainCommand(a, 1024, 7, true))
		add(SetConsistCommand(a, 1, false))
		add(SetConsistCommand(a, 127, true))
		add(ClearConsistCommand(a))
	}
	for _, n := range []int{1, 12, 2044} {
		add(SetAccessoryCommand(n, 0))
		add(SetAccessoryCommand(n, 1))
		add(ClearAccessoryCommand(n, 0))
		add(ClearAccessoryCommand(n, 1))
		add(SetAspectCommand(n, 0))
		add(SetAspectCommand(n, 255))
	}
	for _, m := range []Method{"", Direct, Paged, Register, AddressOnly} {
		for _, cv := range []int{1, 29, 1024} {
			add(ReadCVCommand(cv, m))
			add(WriteCVCommand(cv, 6, m))
			add(WriteCVCommand(cv, 255, m))
			add(VerifyCVCommand(cv, 6, m))
			add(VerifyCVCommand(cv, 255, m))
		}
	}
	for _, cv := range []int{1, 29, 1024} {
		add(WriteBitCommand(cv, 0, false))
		add(WriteBitCommand(cv, 7, true))
	}
	return all
}
