package programming

import (
	"errors"
	"fmt"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/suites/examination"
)

// The methods of S-9.2.3 E (July 2012) beside direct mode. All of them write the page register first, and then verify or write
// a register; what is asked for here is how often each packet comes.

// An exchange is some operations by one method that no decoder acknowledges, so that every sequence has its full length. A decoder
// that is deaf is on the track, as in unanswered.
type exchange struct {
	*harness.Watch
	asked []time.Duration // when each operation was asked for
	page  byte            // on which the method finds what it was asked for
	// unverified and unwritten say that the station has no command to verify a CV by the method, or to write one.
	unverified, unwritten bool
}

// exchanges are what is asked for by each method, and the name of the exercise.
var exchanges = map[station.Method]struct {
	name   string
	cv     int
	others []int // written too
}{
	station.AddressOnly: {"address-only method without acknowledge", 1, nil},
	station.Register:    {"register method without acknowledge", 1, []int{29}},
	station.Paged:       {"paged method without acknowledge", pagedCV, nil},
}

// pagedCV is on page 17, as in the example of S-9.2.3 E (July 2012); any value is legal in it (S-9.2.2, July 2012: forward trim).
const pagedCV = 66

// unansweredBy is the exchange by a method.
func unansweredBy(x *examination.Check, m station.Method) exchange {
	e := exchanges[m]
	done := examination.Shared(x, e.name, func() exchange {
		x.TakeOff() // what answered in another exercise
		d := x.FitPersonality("deaf")
		defer x.TakeOff()
		done := exchange{Watch: x.Watch(station.Programming), page: 1}
		if m == station.Paged {
			done.page, _, _ = dcc.CVPage(e.cv)
		}
		ask := func(what string, call func() error) {
			done.asked = append(done.asked, x.Now())
			unacknowledged(x, fmt.Sprintf("%s by the %s method", what, m), call())
		}
		ask(fmt.Sprintf("verify CV %d", e.cv), func() error {
			_, err := x.AskToVerifyBy(m, e.cv, d.CV(e.cv)+1)
			if done.unverified = errors.Is(err, station.ErrNotSupported); done.unverified {
				return nil
			}
			return err
		})
		for _, cv := range append([]int{e.cv}, e.others...) {
			ask(fmt.Sprintf("write CV %d", cv), func() error {
				err := x.AskToWriteBy(m, cv, 6)
				if done.unwritten = errors.Is(err, station.ErrNotSupported); done.unwritten {
					return nil
				}
				return err
			})
		}
		done.Stop()
		return done
	})
	x.Look(done.Watch)
	return done
}

// nothing ends a check for which there was nothing to judge in the exchange.
func (e exchange) nothing(x *examination.Check, why string) {
	if e.unverified && e.unwritten {
		x.NotClaimed("%s: it has no command to verify a CV by it, nor to write one", why)
	}
	x.Inconclusive("%s", why)
}

// methodWatches are the watches on the exchanges by all methods that the station claims beside direct mode.
func methodWatches(x *examination.Check) []*harness.Watch {
	var all []*harness.Watch
	for _, m := range []station.Method{station.AddressOnly, station.Register, station.Paged} {
		if x.File.Claims.Method(m) {
			all = append(all, unansweredBy(x, m).Watch)
		}
	}
	return all
}

// pageOf is the page that an instruction writes into the page register.
func pageOf(i dcc.Instruction) (page byte, writes bool) {
	switch told := i.(type) {
	case dcc.PagePreset:
		return 1, true
	case dcc.Register:
		return told.Value, told.Write && told.Register == dcc.PageRegister
	}
	return 0, false
}

// registerOf is the register that an instruction verifies or writes, unless it is that of the page.
func registerOf(i dcc.Instruction) (r dcc.Register, ok bool) {
	r, ok = i.(dcc.Register)
	return r, ok && r.Register != dcc.PageRegister
}

// leads reports whether a run writes the page for an instruction: no other packet of service mode lies between. Resets do, and in a
// power-on cycle any packets.
func leads(all []run, i int) bool {
	for _, r := range all[i+1:] {
		if r.packet.IsService() {
			_, instruction := registerOf(r.meaning)
			return instruction
		}
	}
	return false
}

// paging judges how the page register is written ahead of instructions.
type paging struct {
	before, own, withRecovery, after verdict.Spread
}

func pagingOf(e exchange) (p paging) {
	all := runs(e.Watch)
	for i, r := range all {
		if _, writes := pageOf(r.meaning); !writes || !leads(all, i) {
			continue
		}
		packets := recovered(e.Watch, all, i)
		p.before.Add(float64(resetsAhead(all, i)), r.start)
		p.own.Add(float64(r.count), r.start)
		p.withRecovery.Add(float64(packets), r.start)
		p.after.Add(float64(packets-r.count), r.end)
	}
	return p
}

// offPage counts the instructions that come while the page register was not written in their operation, or holds another page.
func offPage(x *examination.Check, e exchange) (n int, at time.Duration) {
	var page byte
	written, instructions, operation := false, 0, 0
	for _, r := range runs(e.Watch) {
		for operation < len(e.asked) && e.asked[operation] <= r.start {
			written = false
			operation++
		}
		if to, writes := pageOf(r.meaning); writes && r.count >= 2 { // the second packet is the one that counts
			page, written = to, true
		}
		if _, is := registerOf(r.meaning); !is {
			continue
		}
		instructions++
		if !written || page != e.page {
			n++
			at = r.start
			got := "none was written"
			if written {
				got = fmt.Sprintf("page %d", page)
			}
			x.Wrong(r.meaning.String(), fmt.Sprintf("page %d in the page register", e.page), got, r.start)
		}
	}
	if instructions == 0 {
		e.nothing(x, "the station sent no packet of this method")
	}
	return n, at
}

// registerSequences are the sequences of the instructions to registers, writes or verifies.
func registerSequences(e exchange, write bool, wanted func(register int) bool) (before, own, withRecovery verdict.Spread) {
	return sequences(e.Watch, func(i dcc.Instruction) bool {
		r, is := registerOf(i)
		return is && r.Write == write && wanted(r.Register)
	})
}

func anyRegister(int) bool { return true }

func addressOnlySequence(x *examination.Check) {
	e := unansweredBy(x, station.AddressOnly)
	n, at := offPage(x, e)
	x.Number("instructions without a page preset", n, at)
	p := pagingOf(e)
	x.SpreadOfCounts("resets before the page preset", p.before)
	x.SpreadOfCounts("page presets", p.own)
	x.SpreadOfCounts("page presets and what follows them", p.withRecovery)
	instructions(x, e)
	recovery(x, "packets of write and recovery", e, anyRegister)
}

func registerSequence(x *examination.Check) {
	e := unansweredBy(x, station.Register)
	n, at := offPage(x, e)
	x.Number("instructions without a page preset", n, at)
	p := pagingOf(e)
	x.SpreadOfCounts("resets before the page preset", p.before)
	x.SpreadOfCounts("page presets", p.own)
	x.SpreadOfCounts("resets after the page presets", p.after)
	instructions(x, e)
	recovery(x, "packets of write and recovery", e, func(r int) bool { return r != 1 })
	recovery(x, "packets of write and recovery of register 1", e, func(r int) bool { return r == 1 })
}

func pagedSequence(x *examination.Check) {
	e := unansweredBy(x, station.Paged)
	n, at := offPage(x, e)
	x.Number("instructions off their page", n, at)
	p := pagingOf(e)
	x.SpreadOfCounts("resets before the page", p.before)
	x.SpreadOfCounts("writes of the page register", p.own)
	x.SpreadOfCounts("resets after the page", p.after)
	instructions(x, e)
	recovery(x, "packets of write and recovery", e, anyRegister)
}

// instructions judges what all methods have in common of an instruction.
func instructions(x *examination.Check, e exchange) {
	resets, verifies, _ := registerSequences(e, false, anyRegister)
	more, writes, _ := registerSequences(e, true, anyRegister)
	resets.Join(more)
	x.SpreadOfCounts("resets before an instruction", resets)
	if e.unverified {
		x.Note("the station has no command to verify a CV by this method: verify packets were not looked at")
	} else {
		x.SpreadOfCounts("verify packets", verifies)
	}
	if e.unwritten {
		x.Note("the station has no command to write a CV by this method: write packets were not looked at")
	} else {
		x.SpreadOfCounts("write packets", writes)
	}
}

// recovery judges the packets of writes to registers and the resets after them.
func recovery(x *examination.Check, quantity string, e exchange, wanted func(register int) bool) {
	if e.unwritten {
		return
	}
	_, _, withRecovery := registerSequences(e, true, wanted)
	x.SpreadOfCounts(quantity, withRecovery)
}

// S-9.2.3 E: who has no page register in mind finds page 1 in the decoder.
func pagePutBack(x *examination.Check) {
	e := unansweredBy(x, station.Paged)
	all := runs(e.Watch)
	elsewhere, written, at := 0, 0, e.Ended
	for i := range e.asked {
		until := e.Ended
		if i+1 < len(e.asked) {
			until = e.asked[i+1]
		}
		last, wrote := byte(1), false
		for _, r := range all {
			if page, writes := pageOf(r.meaning); writes && r.start >= e.asked[i] && r.start < until {
				last, wrote, at = page, true, r.start
			}
		}
		if wrote {
			written++
		}
		if last != 1 {
			elsewhere++
			x.Wrong("the page register after an operation", "page 1", fmt.Sprintf("page %d", last), at)
		}
	}
	if written == 0 {
		e.nothing(x, "the station wrote no page register")
	}
	x.Number("operations that end on another page", elsewhere, at)
}

// S-9.2.3 E, footnote 3: no power cycle between the page and what is done on it.
func pagedPower(x *examination.Check) {
	e := unansweredBy(x, station.Paged)
	all := runs(e.Watch)
	cut, seen, at := 0, false, e.Ended
	for i, r := range all {
		if _, writes := pageOf(r.meaning); !writes || !leads(all, i) {
			continue
		}
		last := r.end // of the instructions on this page
		for _, later := range all[i+1:] {
			if _, writes := pageOf(later.meaning); writes {
				break
			}
			if _, is := registerOf(later.meaning); is {
				seen, last = true, later.end
			}
		}
		for _, u := range e.Unusable {
			if u.Reason == signal.ReasonOff && u.Start >= r.start && u.Start < last {
				cut++
				at = u.Start
				x.Wrong("power between page and data", "on", fmt.Sprintf("off for %v", u.End-u.Start), u.Start)
			}
		}
	}
	if !seen {
		e.nothing(x, "the station sent no page with data after it")
	}
	x.Number("cuts between page and data", cut, at)
}
