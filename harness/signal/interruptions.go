package signal

import "time"

// crossing is where an off state between opposite polarities begins to be one. Below, the voltage only passes through
// zero, as a slow comparator sees it: 8 V at the slowest legal slope of 2.0 V/µs (S-9.1 B, Table 2, 2020).
const crossing = 4 * time.Microsecond

// unusual takes an edge that does not end a whole, usable half-bit.
func (r *Receiver) unusual(e Edge) {
	level := e.Level
	if level != max(Negative, min(level, Positive)) { // no level: the sign is all that it can mean
		level = max(Negative, min(level, Positive))
		r.Edge(Edge{e.Time, level})
		return
	}
	if level == r.level {
		return
	}
	r.stats.Edges++
	switch {
	case r.level == unknown:
		r.begin(e.Time, level)
	case e.Time < r.newest():
		r.backwards(e.Time, level)
	case level == Off:
		r.offBegins(e.Time)
	case r.level == Off:
		r.offEnds(e.Time, level)
	case r.next == noReversal:
		r.pieceEnds(e.Time, level)
	default:
		r.strangeHalf(e.Time, level)
	}
}

// newest is the time of the newest edge.
func (r *Receiver) newest() time.Duration {
	if r.level == Off {
		return r.offSince
	}
	return r.last
}

// begin takes the first edge, or the first after a lost stretch.
func (r *Receiver) begin(t time.Duration, level Level) {
	r.fresh(t, r.freshReason)
	r.resume(t, level)
}

// resume goes on at a point where the level is known but not since when.
func (r *Receiver) resume(t time.Duration, level Level) {
	r.last, r.level, r.next = t, level, noReversal
	if level == Off {
		r.offSince, r.beforeOff = t, Off
	}
}

// pieceEnds takes the reversal after a half-bit of which only a piece was seen. It is never measured. But when it is as long
// as half a one it must be one, and then it counts for the preamble: the first half-bit of all after power-on is
// whole.
func (r *Receiver) pieceEnds(t time.Duration, level Level) {
	length := t - r.last
	limit := r.reading.Limits.OneHalf
	switch {
	case int64(length) >= limit.Low && int64(length) <= limit.High:
		r.whole = r.afterOff
		r.huntedOne(uint64(length), r.last)
	case length < 0 || length > r.reading.Zero.High: // below zero: so long that the difference overflows
		r.lose(r.freshFrom, ReasonNoBand)
	case length > r.reading.One.High:
		r.lose(r.freshFrom, r.freshReason)
	}
	r.last, r.level, r.next = t, level, int16(-level)
}

// strangeHalf takes a reversal after a half-bit in no band.
func (r *Receiver) strangeHalf(t time.Duration, level Level) {
	reason := ReasonNoBand
	r.next = int16(-level)
	if uint64(t-r.last) < uint64(r.reading.Glitch) {
		// A disturbance cut the half-bit before, so that one is not measured, and what follows is the rest of it.
		reason = ReasonGlitch
		r.held = heldHalf{}
		r.next = noReversal
	}
	r.lose(r.worthlessFrom(r.last), reason)
	r.last, r.level = t, level
}

// backwards takes an edge that is earlier than the one before.
func (r *Receiver) backwards(t time.Duration, level Level) {
	if r.level == Off {
		r.offOver(r.offSince)
	}
	r.lose(r.worthlessFrom(t), ReasonBackwards)
	r.lostFrom = min(r.lostFrom, t)
	r.intervalOpen = false
	r.resume(t, level)
}

// offBegins takes the edge with which the voltage goes.
func (r *Receiver) offBegins(t time.Duration) {
	r.offSince, r.beforeOff, r.nextIfShort = t, r.level, r.next
	r.level, r.next = Off, noReversal
}

// offEnds takes the edge with which the voltage comes back.
func (r *Receiver) offEnds(t time.Duration, level Level) {
	if off := uint64(t - r.offSince); level == -r.beforeOff && off < uint64(crossing) {
		r.level, r.next = r.beforeOff, r.nextIfShort
		r.stats.Edges-- // it is counted now:
		r.Edge(Edge{r.offSince + time.Duration(off/2), level})
		return
	}
	r.offOver(t)
	r.resume(t, level)
}

// offOver reports the off state that lasted until t, and first what it ended.
func (r *Receiver) offOver(t time.Duration) {
	between := true
	if r.state != hunting || r.beforeOff != Off && r.longPiece(r.offSince) {
		cut := ReasonCutByOff
		if r.inEndBit(r.offSince) {
			cut = ReasonOffInEndBit
		}
		r.lose(r.worthlessFrom(r.last), r.pieceReason(r.offSince, cut))
	}
	reason := ReasonPreambleTooShort
	if r.lost {
		r.endLost(r.offSince)
		between, reason = false, ReasonCutByOff
	}
	r.report(Unusable{r.offSince, t, ReasonOff})
	r.fresh(t, reason)
	r.afterOff = between
}

// Lost tells the receiver that the probe lost what happened from one time to the other. The level afterwards is unknown
// until the next edge.
func (r *Receiver) Lost(from, to time.Duration) {
	if r.level != unknown {
		from = max(from, r.newest())
	}
	start := from
	switch {
	case r.level == Off:
		r.offOver(from)
	case r.level != unknown && r.longPiece(from):
		start = r.last
	}
	r.lose(r.worthlessFrom(start), ReasonLost)
	r.level, r.next, r.last = unknown, noReversal, max(from, to)
	r.intervalOpen = false
	r.freshReason = ReasonLost
}

// Finish ends the stream at time t, reports what is still open and counts the last half-bit. Edges that follow are a new
// stream, counted into the same statistics.
func (r *Receiver) Finish(t time.Duration) {
	r.count()
	if r.level == unknown {
		t = max(t, r.last)
	} else {
		t = max(t, r.newest())
	}
	switch {
	case r.level == Off:
		r.offOver(t)
	case r.state != hunting || r.level != unknown && r.longPiece(t):
		r.lose(r.worthlessFrom(r.last), r.pieceReason(t, ReasonCutAtEnd))
	}
	if r.lost {
		r.endLost(t)
	}
	r.forget()
}

// worthlessFrom is where a stretch begins that is of no use because of what happens at t: with the packet that it breaks.
func (r *Receiver) worthlessFrom(t time.Duration) time.Duration {
	if r.state != hunting {
		return min(t, r.packet.Start)
	}
	return t
}

// longPiece reports whether the piece of a half-bit since the last reversal, seen until t, is more than a piece of a one.
// Shorter ones are ordinary: half-bits do not end where an off state or the end of the capture comes.
func (r *Receiver) longPiece(t time.Duration) bool {
	return uint64(t-r.last) > uint64(r.reading.One.High)
}

// inEndBit reports whether what lasts until t is the second half of an end bit, as long as it has to be.
func (r *Receiver) inEndBit(t time.Duration) bool {
	length, limit := int64(t-r.last), r.reading.Limits.OneHalf
	return r.state == second && r.bit == 1 && r.shift >= 0x100 && r.shift != startBit && length >= limit.Low && length <= limit.High
}

// pieceReason is what is wrong with that piece: too long to be anything, or cut as other tells.
func (r *Receiver) pieceReason(t time.Duration, other Reason) Reason {
	if uint64(t-r.last) > uint64(r.reading.Zero.High) {
		return ReasonNoBand
	}
	return other
}

// fresh begins a new run of ones at t. The reason is what it means if they are no preamble.
func (r *Receiver) fresh(t time.Duration, reason Reason) {
	r.noRun()
	r.freshFrom, r.freshReason = t, reason
}

// lose enters a stretch that is of no use, or stays in the one that began before.
func (r *Receiver) lose(from time.Duration, reason Reason) {
	if !r.lost {
		r.lost, r.lostFrom, r.lostReason = true, from, reason
	}
	r.gapOpen = false
	r.noRun()
}

func (r *Receiver) noRun() {
	r.state, r.run, r.broken = hunting, 0, [2]int{}
	r.aligned, r.afterEndBit, r.afterOff, r.whole = false, false, false, false
}

// endLost reports the stretch that was of no use. It ends at t, or where a preamble begins that t cut short.
func (r *Receiver) endLost(t time.Duration) {
	if r.state == hunting && r.run/2 >= r.reading.Preamble {
		t = r.runStart
	}
	r.lost = false
	r.report(Unusable{r.lostFrom, t, r.lostReason})
}

func (r *Receiver) report(u Unusable) {
	u.End = max(u.Start, u.End)
	r.stats.Unusable++
	r.stats.UnusableTime += u.End - u.Start
	r.sink.Unusable(u)
}
