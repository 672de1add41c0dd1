package audit

import (
	"fmt"
	"time"

	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"
	"bufferstop/harness/verdict"
)

// spacing judges PKT-010 and PKT-011: packets to one decoder are 5 ms apart, from end bit to start bit. S-9.2 footnote 11 (July 2004) binds
// a station to it for the addresses 112 to 127, NEM 671 5.1 (2014) words it for all. Packets of service mode are meant to repeat, and left
// out; so are broadcast and idle packets, which have no address in this sense.
type spacing struct {
	indifferent
	tally
	serviceOnly bool // PKT-010
	words       [2]string
	limit       verdict.Limit
	last        [places]time.Duration
	spread      verdict.Spread
}

// places has room for 7-bit and 14-bit addresses of locomotives and the 9-bit ones of accessory decoders, whatever number of outputs or
// aspects these have (S-9.2.1 A and D, July 2012).
const (
	shortPlaces = 0
	accessories = shortPlaces + 128
	longPlaces  = accessories + 512
	places      = longPlaces + 64*256
)

func newSpacing(id string) *spacing {
	j := &spacing{serviceOnly: id == "PKT-010"}
	j.words = [2]string{"packets to one decoder too close together", "between packets to one decoder"}
	if j.serviceOnly {
		j.words = [2]string{"packets to 112-127 too close together", "between packets to the same address of 112-127"}
	}
	j.limit = limitOf(id, j.words[1])
	j.forget()
	return j
}

func (j *spacing) forget() {
	for i := range j.last {
		j.last[i] = never
	}
}

func (j *spacing) packet(a *Audit, p *signal.Packet) {
	if p.Fault != signal.None || a.service(p.Bytes) || a.query(p.Bytes) {
		return
	}
	place, ok := placeOf(p.Bytes)
	if !ok || j.serviceOnly && (place < shortPlaces+112 || place > shortPlaces+127) {
		return
	}
	if end := j.last[place]; end != never {
		between := p.StartBit - end
		j.spread.Add(float64(between), end)
		if float64(between) < *j.limit.Min && j.count(p.Start) {
			j.keep("two packets to one decoder", "5 ms apart", fmt.Sprintf("packet %s %s after the one before", spaced(p.Bytes), span(between)), p.Start)
		}
	}
	j.last[place] = p.End
}

// placeOf is the place of a decoder's address.
func placeOf(p dcc.Packet) (int, bool) {
	switch p.Partition() {
	case dcc.ShortPartition:
		return shortPlaces + int(p[0]), true
	case dcc.LongPartition:
		return longPlaces + int(p[0]-192)<<8 + int(p[1]), true
	case dcc.AccessoryPartition:
		raw, _ := p.AccessoryAddress()
		return accessories + int(raw>>2), raw>>2 != 511 // which speaks to all of them
	}
	return 0, false
}

func (j *spacing) off(_ *Audit, _ signal.Unusable, kind offKind) {
	if kind == switchedOff {
		j.forget()
	}
}

func (j *spacing) report(a *Audit) Report {
	return j.number(a, j.words[0]).and(j.words[1], Timed, j.spread)
}
