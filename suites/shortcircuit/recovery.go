package shortcircuit

import (
	"fmt"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/harness/uncertainty"
	"bufferstop/suites/examination"
)

// tripAndOpen lays a short until the station has cut it, takes it away while the output is off, switches the track on where the
// station declares to wait for that, and waits for the first packet. A watch on all that comes after the short is returned, and since
// when the track may come back: when the short was gone, or the command was given. latched is done before the command.
func tripAndOpen(x *examination.Check, track station.Track, latched func(w *harness.Watch)) (w *harness.Watch, since time.Duration, back bool) {
	promised := x.File.Declares.Track(track)
	before := x.Watch(track)
	x.Fitted("lay a short", x.Rig.Track(track).Short(deadShort))
	_, tripped := awaitTrip(x, before, track)
	before.Stop()
	if !tripped {
		x.Inconclusive("the short was not cut in %v, so there is no recovery to look at", promised.TripTime*patience)
	}
	x.Fitted("take the short away", x.Rig.Track(track).Open())
	since = harness.Changed(x.Rig.Track(track), x.Rig.Now())
	w = x.Watch(track)
	if promised.Recovery == station.OnCommand {
		latched(w)
		since = x.Now()
		x.PowerOn(track)
	}
	_, back = x.Await(w, since, recoveryTime(x, promised)*3, func(h harness.Heard) bool { return h.Fault == signal.None })
	return w, since, back
}

// atOnce has a latched track switched on as soon as the short is gone: whether it stays off is another check's matter.
func atOnce(*harness.Watch) {}

// latchedTime is how long a track that comes back on command only is watched for power that nobody asked for: builders have tracks
// try again after 0.1 to 10 s, most within a few (common practice, no source).
const latchedTime = 5 * time.Second

// staysOff expects no power on a track that declares to wait for a command: a short may still be there.
func staysOff(x *examination.Check, w *harness.Watch, track station.Track) {
	x.Wait(latchedTime)
	// The first edge tells the level that the track had: off.
	if edges := w.Tape().Between(w.Begun, x.Rig.Now()); w.Statistics().Edges > 1 {
		at := w.Begun
		if len(edges) > 1 {
			at = edges[1].Time
		}
		x.Failed(fmt.Sprintf("the %s track after a trip", track), "off until it is switched on", "power came back by itself", at)
	}
}

// recoveryTime is the longest that a station may take by its own word: the retry may just have begun to be counted, and
// a short that is taken away in a retry may have used up a trip time. One that waits for a command has the time of one.
func recoveryTime(x *examination.Check, p station.Overload) time.Duration {
	if p.Recovery == station.OnCommand {
		return x.CommandTime()
	}
	return p.RetryAfter + p.TripTime
}

func recovery(x *examination.Check) {
	declaresRecovery(x, x.Track)
	running(x, x.Track)
	w, since, back := tripAndOpen(x, x.Track, func(w *harness.Watch) { staysOff(x, w, x.Track) })
	declared := x.File.Declares.Track(x.Track)
	promised := recoveryTime(x, declared)
	quantity, what, budget := "short gone to first packet", "after the short is gone", uncertainty.EdgeTime
	if declared.Recovery == station.OnCommand {
		quantity, what, budget = "switched on to first packet", "after it is switched on", uncertainty.CommandTime
	}
	took, at := x.Rig.Now()-since, x.Rig.Now()
	if after := w.After(since); back && len(after) > 0 {
		took, at = after[0].Start-since, after[0].Start
	} else {
		x.Wrong(what, fmt.Sprintf("packets within %v", promised), fmt.Sprintf("none in %v", took), since)
	}
	x.Promise(quantity, took, promised, at, x.Budget(budget))
}

// firstFew is how many packets after a recovery are judged as the first ones.
const firstFew = 10

// recoveries is how often a track is cut and comes back: each cut falls somewhere else in a packet.
const recoveries = 3

// The first packets are whole: a station that lets its bridge back on in the middle of a packet tears one, or in the
// middle of a preamble sends one too short.
func firstPackets(x *examination.Check) {
	declaresRecovery(x, x.Track)
	running(x, x.Track)
	broken := 0
	at := x.Rig.Now()
	wrong := func(expected, actual string, when time.Duration) {
		broken++
		at = when
		x.Wrong("after the recovery", expected, actual, when)
	}
	for range recoveries {
		w, gone, back := tripAndOpen(x, x.Track, atOnce)
		if !back {
			x.Inconclusive("the track did not come back")
		}
		x.Await(w, gone, afterRecovery, func(harness.Heard) bool { return len(w.Packets) >= firstFew })
		w.Stop()
		packets := w.Packets[:min(firstFew, len(w.Packets))]
		for _, u := range w.Unusable {
			if u.Reason != signal.ReasonOff && u.Start < packets[len(packets)-1].End {
				wrong("whole packets", fmt.Sprintf("%s for %v", u.Reason, u.End-u.Start), u.Start)
			}
		}
		if first := packets[0]; first.Preamble < leastPreamble {
			wrong(fmt.Sprintf("a preamble of at least %d", leastPreamble), fmt.Sprint(first.Preamble), first.Start)
		}
		for _, h := range packets {
			if h.Fault != signal.None {
				wrong("legal packets", fmt.Sprintf("%s: %s", h.Bytes, h.Fault), h.Start)
			}
		}
	}
	x.Number("broken packets", broken, at)
}

// leastPreamble is what a station must send: S-9.2 A (July 2004).
const leastPreamble = 14

// afterRecovery is how long the track is watched once it is back, and before the short: many rounds of refresh.
const afterRecovery = time.Second

// Each locomotive goes on as before, or is stopped, as the station declares; RP-9.2.4 A allows both. One that had no
// packets before the short either is not judged here.
func locomotivesAfterRecovery(x *examination.Check) {
	declaresRecovery(x, x.Track)
	if x.File.Declares.Track(x.Track).AfterRecovery == "" {
		x.NotClaimed("the station does not declare after_recovery of the %s track", x.Track)
	}
	x.RunTrack(x.Track)
	locomotives := x.SomeLocomotives(2)
	for i, address := range locomotives {
		x.Drive(address, 10+i, dcc.Forward)
	}
	x.Wait(x.CommandTime())
	before := x.Watch(x.Track)
	x.Wait(afterRecovery)
	before.Stop()
	after, gone, back := tripAndOpen(x, x.Track, atOnce)
	if !back {
		x.Inconclusive("the track did not come back")
	}
	x.Wait(afterRecovery)
	after.Stop()
	kept := x.File.Declares.Track(x.Track).AfterRecovery == station.Kept
	wrong, judged := 0, 0
	for i, address := range locomotives {
		if len(speedsOf(before.Packets, address)) == 0 {
			continue
		}
		judged++
		speeds := speedsOf(after.After(gone), address)
		right, last := len(speeds) > 0 || !kept, "no speed packet"
		for _, speed := range speeds {
			last = speed.String()
			asBefore := speed.Step == 10+i && speed.Direction == dcc.Forward
			right = right && (kept && asBefore || !kept && speed.Step == 0)
		}
		if !right {
			wrong++
			x.Wrong(fmt.Sprintf("locomotive %v after the recovery", address),
				string(x.File.Declares.Track(x.Track).AfterRecovery), last, gone)
		}
	}
	if judged == 0 {
		x.Inconclusive("no locomotive had speed packets before the short")
	}
	x.Number("locomotives in another state", wrong, gone)
}

// speedsOf returns the speed instructions to an address.
func speedsOf(packets []harness.Heard, address dcc.Address) []dcc.Speed {
	var speeds []dcc.Speed
	for _, h := range packets {
		if speed, ok := h.Meaning.(dcc.Speed); ok && speed.Address == address {
			speeds = append(speeds, speed)
		}
	}
	return speeds
}
