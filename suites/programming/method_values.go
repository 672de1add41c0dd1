package programming

import (
	"errors"
	"fmt"
	"slices"

	"bufferstop/fakedecoder"
	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// An examinee is a decoder that is accessed by one method, and the count of what came out wrong.
type examinee struct {
	*examination.Check
	decoder *fakedecoder.Decoder
	method  station.Method
	asked   int // accesses that there is a command for
	wrong   int
}

func (e *examinee) no(what, expected, actual string) {
	e.wrong++
	e.Wrong(what, expected, actual, e.Rig.Now())
}

// untold reports whether the station has no command for an access. It is not asked for it then: a station that writes and does not read, or
// does not verify, is judged by what it does. Of one that does nothing there is nothing to judge.
func (e *examinee) untold(what string, err error) bool {
	if !errors.Is(err, station.ErrNotSupported) {
		e.asked++
		return false
	}
	e.Note("%s: %v", what, err)
	return true
}

// judge says how much came out wrong.
func (e *examinee) judge(quantity string) {
	if e.asked == 0 {
		e.NotClaimed("the station has no command for any of this")
	}
	e.Number(quantity, e.wrong, e.Rig.Now())
}

// writes expects that a value that is written is in the decoder afterwards.
func (e *examinee) writes(cv int, value byte) {
	what := fmt.Sprintf("writing %d to CV %d by the %s method", value, cv, e.method)
	err := e.AskToWriteBy(e.method, cv, value)
	if e.untold(what, err) {
		e.decoder.SetCV(cv, value) // for what is read or verified next
		return
	}
	if errors.Is(err, station.ErrNoAcknowledge) {
		e.no(what, "done", "no acknowledge")
	} else {
		e.Obeyed(what, err)
	}
	if got := e.decoder.CV(cv); got != value {
		e.no(what, fmt.Sprintf("%d in the decoder", value), fmt.Sprint(got))
	}
}

// verifies expects that a CV is found to have its value, and another one not.
func (e *examinee) verifies(cv int, asked byte) {
	what := fmt.Sprintf("verifying %d in CV %d, which holds %d, by the %s method", asked, cv, e.decoder.CV(cv), e.method)
	same, err := e.AskToVerifyBy(e.method, cv, asked)
	if e.untold(what, err) {
		return
	}
	e.Obeyed(what, err)
	if want := asked == e.decoder.CV(cv); same != want {
		e.no(what, fmt.Sprint(want), fmt.Sprint(same))
	}
}

// reads expects that a CV is read as it is, if nothing was wrong before: a station may have to ask for each value in turn, so
// that a read of what it does not find takes it half a minute. The value had better be small.
func (e *examinee) reads(cv int) {
	if e.wrong > 0 {
		return
	}
	what := fmt.Sprintf("reading CV %d by the %s method", cv, e.method)
	value, err := e.AskToReadBy(e.method, cv)
	if e.untold(what, err) {
		return
	}
	want := e.decoder.CV(cv)
	if errors.Is(err, station.ErrNoAcknowledge) {
		e.no(what, fmt.Sprint(want), "no acknowledge")
		return
	}
	e.Obeyed(what, err)
	if value != want {
		e.no(what, fmt.Sprint(want), fmt.Sprint(value))
	}
}

// pagedCVs are the first and the last of pages, on both sides of what fits into a byte.
var pagedCVs = []int{1, 4, 5, 68, 255, 256, 257, 1017, 1020}

func pagedValues(x *examination.Check) {
	e := examinee{Check: x, decoder: x.FitDefault(), method: station.Paged}
	for i, cv := range pagedCVs {
		e.writes(cv, byte(11*i+5)) // a different value in each
	}
	e.verifies(257, e.decoder.CV(257))
	e.verifies(257, e.decoder.CV(256))
	e.decoder.SetCV(1017, 2)
	e.reads(1017)
	e.judge("values lost or falsely confirmed")
}

func lastPage(x *examination.Check) {
	e := examinee{Check: x, decoder: x.FitDefault(), method: station.Paged}
	e.writes(1021, 201)
	e.writes(1024, 45)
	e.verifies(1024, 45)
	e.judge("values lost or falsely confirmed")
}

// The values are such as the CVs can hold (S-9.2.2, July 2012). CV 7 and 8 cannot be written.
func registerValues(x *examination.Check) {
	e := examinee{Check: x, decoder: x.FitDefault(), method: station.Register}
	for i, cv := range []int{1, 2, 3, 4} {
		e.writes(cv, byte(11*i+5))
	}
	e.writes(29, 2)
	e.reads(29)
	for _, cv := range []int{7, 8} {
		e.verifies(cv, e.decoder.CV(cv))
	}
	e.verifies(8, e.decoder.CV(7))
	e.judge("values lost or falsely confirmed")
}

// tooGreat is no address: seven bits end at 127.
const tooGreat = 200

func addressOnly(x *examination.Check) {
	e := examinee{Check: x, decoder: x.FitDefault(), method: station.AddressOnly}
	w := x.Watch(station.Programming)
	e.writes(1, 85)
	e.verifies(1, 85)
	e.verifies(1, 84)
	e.decoder.SetCV(1, 3)
	e.reads(1)
	err := x.AskToWriteBy(station.AddressOnly, 1, tooGreat)
	var refused *station.Refused
	switch what := fmt.Sprintf("writing the address %d", tooGreat); {
	case err == nil:
		e.no(what, "refused", "done")
	case errors.As(err, &refused), errors.Is(err, station.ErrNoAcknowledge), errors.Is(err, station.ErrNotSupported):
	default:
		x.Obeyed(what, err)
	}
	w.Stop()
	e.judge("values lost or falsely confirmed")
	beyond, at := 0, x.Rig.Now()
	for _, r := range runs(w) {
		if i, is := registerOf(r.meaning); is && i.Value > dcc.MaxShort {
			beyond += r.count
			at = r.start
			x.Wrong("address-only packets", "an address up to 127", i.String(), r.start)
		}
	}
	x.Number("packets with bit 7 of the address", beyond, at)
}

// Each method verifies once what is there, which the decoder answers.
func oneMethod(x *examination.Check) {
	foreign, at := 0, x.Rig.Now()
	for _, m := range []station.Method{station.Direct, station.AddressOnly, station.Register, station.Paged} {
		if !x.File.Claims.Method(m) {
			continue
		}
		d := x.FitDefault()
		cv := 1
		if m == station.Paged || m == station.Direct {
			cv = pagedCV
			d.SetCV(cv, 2) // small, should the station have to read it
		}
		w := x.Watch(station.Programming)
		_, err := x.VerifyOrReadBy(m, cv, d.CV(cv))
		x.Obeyed(fmt.Sprintf("verify CV %d by the %s method", cv, m), err)
		w.Stop()
		own := 0
		for _, h := range w.Packets {
			switch {
			case h.Fault != signal.None:
			case !belongs(m, h.Meaning):
				foreign++
				at = h.Start
				x.Wrong(fmt.Sprintf("packets of the %s method", m), "resets and its own", h.Meaning.String(), h.Start)
			case h.Service:
				own++
			}
		}
		if own == 0 {
			x.Inconclusive("the station sent no packet of service mode")
		}
		x.TakeOff()
	}
	x.Number("packets of another method", foreign, at)
}

// belongs reports whether an instruction has its place in an operation by a method. What is not for service mode is not judged
// here, and a page preset leaves things as decoders expect them whenever it comes.
func belongs(m station.Method, i dcc.Instruction) bool {
	direct := m == station.Direct
	switch told := i.(type) {
	case dcc.DirectBit:
		return direct || told.CV == 8 && told.Bit == 7 && !told.Write // the question for direct mode
	case dcc.DirectVerify, dcc.DirectWrite:
		return direct
	case dcc.Register:
		return !direct
	case dcc.AddressQuery, dcc.DecoderLock, dcc.FactoryReset:
		return false
	}
	return true
}

// S-9.2.3 E: a station with direct mode has all three types.
func directTypes(x *examination.Check) {
	d := x.FitDefault()
	w := x.Watch(station.Programming)
	const cv = 3
	_, err := x.AskToRead(cv)
	x.Obeyed("read a CV", err)
	_, err = x.AskToVerify(cv, d.CV(cv))
	unverified := errors.Is(err, station.ErrNotSupported)
	if !unverified {
		x.Obeyed("verify a CV", err)
	}
	x.WriteCV(cv, 12)
	if x.File.Claims.BitWrite {
		x.Obeyed("write a bit", x.AskToWriteBit(cv, 0, true))
	}
	w.Stop()
	var verify, write, bit int
	for _, h := range w.Packets {
		switch h.Meaning.(type) {
		case dcc.DirectVerify:
			verify = 1
		case dcc.DirectWrite:
			write = 1
		case dcc.DirectBit:
			bit = 1
		}
	}
	if verify == 0 && unverified {
		x.NotClaimed("the station has no command to verify, and it reads by bits")
	}
	if bit == 0 && slices.Contains(x.File.Claims.Lacks, "bit write") {
		x.NotClaimed("the station says that it lacks bit write, and it reads without bits")
	}
	for _, c := range []struct {
		name string
		n    int
	}{{"verify byte", verify}, {"write byte", write}, {"bit", bit}} {
		if c.n == 0 {
			x.Wrong("instructions of direct mode while a CV is read, verified and written", c.name, "not used", x.Rig.Now())
		}
	}
	x.Number("types of direct mode", verify+write+bit, x.Rig.Now())
}

// A write that loses the high bits of the CV's number lands in another one.
func writeListOfCVs(x *examination.Check) {
	e := examinee{Check: x, decoder: x.FitDefault(), method: station.Direct}
	for i, cv := range []int{3, 64, 128, 256, 257, 512, 769, 1023} {
		e.writes(cv, byte(13*i+9)) // a different value in each
	}
	e.judge("values lost or misplaced")
}

func highestCV(x *examination.Check) {
	e := examinee{Check: x, decoder: x.FitDefault(), method: station.Direct}
	e.writes(dcc.MaxCV, 0x5a)
	e.judge("values lost or misplaced")
}
