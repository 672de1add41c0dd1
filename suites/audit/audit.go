package audit

import (
	"time"

	"bufferstop/harness/current"
	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
)

// Options say whose track is heard.
type Options struct {
	Track station.Track
	// Cutout says that the station claims cutouts for bi-directional communication.
	Cutout bool
	// Editions names the edition of a standard that the station keeps to, by topic: see Topics. What it does not name is the newest.
	Editions map[string]string
}

// An Audit listens to one track. It is used by one goroutine at a time.
type Audit struct {
	options  Options
	editions editions
	receiver *signal.Receiver
	judges   map[string]judge
	ordered  []judge

	begun     bool
	first     time.Duration // time of the first edge
	finishing bool
	losing    bool          // the probe has lost what follows, so that nobody knows how long an off state lasts
	unheard   bool          // a loss has ended, and no edge was heard since
	offBefore time.Duration // the track was off with the first edge after a loss, and nobody knows since when
	packets   int64
	lost      time.Duration
	lastEnd   time.Duration // end of the newest packet, never if what follows it was not heard whole
	unseen    unseen        // of the off state that comes next
	hands     bool          // somebody has a hand at the track now
	handsOff  time.Duration // when somebody had last
}

// unseen says of an off state what nobody has seen: when it begins, when it ends.
type unseen struct{ begins, ends bool }

// never is a time before all others.
const never time.Duration = -1 << 62

// A judge hears what a receiver makes of the signal, and holds one requirement against it.
type judge interface {
	packet(a *Audit, p *signal.Packet)
	// off is told of off states, and what they are.
	off(a *Audit, u signal.Unusable, kind offKind)
	// unusable is told of stretches of the signal that make no packet, off states left out.
	unusable(a *Audit, u signal.Unusable)
	report(a *Audit) Report
}

// indifferent is what most judges do with most of what they are told: nothing.
type indifferent struct{}

func (indifferent) packet(*Audit, *signal.Packet)        {}
func (indifferent) off(*Audit, signal.Unusable, offKind) {}
func (indifferent) unusable(*Audit, signal.Unusable)     {}

// New starts an audit of a track that has been silent so far.
func New(o Options) *Audit {
	a := &Audit{options: o, lastEnd: never, handsOff: never, offBefore: never}
	a.receiver = signal.NewReceiver(signal.StationReading(), ears{a})
	e := editionsOf(o.Editions)
	a.editions = e
	a.judges = map[string]judge{
		"SIG-001":  &timing{id: "SIG-001", quantities: oneHalves},
		"SIG-002":  &timing{id: "SIG-002", quantities: halfDifferences},
		"SIG-003":  &timing{id: "SIG-003", quantities: zeroHalves},
		"SIG-004":  &timing{id: "SIG-004", quantities: wholeZeros},
		"SIG-006":  newAfterEndBit(),
		"SIG-007":  &timing{id: "SIG-007", quantities: undefinedBand},
		"SIG-008":  newOffStates(),
		"BID-001":  newCutoutBegins(),
		"BID-002":  newCutoutEnds(),
		"BID-003":  &preambleLeft{back: never},
		"BID-004":  &serviceCutouts{},
		"BID-006":  &cutoutMissing{},
		"PKT-001":  newPreamble(),
		"PKT-002":  newFraming(),
		"PKT-003":  newErrorByte(),
		"PKT-004":  newPacketLength(e),
		"PKT-005":  newFirstByte(e),
		"PKT-006":  newInstructions(e),
		"PKT-007":  newBinaryStates(),
		"PKT-008":  newResetThenService(),
		"PKT-009":  newResetThenPackets(),
		"PKT-010":  newSpacing("PKT-010"),
		"PKT-011":  newSpacing("PKT-011"),
		"PKT-012":  newLongPackets(e),
		"PKT-013":  newHardReset(),
		"RATE-001": newRate(),
	}
	for _, id := range IDs() {
		a.ordered = append(a.ordered, a.judges[id])
	}
	return a
}

// Edges hears the next edges of the track, in order of time.
func (a *Audit) Edges(edges []signal.Edge) {
	if !a.begun && len(edges) > 0 {
		a.begun, a.first = true, edges[0].Time
	}
	if a.unheard && len(edges) > 0 {
		a.unheard = false
		if edges[0].Level == signal.Off {
			a.offBefore = edges[0].Time
		}
	}
	a.receiver.Edges(edges)
}

// Samples does nothing: an audit goes by the signal alone.
func (a *Audit) Samples([]current.Sample) {}

// Lost is told that the probe has lost what happened from one time to the other. Nothing that reaches into it is judged.
func (a *Audit) Lost(from, to time.Duration) {
	a.lost += to - from
	a.losing = true
	a.receiver.Lost(from, to)
	a.losing, a.unheard = false, true
}

// Finish ends the signal at a time. What is broken off there is cut, not faulty.
func (a *Audit) Finish(t time.Duration) {
	a.finishing = true
	a.receiver.Finish(t)
	a.finishing, a.lastEnd = false, never
}

// Hands says whether somebody has a hand at the track from now on: a short, a load, the supply. Power may go at any time then, and what
// it does is not judged.
func (a *Audit) Hands(on bool, now time.Duration) {
	if a.hands && !on {
		a.handsOff = now
	}
	a.hands = on
}

// Excuse says that the track's power was switched by a command between two times, so that an off state in which they lie was asked for.
// It is told when the command has been carried out, which may be after the off state has ended.
func (a *Audit) Excuse(from, to time.Duration) {
	a.judges["SIG-008"].(*offStates).excuse(from, to)
}

// Packets is how many packets were heard so far, and Statistics the timing of all that was.
func (a *Audit) Packets() int64                 { return a.packets }
func (a *Audit) Statistics() *signal.Statistics { return a.receiver.Statistics() }

// LostTime is how much of the time the probe has lost.
func (a *Audit) LostTime() time.Duration { return a.lost }

// handled reports whether somebody had a hand at the track since a time.
func (a *Audit) handled(since time.Duration) bool { return a.hands || a.handsOff >= since }

// service reports whether a packet is one of service mode. On the programming track the first bytes 112 to 127 are those of service mode
// (S-9.2.3 E, July 2012), on the main track they are addresses.
func (a *Audit) service(p dcc.Packet) bool {
	return a.options.Track == station.Programming && p.IsService()
}

// LastEnd is when the newest packet ended, if what has followed it was heard whole.
func (a *Audit) LastEnd() (time.Duration, bool) { return a.lastEnd, a.lastEnd != never }

// Unseen says that the track is going off after the newest packet, and that nobody has seen when that begins, or when it ends.
func (a *Audit) Unseen(begins, ends bool) {
	if a.unseen = (unseen{begins, ends}); begins {
		a.judges["SIG-006"].(*afterEndBit).end = never
	}
}

// query reports whether a packet is an address query of service mode, AAAAAAAA 11111001 for the addresses 1 to 111: S-9.2.3 appendix A
// (July 2012). As all of service mode it repeats, and follows resets.
func (a *Audit) query(p dcc.Packet) bool {
	return a.options.Track == station.Programming && len(p) == 3 && p[0] >= 1 && p[0] <= 111 && p[1] == 0xf9
}

// ears is the side of an Audit that its receiver talks to.
type ears struct{ audit *Audit }

func (e ears) Packet(p *signal.Packet) {
	a := e.audit
	a.packets++
	for _, j := range a.ordered {
		j.packet(a, p)
	}
	a.lastEnd = p.End
}

func (e ears) Unusable(u signal.Unusable) {
	a := e.audit
	if u.Reason == signal.ReasonOff {
		kind := a.kindOf(u)
		for _, j := range a.ordered {
			j.off(a, u, kind)
		}
		a.unseen = unseen{}
		return
	}
	switch { // a level alone does not tell whether the station is on: at the ends it may not have been
	case u.Reason == signal.ReasonNoBand && u.Start <= a.first:
		u.Reason = signal.ReasonCutAtStart
	case u.Reason == signal.ReasonNoBand && a.finishing:
		u.Reason = signal.ReasonCutAtEnd
	}
	for _, j := range a.ordered {
		j.unusable(a, u)
	}
	a.lastEnd = never
}
