package signal

// ordinary takes whole bits off the front of edges as long as nothing remarkable happens: the ones of a preamble whose
// phase is known, and the bits of a packet, at most to the end of a byte. It returns how many edges it took, and leaves the
// rest as it is for Edge.
//
// It does what Edge would do, but two edges at a time and without asking what each might be. Nearly all that a station sends is
// ordinary, so this is where the time goes.
func (r *Receiver) ordinary(edges []Edge) (taken int) {
	inPacket := r.state == first
	preamble := r.state == hunting && r.aligned && r.run&1 == 0
	if r.next == noReversal || !inPacket && !preamble {
		return 0
	}
	last, next, zeroFrom, held := r.last, r.next, r.zeroFrom, r.held
	run, before := r.run, r.firstLength
	shift, bit, byteEnds := r.shift, uint32(0), false
	for taken+1 < len(edges) && !byteEnds {
		a, b := &edges[taken], &edges[taken+1]
		one, two := uint64(a.Time-last), uint64(b.Time-a.Time)
		bit = 0
		if one < zeroFrom {
			bit = 1
		}
		c := &r.classes[bit]
		value := one + two
		if bit == 1 {
			value = min(one-two, two-one) // without signs, the lesser is the difference
		}
		if int16(a.Level) != next || int16(b.Level) != -next ||
			one-c.low > c.span || two-c.low > c.span || value > c.mostValue {
			break
		}
		if inPacket {
			if byteEnds = shift >= 0x100; !byteEnds {
				shift = shift<<1 | bit
			}
		} else {
			if bit == 0 || run > 0 && min(before-one, one-before) > c.mostValue {
				break
			}
			if run == 0 {
				r.runStart, r.runSecond = last, a.Time
			}
			run, before = run+2, two
		}
		if held.distribution != nil {
			held.distribution.add(held.length, held.start)
		}
		c.halves.add(int64(one), last)
		c.bits.add(int64(value), last)
		held = heldHalf{c.halves, int64(two), a.Time}
		last = b.Time
		taken += 2
	}
	if taken == 0 {
		return 0
	}
	r.last, r.held = last, held
	r.stats.Edges += int64(taken)
	if preamble {
		r.run, r.firstLength, r.firstStart = run, before, held.start
		return taken
	}
	r.shift = shift
	if byteEnds {
		r.byteEnd(bit)
	}
	return taken
}
