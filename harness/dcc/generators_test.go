package dcc_test

import (
	"bufferstop/harness/dcc"

	"pgregory.net/rapid"
)

var (
	flags      = rapid.Bool()
	bytesOf    = rapid.Byte()
	cvs        = rapid.IntRange(1, 1024)
	directions = rapid.SampledFrom([]dcc.Direction{dcc.Reverse, dcc.Forward})
	everyOne   = rapid.Custom(func(t *rapid.T) dcc.Address {
		if flags.Draw(t, "long") {
			return dcc.Long(rapid.Uint16Range(0, 10239).Draw(t, "long address"))
		}
		return dcc.Short(rapid.Uint16Range(0, 127).Draw(t, "short address"))
	})
	someone = everyOne.Filter(func(a dcc.Address) bool { return a != dcc.Broadcast })
)

func kind[I dcc.Instruction](draw func(t *rapid.T) I) *rapid.Generator[dcc.Instruction] {
	return rapid.Custom(func(t *rapid.T) dcc.Instruction { return draw(t) })
}

func drawSpeed(t *rapid.T, a dcc.Address) dcc.Speed {
	i := dcc.Speed{Address: a, Steps: rapid.SampledFrom([]dcc.Steps{dcc.Steps28, dcc.Steps128}).Draw(t, "steps"), Direction: directions.Draw(t, "direction")}
	i.Step = rapid.IntRange(0, i.Steps.Max()).Draw(t, "step")
	if i.Step == 0 {
		i.Emergency = flags.Draw(t, "emergency")
		i.DirectionIgnored = i.Steps == dcc.Steps28 && flags.Draw(t, "ignored")
	}
	return i
}

func drawFunctions(t *rapid.T, a dcc.Address) dcc.Functions {
	g := rapid.SampledFrom([]dcc.FunctionGroup{dcc.F0F4, dcc.F5F8, dcc.F9F12, dcc.F13F20, dcc.F21F28, dcc.F29F36, dcc.F37F44,
		dcc.F45F52, dcc.F53F60, dcc.F61F68}).Draw(t, "group")
	return dcc.Functions{Address: a, Group: g, States: byte(rapid.IntRange(0, 1<<(g.Last()-g.First()+1)-1).Draw(t, "states"))}
}

func drawTarget(t *rapid.T) dcc.AccessoryTarget {
	switch rapid.SampledFrom([]dcc.AccessoryScope{dcc.WholeDecoder, dcc.OneOutput, dcc.ExtendedAddress}).Draw(t, "scope") {
	case dcc.OneOutput:
		return dcc.AccessoryTarget{Scope: dcc.OneOutput, Address: rapid.Uint16Range(0, 511).Draw(t, "decoder"), Output: rapid.Uint8Range(0, 7).Draw(t, "output")}
	case dcc.ExtendedAddress:
		return dcc.AccessoryTarget{Scope: dcc.ExtendedAddress, Address: rapid.Uint16Range(0, 2047).Draw(t, "raw")}
	}
	return dcc.AccessoryTarget{Address: rapid.Uint16Range(0, 511).Draw(t, "decoder")}
}

// operating draws every instruction that Decode gives, with all its values in range.
var operating = map[string]*rapid.Generator[dcc.Instruction]{
	"idle": rapid.Just[dcc.Instruction](dcc.Idle{}),
	"reset": kind(func(t *rapid.T) dcc.Reset {
		return dcc.Reset{Address: everyOne.Draw(t, "to"), Hard: flags.Draw(t, "hard")}
	}),
	"broadcast stop": kind(func(t *rapid.T) dcc.BroadcastStop {
		return dcc.BroadcastStop{Direction: directions.Draw(t, "d"), Immediate: flags.Draw(t, "s"), DirectionIgnored: flags.Draw(t, "c")}
	}),
	"speed": kind(func(t *rapid.T) dcc.Speed { return drawSpeed(t, someone.Draw(t, "to")) }),
	"restricted speed": kind(func(t *rapid.T) dcc.RestrictedSpeed {
		i := dcc.RestrictedSpeed{Address: everyOne.Draw(t, "to"), Enabled: flags.Draw(t, "on"), Direction: directions.Draw(t, "d"), Step: rapid.IntRange(0, 28).Draw(t, "step")}
		if i.Step == 0 {
			i.Emergency, i.DirectionIgnored = flags.Draw(t, "emergency"), flags.Draw(t, "ignored")
		}
		return i
	}),
	"analog function": kind(func(t *rapid.T) dcc.AnalogFunction {
		return dcc.AnalogFunction{Address: everyOne.Draw(t, "to"), Function: bytesOf.Draw(t, "function"), Value: bytesOf.Draw(t, "value")}
	}),
	"speed and functions": kind(func(t *rapid.T) dcc.SpeedAndFunctions {
		i := dcc.SpeedAndFunctions{Address: everyOne.Draw(t, "to"), Direction: directions.Draw(t, "d"), Step: rapid.IntRange(0, 126).Draw(t, "step"), Last: 7,
			States: uint16(bytesOf.Draw(t, "states"))}
		i.Emergency = i.Step == 0 && flags.Draw(t, "emergency")
		if !i.Address.Long && flags.Draw(t, "two groups") {
			i.Last, i.States = 15, rapid.Uint16().Draw(t, "states")
		}
		return i
	}),
	"decoder control": kind(func(t *rapid.T) dcc.DecoderControl {
		i := dcc.DecoderControl{Address: everyOne.Draw(t, "to"), On: flags.Draw(t, "on"), Control: rapid.SampledFrom([]dcc.Control{dcc.FactoryTest,
			dcc.SetFlags, dcc.SetLongAddress, dcc.AcknowledgeRequest}).Draw(t, "control")}
		if i.Control == dcc.SetFlags && flags.Draw(t, "with data") {
			i.HasData, i.Data = true, bytesOf.Draw(t, "data")
		}
		return i
	}),
	"consist": kind(func(t *rapid.T) dcc.Consist {
		return dcc.Consist{Address: everyOne.Draw(t, "to"), Consist: rapid.IntRange(0, 127).Draw(t, "consist"), Reversed: flags.Draw(t, "reversed")}
	}),
	"functions": kind(func(t *rapid.T) dcc.Functions { return drawFunctions(t, everyOne.Draw(t, "to")) }),
	"binary state": kind(func(t *rapid.T) dcc.BinaryState {
		return dcc.BinaryState{Address: everyOne.Draw(t, "to"), Number: rapid.IntRange(1, 32767).Draw(t, "number"), On: flags.Draw(t, "on")}
	}),
	"all binary states": kind(func(t *rapid.T) dcc.AllBinaryStates {
		return dcc.AllBinaryStates{Address: everyOne.Draw(t, "to"), On: flags.Draw(t, "on"), Long: flags.Draw(t, "long")}
	}),
	"main verify": kind(func(t *rapid.T) dcc.MainVerify {
		return dcc.MainVerify{Address: everyOne.Draw(t, "to"), CV: cvs.Draw(t, "cv"), Value: bytesOf.Draw(t, "value")}
	}),
	"main write": kind(func(t *rapid.T) dcc.MainWrite {
		return dcc.MainWrite{Address: everyOne.Draw(t, "to"), CV: cvs.Draw(t, "cv"), Value: bytesOf.Draw(t, "value")}
	}),
	"main bit": kind(func(t *rapid.T) dcc.MainBit {
		return dcc.MainBit{Address: everyOne.Draw(t, "to"), CV: cvs.Draw(t, "cv"), Write: flags.Draw(t, "write"), Bit: rapid.IntRange(0, 7).Draw(t, "bit"),
			Value: rapid.ByteRange(0, 1).Draw(t, "value")}
	}),
	"main short write": kind(func(t *rapid.T) dcc.MainShortWrite {
		return dcc.MainShortWrite{Address: everyOne.Draw(t, "to"), CV: rapid.IntRange(23, 24).Draw(t, "cv"), Value: bytesOf.Draw(t, "value")}
	}),
	"main short write of a pair": kind(func(t *rapid.T) dcc.MainShortWritePair {
		return dcc.MainShortWritePair{Address: everyOne.Draw(t, "to"), CV: rapid.SampledFrom([]int{17, 31}).Draw(t, "cv"),
			Values: [2]byte{bytesOf.Draw(t, "first"), bytesOf.Draw(t, "second")}}
	}),
	"combined": kind(func(t *rapid.T) dcc.Combined {
		a := someone.Draw(t, "to")
		return dcc.Combined{Address: a, Instructions: []dcc.Instruction{
			dcc.Speed{Address: a, Steps: dcc.Steps28, Direction: directions.Draw(t, "d"), Step: rapid.IntRange(1, 28).Draw(t, "step")}, drawFunctions(t, a)}}
	}),
	"model time": kind(func(t *rapid.T) dcc.ModelTime {
		return dcc.ModelTime{Weekday: rapid.IntRange(0, 7).Draw(t, "weekday"), Hour: rapid.IntRange(0, 23).Draw(t, "hour"),
			Minute: rapid.IntRange(0, 59).Draw(t, "minute"), Changed: flags.Draw(t, "changed"), Factor: rapid.IntRange(0, 63).Draw(t, "factor")}
	}),
	"model date": kind(func(t *rapid.T) dcc.ModelDate {
		return dcc.ModelDate{Year: rapid.IntRange(0, 4095).Draw(t, "year"), Month: rapid.IntRange(1, 12).Draw(t, "month"), Day: rapid.IntRange(1, 31).Draw(t, "day")}
	}),
	"system time": kind(func(t *rapid.T) dcc.SystemTime { return dcc.SystemTime{Milliseconds: rapid.Uint16().Draw(t, "ms")} }),
	"accessory": kind(func(t *rapid.T) dcc.Accessory {
		return dcc.Accessory{Decoder: rapid.Uint16Range(0, 510).Draw(t, "decoder"), Pair: rapid.Uint8Range(0, 3).Draw(t, "pair"),
			Output: rapid.Uint8Range(0, 1).Draw(t, "output"), Activate: flags.Draw(t, "on")}
	}),
	"accessory broadcast": kind(func(t *rapid.T) dcc.AccessoryBroadcast {
		return dcc.AccessoryBroadcast{Pair: rapid.Uint8Range(0, 3).Draw(t, "pair"), Output: rapid.Uint8Range(0, 1).Draw(t, "output"), Activate: flags.Draw(t, "on")}
	}),
	"accessory aspect": kind(func(t *rapid.T) dcc.AccessoryAspect {
		return dcc.AccessoryAspect{Address: rapid.Uint16Range(0, 2046).Draw(t, "raw"), Aspect: bytesOf.Draw(t, "aspect")}
	}),
	"aspect broadcast": kind(func(t *rapid.T) dcc.AspectBroadcast { return dcc.AspectBroadcast{Aspect: bytesOf.Draw(t, "aspect")} }),
	"accessory nop": kind(func(t *rapid.T) dcc.AccessoryNOP {
		return dcc.AccessoryNOP{Address: rapid.Uint16Range(0, 2047).Draw(t, "raw"), Extended: flags.Draw(t, "extended")}
	}),
	"accessory verify": kind(func(t *rapid.T) dcc.AccessoryMainVerify {
		return dcc.AccessoryMainVerify{Target: drawTarget(t), CV: cvs.Draw(t, "cv"), Value: bytesOf.Draw(t, "value")}
	}),
	"accessory write": kind(func(t *rapid.T) dcc.AccessoryMainWrite {
		return dcc.AccessoryMainWrite{Target: drawTarget(t), CV: cvs.Draw(t, "cv"), Value: bytesOf.Draw(t, "value")}
	}),
	"accessory bit": kind(func(t *rapid.T) dcc.AccessoryMainBit {
		return dcc.AccessoryMainBit{Target: drawTarget(t), CV: cvs.Draw(t, "cv"), Write: flags.Draw(t, "write"), Bit: rapid.IntRange(0, 7).Draw(t, "bit"),
			Value: rapid.ByteRange(0, 1).Draw(t, "value")}
	}),
	"legacy accessory write": kind(func(t *rapid.T) dcc.LegacyAccessoryWrite {
		return dcc.LegacyAccessoryWrite{Decoder: rapid.Uint16Range(0, 511).Draw(t, "decoder"), CV: cvs.Draw(t, "cv"), Value: bytesOf.Draw(t, "value")}
	}),
	"address query": kind(func(t *rapid.T) dcc.AddressQuery {
		return dcc.AddressQuery{Address: dcc.Short(rapid.Uint16Range(1, 111).Draw(t, "address"))}
	}),
	"decoder lock": kind(func(t *rapid.T) dcc.DecoderLock {
		return dcc.DecoderLock{Address: dcc.Short(rapid.Uint16Range(0, 127).Draw(t, "address"))}
	}),
}

// programming draws every instruction that only DecodeService gives, with all its values in range.
var programming = map[string]*rapid.Generator[dcc.Instruction]{
	"direct verify": kind(func(t *rapid.T) dcc.DirectVerify {
		return dcc.DirectVerify{CV: cvs.Draw(t, "cv"), Value: bytesOf.Draw(t, "value")}
	}),
	"direct write": kind(func(t *rapid.T) dcc.DirectWrite {
		return dcc.DirectWrite{CV: cvs.Draw(t, "cv"), Value: bytesOf.Draw(t, "value")}
	}),
	"direct bit": kind(func(t *rapid.T) dcc.DirectBit {
		return dcc.DirectBit{CV: cvs.Draw(t, "cv"), Write: flags.Draw(t, "write"), Bit: rapid.IntRange(0, 7).Draw(t, "bit"), Value: rapid.ByteRange(0, 1).Draw(t, "value")}
	}),
	"register": rapid.Custom(func(t *rapid.T) dcc.Instruction {
		switch i := (dcc.Register{Write: flags.Draw(t, "write"), Register: rapid.IntRange(1, 8).Draw(t, "register"), Value: bytesOf.Draw(t, "value")}); i {
		case dcc.Register{Write: true, Register: 6, Value: 1}:
			return dcc.PagePreset{} // the same packet
		case dcc.Register{Write: true, Register: 8, Value: 8}:
			return dcc.FactoryReset{} // the same packet
		default:
			return i
		}
	}),
	"page preset":   rapid.Just[dcc.Instruction](dcc.PagePreset{}),
	"factory reset": rapid.Just[dcc.Instruction](dcc.FactoryReset{}),
}
