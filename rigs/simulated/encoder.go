package simulated

import "bufferstop/harness/dcc"

// encoder turns what the station wants to say into packets. A healthy one does as the codec does; the rest of it is the
// ways in which real encoders are wrong.
type encoder struct {
	flaws     *flaws
	numbering dcc.Numbering // of accessories
}

// sealed is the packet of an instruction whose values were checked before.
func sealed(i dcc.Instruction) dcc.Packet {
	p, err := i.Packet()
	if err != nil {
		// The interpreter checks every value, so this is a mistake in this package.
		panic("simulated station: " + err.Error())
	}
	return p
}

// reseal makes the error byte right again after the bytes were changed.
func reseal(p dcc.Packet) dcc.Packet {
	return dcc.Seal(p[:len(p)-1]...)
}

func (e *encoder) address(a dcc.Address) dcc.Address {
	if e.flaws.highestShortLong && !a.Long && a.Number == 127 {
		return dcc.Long(127)
	}
	if e.flaws.long13Bits && a.Long {
		return dcc.Long(a.Number & 0x1fff)
	}
	if e.flaws.lowByteSkipped && a.Long && a.Number&0xff == 0 {
		return dcc.Long(a.Number + 1)
	}
	if e.flaws.serviceLooksLong && !a.Long && a.Number >= 112 && a.Number <= 126 {
		return dcc.Long(a.Number)
	}
	return a
}

func (e *encoder) speed(l *locomotive, emergency bool) dcc.Packet {
	i := dcc.Speed{
		Address: e.address(l.address), Steps: l.steps, Direction: l.direction, Step: l.step, Emergency: emergency,
	}
	if emergency {
		i.Step = 0
	}
	if e.flaws.oddSteps28 && i.Steps == dcc.Steps28 && i.Step%2 == 1 && i.Step > 1 {
		i.Step--
	}
	if e.flaws.firstStepStops && i.Steps == dcc.Steps128 && i.Step == 1 {
		i.Step, i.Emergency = 0, true
	}
	if i.Address.Long && i.Step == i.Steps.Max() && (e.flaws.long28Short && i.Steps == dcc.Steps28 ||
		e.flaws.long128Short && i.Steps == dcc.Steps128 && i.Direction == dcc.Reverse) {
		i.Step--
	}
	return sealed(i)
}

func (e *encoder) functions(l *locomotive, g dcc.FunctionGroup) dcc.Packet {
	i := dcc.Functions{Address: e.address(l.address), Group: g, States: l.functions[g]}
	switch {
	case e.flaws.headlightLow && g == dcc.F0F4:
		p := sealed(i)
		p[len(p)-2] = p[len(p)-2]&0xe0 | i.States
		return reseal(p)
	case e.flaws.f9AsF5 && g == dcc.F9F12:
		i.Group = dcc.F5F8
	case e.flaws.f21Reversed && g == dcc.F21F28:
		var reversed uint8
		for bit := range 8 {
			reversed |= i.States >> bit & 1 << (7 - bit)
		}
		i.States = reversed
	case e.flaws.f68Lost && g == dcc.F61F68:
		i.States &= 1<<7 - 1
	}
	return sealed(i)
}

func (e *encoder) stopAll() dcc.Packet {
	return sealed(dcc.BroadcastStop{Direction: dcc.Forward, Immediate: true, DirectionIgnored: true})
}

func (e *encoder) accessory(number, output int, activate bool) dcc.Packet {
	i, err := e.numbering.Accessory(number, output, activate)
	if err != nil {
		panic("simulated station: " + err.Error())
	}
	const block = 64 // decoders that share the high bits of their addresses
	if e.flaws.accessoryBlock && i.Decoder/block == 5 {
		i.Decoder += block
	}
	if e.flaws.offElsewhere && !activate && i.Decoder > block {
		i.Output ^= 1
	}
	p := sealed(i)
	if e.flaws.accessoryPlain {
		p[1] ^= 0x70
		p = reseal(p)
	}
	if e.flaws.accessorySwapped {
		p[1] ^= 1
		p = reseal(p)
	}
	return p
}

func (e *encoder) aspect(number int, aspect byte) dcc.Packet {
	i, err := e.numbering.Aspect(number, aspect)
	if err != nil {
		panic("simulated station: " + err.Error())
	}
	const block = 256 // signals that share the high bits of their addresses
	if e.flaws.aspectBlock && i.Address/block == 5 {
		i.Address += block
	}
	if e.flaws.aspectSevenBits {
		i.Aspect &= 1<<7 - 1
	}
	p := sealed(i)
	if e.flaws.aspectShifted {
		p[2] <<= 1
		p = reseal(p)
	}
	return p
}

func (e *encoder) mainWrite(a dcc.Address, cv int, value byte) dcc.Packet {
	if e.flaws.mainWriteLow {
		cv = (cv-1)&0xff + 1
	}
	return sealed(dcc.MainWrite{Address: e.address(a), CV: cv, Value: value})
}

func (e *encoder) mainBit(a dcc.Address, cv, bit int, value byte) dcc.Packet {
	return sealed(dcc.MainBit{Address: e.address(a), CV: cv, Bit: bit, Value: value, Write: !e.flaws.mainBitVerifies || bit < 7})
}
