package conformance

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/suites/examination"
)

// onGarbage is the name of the exercise.
const onGarbage = "garbage on the link"

// The kinds of garbage.
const (
	everyByte = iota
	endless
	halfACommand
	echo
	garbageKinds
)

var garbageNames = [garbageKinds]string{"every byte value", "10 kB without a line end", "half a command, then silence", "its own answers"}

// What is sent, and how long the track is watched afterwards: our own choice. The filler is a letter, which begins no frame and
// ends no line in any language that we know; what a station makes of a command's first half it has shown within seconds.
const (
	endlessBytes = 10_000
	filler       = 'U' // as bits 10101010 with its start bit: every edge that a serial line has
	silence      = 2 * time.Second
	aftermath    = 300 * time.Millisecond
	echoRounds   = 8
	echoPause    = 50 * time.Millisecond
	echoBytes    = 4096
)

// A disturbance is what was seen of a station while garbage came, and after it.
type disturbance struct {
	watch   *harness.Watch // of the main track
	omitted string         // why it was not made; everything else is empty then
	command bool           // it was not made because in the station's language it is a command
	refused string         // why the station did not answer afterwards; empty if it did
	// sent is when the last byte was handed over, answered when a command was answered again.
	sent, answered time.Duration
	unasked        []dcc.Speed // that nobody had asked for
	switched       string      // what was switched that nobody had switched; empty for nothing
}

// garbage has everything sent to the station that is no command, one kind after another, with a locomotive under way.
func garbage(x *examination.Check) *[garbageKinds]disturbance {
	if x.File.Adapter != nil {
		x.NotFitted("an adapter stands between: what it is sent does not reach the station as it is")
	}
	return examination.Shared(x, onGarbage, func() *[garbageKinds]disturbance {
		var all [garbageKinds]disturbance
		known := setOff(x)
		gone := ""
		for kind := range all {
			d := &all[kind]
			if gone != "" {
				d.omitted = gone
				continue
			}
			bytes, why := garbageOf(x, kind)
			if why != "" {
				d.omitted = why
				continue
			}
			if i := slices.IndexFunc(x.Station.WouldAsk(bytes), station.Command.Changes); i >= 0 {
				d.omitted, d.command = fmt.Sprintf("in this language it is a command: %s", x.Station.WouldAsk(bytes)[i]), true
				continue
			}
			d.watch = x.Watch(station.Main)
			beside := besides(x)
			send(x, kind, bytes)
			d.sent = x.Rig.Now()
			comeBack(x, d)
			x.Wait(aftermath)
			d.watch.Stop()
			for _, speed := range examination.Speeds(d.watch.Packets) {
				if !slices.Contains(known, speed) {
					d.unasked = append(d.unasked, speed)
				}
			}
			if n, _ := x.Offs(d.watch); n > 0 {
				d.switched = "the main track was switched off"
			}
			if beside != nil {
				if beside.Stop(); beside.Steady().Longest > 0 {
					d.switched = "the programming track was switched on"
				}
			}
			if d.refused != "" && !x.Rig.Describe().Can(station.Main, harness.CutSupply) {
				gone = "the station has not come back after " + garbageNames[kind]
				continue
			}
			if d.refused != "" || d.switched != "" || len(d.unasked) > 0 {
				known = setOff(x) // from a known state again
			}
		}
		return &all
	})
}

// mostRounds is how many rounds of the refresh are listened to for locomotives under way, at most. Our own choice.
const mostRounds = 10

// setOff switches the main track on, drives a locomotive and returns what speeds are told on the track.
func setOff(x *examination.Check) []dcc.Speed {
	x.RunTrack(station.Main)
	for _, address := range x.LocomotivesUpTo(1) {
		x.Drive(address, 9, dcc.Forward)
	}
	w := x.Watch(station.Main)
	defer w.Stop()
	x.Wait(x.CommandTime())
	// One that cannot give locomotives back, or was never asked to, may still be at those of other checks.
	for told, rounds := -1, 0; told < len(examination.Speeds(w.Packets)) && rounds < mostRounds; rounds++ {
		told = len(examination.Speeds(w.Packets))
		x.Wait(x.RefreshRound())
	}
	return examination.Speeds(w.Packets)
}

// besides watches the programming track, which nobody has switched on, where there is one.
func besides(x *examination.Check) *harness.Watch {
	if !x.File.Claims.Track(station.Programming) || x.Rig.Track(station.Programming) == nil ||
		!x.Rig.Describe().Can(station.Programming, harness.SeeEdges) {
		return nil
	}
	return x.Watch(station.Programming)
}

// garbageOf is what is sent of a kind, or why nothing is.
func garbageOf(x *examination.Check, kind int) (bytes []byte, why string) {
	switch kind {
	case everyByte:
		for b := range 256 {
			bytes = append(bytes, byte(b))
		}
	case endless:
		bytes = slices.Repeat([]byte{filler}, endlessBytes)
	case halfACommand:
		half := station.StopAllCommand()
		for _, address := range x.LocomotivesUpTo(1) {
			half = station.SetSpeedCommand(address, x.Steps(), dcc.Forward, 20)
		}
		var err error
		if bytes, err = x.Station.Beginning(half); err != nil {
			return nil, err.Error()
		}
	case echo:
		before := len(x.Log().Entries)
		x.Answers()
		_, err := x.Station.Power(x.Context(), station.Main)
		if !errors.Is(err, station.ErrNotSupported) {
			x.Obeyed("say whether the main track is on", err)
		}
		if bytes = x.Said(before); len(bytes) == 0 {
			return nil, "the log of the link is full, so it is not known what the station says"
		}
	}
	return bytes, ""
}

// send sends garbage of a kind. A link that does not take it is told of later, when the station is to answer.
func send(x *examination.Check, kind int, bytes []byte) {
	disturb := func(p []byte) bool {
		err := x.Station.Disturb(x.Context(), p)
		if err != nil {
			x.Note("%s: %v", garbageNames[kind], err)
		}
		return err == nil
	}
	if kind != echo {
		if disturb(bytes) && kind == halfACommand {
			x.Wait(silence)
		}
		return
	}
	for range echoRounds {
		before := len(x.Log().Entries)
		if !disturb(bytes) {
			return
		}
		x.Wait(echoPause)
		if err := x.Station.Listen(x.Context()); err != nil {
			x.Note("%s: %v", garbageNames[kind], err)
			return
		}
		bytes = x.Said(before)
		bytes = bytes[:min(len(bytes), echoBytes)]
		if len(bytes) == 0 || slices.ContainsFunc(x.Station.WouldAsk(bytes), station.Command.Changes) {
			return
		}
	}
}

// comeBack brings driver and station into step again, as whoever uses the station would, and if need be by taking its supply away.
func comeBack(x *examination.Check, d *disturbance) {
	err := x.Station.Resynchronise(x.Context())
	if err == nil {
		_, err = x.Station.Identify(x.Context())
	}
	d.answered = x.Rig.Now()
	if err == nil || x.Context().Err() != nil {
		x.Fitted("wait for the station", x.Context().Err())
		return
	}
	d.refused = err.Error()
	if x.Rig.Describe().Can(station.Main, harness.CutSupply) {
		d.watch.Stop()
		x.Fitted("cut the station's supply", x.Restart(x.Context()))
		x.Answers()
	}
}

// under judges the track under one kind of garbage.
func under(x *examination.Check, kind int) {
	d := &garbage(x)[kind]
	if d.command {
		x.NotFitted("%s: %s", garbageNames[kind], d.omitted)
	}
	if d.omitted != "" {
		x.Inconclusive("%s: %s", garbageNames[kind], d.omitted)
	}
	if d.refused != "" {
		x.Note("the station did not answer afterwards: %s", d.refused)
	}
	keepsItsLimits(x, d.watch)
}

func underEveryByte(x *examination.Check)     { under(x, everyByte) }
func underAnEndlessLine(x *examination.Check) { under(x, endless) }
func underHalfACommand(x *examination.Check)  { under(x, halfACommand) }
func underAnEcho(x *examination.Check)        { under(x, echo) }

// Garbage comes of a line without a ground, of a program for another device, of a terminal at the wrong speed. It must end
// with the garbage, and nothing may move because of it.
func afterGarbage(x *examination.Check) {
	var answers verdict.Spread
	silent, driven, switched, tried := 0, 0, 0, 0
	at := x.Rig.Now()
	for kind := range garbage(x) {
		d := &garbage(x)[kind]
		if d.omitted != "" {
			x.Note("%s: %s", garbageNames[kind], d.omitted)
			continue
		}
		tried++
		x.Look(d.watch)
		if d.refused != "" {
			silent++
			at = d.answered
			x.Wrong("after "+garbageNames[kind], "an answer", d.refused, d.answered)
		} else {
			answers.Add(float64(d.answered-d.sent), d.sent)
		}
		for _, speed := range d.unasked {
			driven++
			x.Wrong("the track after "+garbageNames[kind], "no speed that nobody asked for", speed.String(), d.watch.Begun)
		}
		if d.switched != "" {
			switched++
			x.Wrong("the power after "+garbageNames[kind], "as it was", d.switched, d.watch.Begun)
		}
	}
	if tried == 0 {
		x.Inconclusive("no garbage could be sent")
	}
	if answers.Count > 0 {
		x.SpreadOfCommandTimes("garbage to answer", answers)
	}
	x.Number("garbage after which nothing is answered", silent, at)
	x.Number("speed packets that nobody asked for", driven, at)
	x.Number("tracks switched by garbage", switched, at)
}
