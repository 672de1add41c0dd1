package simulated

import (
	"strconv"
	"time"

	"bufferstop/harness/station"
)

// referenceDialect is the name of the dialect that the station's own interpreter speaks.
const referenceDialect = "reference"

// speaker is the interpreter of any language that a dialect describes. A request that is none is refused, as far as the
// dialect has a way to say it; otherwise the station says nothing.
type speaker struct {
	station   *firmware
	responder *station.Responder
	readyAt   time.Duration // characters before are lost: the processor starts up
	greeting  []byte        // still to be said, when the processor has started up

	length  int  // characters of the request on its way
	waits   int  // characters of the requests that wait
	overrun bool // the request on its way did not fit; it is read on to its end, and not executed
	waiting []request

	executing bool   // the first of waiting has been taken up
	acting    action // what it asked for is under way
}

// request is one that waits for its turn.
type request struct {
	station.Request
	length int // in characters
	code   errorCode
}

// speaks gives the interpreter of a dialect.
func speaks(r *station.Responder) func(s *firmware, ready time.Duration) interpreter {
	return func(s *firmware, ready time.Duration) interpreter {
		r.Reset()
		n := &speaker{station: s, responder: r, readyAt: ready}
		// A station that was up before the rig's time began has told nobody.
		if ready > 0 {
			n.greeting, _ = r.Started() // New has seen that it can be said
			s.wake(ready)
		}
		return n
	}
}

// character is the serial receive interrupt.
func (n *speaker) character(t time.Duration, c byte) {
	if t < n.readyAt {
		return
	}
	if n.length+n.waits >= n.station.settings.inputBuffer {
		n.overrun = true
	} else {
		n.length++
	}
	for _, q := range n.responder.Feed([]byte{c}) {
		n.receive(t, q)
	}
}

// receive puts a request that is whole behind those that wait.
func (n *speaker) receive(t time.Duration, q station.Request) {
	r := request{Request: q, length: n.length}
	switch {
	case n.overrun:
		r.length, r.code = 0, inputOverrun
	case q.Problem != "":
		r.code = undefinedHeader
	}
	n.length, n.overrun = 0, false
	// What did not fit takes no room, so it has to be bounded in another way.
	if len(n.waiting) >= n.station.settings.inputBuffer {
		return
	}
	n.waits += r.length
	n.waiting = append(n.waiting, r)
	if len(n.waiting) == 1 && !n.executing {
		n.station.wake(t + n.station.settings.unitTime)
	}
}

// run is the main loop's turn at t: it takes a request up, executes it, or goes on with it.
func (n *speaker) run(t time.Duration) {
	switch {
	case len(n.greeting) > 0 && t >= n.readyAt:
		n.station.say(t, string(n.greeting))
		n.greeting = nil
		return
	case n.acting != nil:
	case n.executing:
		n.acting = n.begin(t)
	case len(n.waiting) > 0:
		n.executing = true
		n.waits -= n.waiting[0].length
		n.station.wake(t + n.station.settings.unitTime)
		return
	default:
		return
	}
	r, ended := n.acting(t)
	if !ended {
		return // whoever it waits for wakes the main loop
	}
	n.answer(t, n.waiting[0].Request, r)
	n.waiting = n.waiting[:copy(n.waiting, n.waiting[1:])]
	n.acting, n.executing = nil, false
	if len(n.waiting) > 0 {
		n.station.wake(t + n.station.settings.unitTime)
	}
}

// answer says what came of a request.
func (n *speaker) answer(t time.Duration, q station.Request, r result) {
	result := n.result(q.Command.Operation(), r)
	// Dialects differ in what their codes look like: say it as it is, or at least its number, or leave it out.
	for _, code := range []string{result.Code, strconv.Itoa(max(int(r.code), -int(r.code))), ""} {
		result.Code = code
		if said, err := n.responder.Answer(q, result); err == nil {
			n.station.say(t, string(said))
			return
		}
	}
}

// result is a result in the words of the harness.
func (n *speaker) result(o station.Operation, r result) station.Result {
	said := station.Result{Means: station.MeansValue, Identity: n.station.identity()}
	if r.code != noError {
		said.Code, said.Text = strconv.Itoa(int(r.code)), errorTexts[r.code]
		switch r.code {
		case noAcknowledge:
			said.Means = station.MeansNoAcknowledge
		case trackTripped:
			said.Means = station.MeansTripped
		default:
			said.Means = station.MeansRefused
		}
		return said
	}
	switch o {
	case station.ReadPower:
		said.Value = [...]string{"off", "on", "tripped"}[r.value]
	case station.VerifyCV:
		said.Value = strconv.FormatBool(r.value == truth(true))
	case station.ReadCurrent, station.ReadCV:
		said.Value = strconv.Itoa(r.value)
	case station.Identify:
	default:
		said.Means = station.MeansDone
	}
	return said
}
