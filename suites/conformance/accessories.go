package conformance

import (
	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// accessoryBatch is how many accessories are switched before the first packet is waited for. Our own choice.
const accessoryBatch = 8

// S-9.2.1 D: basic accessory packets.
func accessoryOutputs(x *examination.Check) {
	walks(x, accessoryTable(x.File.Claims, accessoryBatch))
}

// S-9.2.1 D: extended accessory packets.
func aspects(x *examination.Check) {
	walks(x, aspectTable(x.File.Claims, accessoryBatch))
}

// S-9.2.1 D: the aspect is five bits there, and eight in NEM 672 (2015) 2 and 3. What the station claims is asked for.
func aspectValues(x *examination.Check) {
	walks(x, aspectValueTable(x.File.Claims, accessoryBatch))
}

// walks gives the orders of a table and counts what is wrong.
func walks(x *examination.Check, table []order) {
	x.RunTrack(station.Main)
	w := x.Watch(station.Main)
	wrong := x.CarryAll(w, table, accessoryBatch, false)
	x.Number("wrong or missing accessory packets", wrong, x.Rig.Now())
	x.Note("%d commands", len(table))
}

// S-9.2.1 D: C switches on or off, the lowest bit says which of the pair. All of a decoder, one after another; in the meantime
// nothing else may be switched.
func pairs(x *examination.Check) {
	table := pairTable(x.File.Claims)
	if len(table) == 0 {
		x.NotClaimed("of no decoder all four accessories are claimed: %v", x.File.Claims.Accessories)
	}
	x.RunTrack(station.Main)
	x.Wait(x.CommandTime()) // repetitions of what others have asked for
	w := x.Watch(station.Main)
	wrong := x.CarryAll(w, table, 1, false)
	x.Wait(x.CommandTime())
	w.Stop()
	asked := map[dcc.Instruction]bool{}
	for _, o := range table {
		asked[o.Want] = true
		off := o.Want.(dcc.Accessory)
		off.Activate = false
		asked[off] = true // a station may end by itself what it has begun
	}
	unasked, at := 0, w.Begun
	for _, h := range w.Packets {
		if told, ok := h.Meaning.(dcc.Accessory); ok && h.Fault == signal.None && !asked[told] {
			unasked++
			at = h.Start
			x.Wrong("while accessories are switched", "what was asked for", told.String(), h.Start)
		}
	}
	x.Number("wrong or missing accessory packets", wrong, x.Rig.Now())
	x.Number("accessory packets that nobody asked for", unasked, at)
	if !x.File.Claims.AccessoryOff {
		x.Note("the station does not claim accessory_off: no output was switched off by command")
	}
}

// The four accessories of a decoder are switched at once, one this way and the next the other, then all the other way: each
// has its own pair of outputs, and none may take another one's place on the way to the track.
func neighbours(x *examination.Check) {
	decoders := wholeDecoders(x.File.Claims)
	if len(decoders) == 0 {
		x.NotClaimed("of no decoder all four accessories are claimed: %v", x.File.Claims.Accessories)
	}
	x.RunTrack(station.Main)
	w := x.Watch(station.Main)
	lost, at := 0, x.Rig.Now()
	for _, decoder := range decoders {
		for round := range 2 {
			var orders []order
			for i, number := range decoder {
				orders = append(orders, accessoryOrder(x.File.Claims.Numbering, number, (i+round)%2, true))
			}
			given := x.Now()
			for _, o := range x.CarriesAtOnce(w, orders) {
				lost++
				at = given
				x.Missing("accessories of one decoder at once", o, given)
			}
			x.Wait(x.CommandTime()) // repetitions, so that the other way round is not heard of them
		}
	}
	x.Number("accessories that did not reach the track", lost, at)
}
