package signal

import "time"

// maxBytes is where a packet that does not end is given up. It is far above what the standard allows, so that a packet that
// is merely too long is still received as such.
const maxBytes = 40

// startBit is a value of Receiver.shift that no byte has: the present bit is the packet start bit.
const startBit = 0x10000

// half takes the next whole half-bit.
func (r *Receiver) half(bit uint32, length uint64, start time.Duration) {
	switch r.state {
	case hunting:
		if bit == 1 {
			r.huntedOne(length, start)
		} else {
			r.huntedZero(length, start)
		}
	case first:
		r.bit, r.firstLength, r.firstStart = bit, length, start
		r.state = second
	case second:
		r.secondHalf(bit, length, start)
	}
}

// secondHalf takes the half-bit that should complete a bit of a packet.
func (r *Receiver) secondHalf(bit uint32, length uint64, start time.Duration) {
	switch {
	case bit != r.bit:
		// One half was lost or one too many was seen. The packet is gone, but this half may begin a preamble.
		r.lose(r.packet.Start, ReasonFraming)
		if bit == 1 {
			r.huntedOne(length, start)
		}
		return
	case bit == 0:
		r.stats.ZeroTotal.add(int64(r.firstLength+length), r.firstStart)
	default:
		difference := distance(r.firstLength, length)
		r.stats.OneDifference.add(difference, r.firstStart)
		if difference > int64(r.reading.OneDifference) {
			r.lose(r.packet.Start, ReasonHalvesDiffer)
			return
		}
	}
	r.state = first
	if r.shift < 0x100 {
		r.shift = r.shift<<1 | bit
		return
	}
	r.byteEnd(bit)
}

// byteEnd takes the bit behind a byte, or the packet start bit.
func (r *Receiver) byteEnd(bit uint32) {
	p := &r.packet
	if r.shift == startBit {
		r.shift = 1
		if r.lost {
			r.endLost(p.Start)
		}
		if r.gapOpen && !p.AfterEndBit {
			r.stats.Gap.add(int64(p.Start-r.lastEnd), r.lastEnd)
		}
		r.gapOpen = false
		return
	}
	if len(p.Bytes) == maxBytes {
		r.lose(p.Start, ReasonFraming)
		return
	}
	p.Bytes = append(p.Bytes, byte(r.shift)) // the room is there: it is buffer's
	r.shift = 1
	if bit == 1 {
		r.packetEnd()
	}
}

// packetEnd is called when the end bit is complete.
func (r *Receiver) packetEnd() {
	p := &r.packet
	p.End = r.last
	p.Fault = faultOf(p.Bytes)
	r.measure(p)
	r.fresh(p.End, ReasonPreambleTooShort)
	r.aligned, r.afterEndBit = true, true
	r.lastEnd, r.gapOpen = p.End, true
	r.sink.Packet(p)
}

// measure counts a packet into the statistics.
func (r *Receiver) measure(p *Packet) {
	r.stats.Packets++
	if p.PreambleSeen {
		// The end bit of the packet before may be counted as a preamble bit (S-9.2 footnote 3, July 2004).
		judged := int64(p.Preamble)
		if p.AfterEndBit {
			judged++
		}
		r.stats.Preamble.addJudged(int64(p.Preamble), judged, p.Start)
	}
	if p.Fault != None {
		r.stats.Invalid++
		return
	}
	if r.intervalOpen && p.StartBit >= r.lastStartBit {
		r.stats.Interval.add(int64(p.StartBit-r.lastStartBit), r.lastStartBit)
	}
	r.lastStartBit, r.intervalOpen = p.StartBit, true
	if place := addressPlace(p.Bytes); place != noAddress {
		if end := r.addresses[place]; end != never && p.StartBit >= end {
			r.stats.SameAddress.add(int64(p.StartBit-end), end)
		}
		r.addresses[place] = p.End
	}
}

// huntedOne takes a half one outside a packet.
func (r *Receiver) huntedOne(length uint64, start time.Duration) {
	r.run++
	switch r.run {
	case 1:
		r.runStart = start
	case 2:
		r.runSecond = start
	}
	if r.run > 1 {
		// It is not known whether this half and the one before belong together, unless the run is aligned. So unlike
		// halves are remembered for both phases until the start bit tells which phase is right.
		difference := distance(r.firstLength, length)
		phase := r.run & 1
		if phase == 0 && r.aligned {
			r.stats.OneDifference.add(difference, r.firstStart)
		}
		if difference > int64(r.reading.OneDifference) {
			r.broken[phase], r.brokenAt[phase] = r.run, start+time.Duration(length)
		}
	}
	r.firstLength, r.firstStart = length, start
}

// huntedZero takes a half zero outside a packet: the first half of the packet start bit when enough ones precede it. It
// settles the phase, because the last one of the preamble ends where the start bit begins.
func (r *Receiver) huntedZero(length uint64, start time.Duration) {
	phase := r.run & 1
	broken := r.broken[phase] > 0
	preamble := (r.run - r.broken[phase]) / 2
	if preamble < r.reading.Preamble {
		reason := r.freshReason
		if broken && reason == ReasonPreambleTooShort {
			reason = ReasonHalvesDiffer
		}
		r.lose(r.freshFrom, reason)
		return
	}
	p := &r.packet
	p.Start, p.StartBit, p.Preamble, p.Bytes = r.runStart, start, preamble, r.buffer[:0]
	reason := Reason("")
	switch {
	case broken:
		p.Start, reason = r.brokenAt[phase], ReasonHalvesDiffer
	case phase == 1:
		// The run has a half too many. After a join it is the second half of a one whose first half was not seen. But in a
		// run that began in phase, something is wrong.
		p.Start = r.runSecond
		if r.aligned {
			reason = ReasonFraming
		}
	}
	sound := phase == 0 && !broken
	p.AfterEndBit = r.afterEndBit && sound
	p.PreambleSeen = (r.afterEndBit || r.whole) && sound
	if reason != "" && !r.lost {
		r.lost, r.lostFrom, r.lostReason = true, r.runStart, reason
		r.gapOpen = false
	}
	r.state, r.shift = second, startBit
	r.bit, r.firstLength, r.firstStart = 0, length, start
}

// distance is the absolute difference of two half-bits in ns.
func distance(a, b uint64) int64 {
	d := int64(a - b)
	if d < 0 {
		return -d
	}
	return d
}
