package programming

import (
	"errors"
	"fmt"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// slowStorage has a decoder answer a write in the recovery time: five writes are over, at the latest, 40 ms after the window has
// opened, and eleven packets last until 60 ms after it at the least. A write packet takes 6 ms to 10 ms. Our own choice within that.
const slowStorage = 44 * time.Millisecond

// S-9.2.3 D: for a write the window lasts through the recovery time. A station that verifies whatever it has written cannot show
// that it missed the acknowledge, and needs not to have seen it. From all others the decoder hides what was written.
func lateWriteAcknowledge(x *examination.Check) {
	missed := 0
	for _, m := range []station.Method{station.Direct, station.AddressOnly, station.Register, station.Paged} {
		if !x.File.Claims.Method(m) {
			continue
		}
		cv := pagedCV
		if m == station.AddressOnly || m == station.Register {
			cv = 1
		}
		late := fakedecoder.Default()
		late.Storage = slowStorage
		if !verifiesWrites(x, m, cv) {
			late.WriteOnly = []int{cv}
		}
		d := x.Fit(late)
		what := fmt.Sprintf("writing CV %d by the %s method, acknowledged after %v", cv, m, slowStorage)
		err := x.AskToWriteBy(m, cv, 12)
		if errors.Is(err, station.ErrNoAcknowledge) {
			missed++
			x.Wrong(what, "done", "no acknowledge", x.Rig.Now())
		} else {
			x.Obeyed(what, err)
		}
		if d.CV(cv) != 12 {
			x.Inconclusive("%s: the value did not reach the decoder", what)
		}
		x.TakeOff()
	}
	x.Number("acknowledges missed", missed, x.Rig.Now())
}

// verifiesWrites reports whether a station verifies what it has written though the decoder has acknowledged at once.
func verifiesWrites(x *examination.Check, m station.Method, cv int) bool {
	x.FitDefault()
	w := x.Watch(station.Programming)
	what := fmt.Sprintf("writing CV %d by the %s method", cv, m)
	x.Obeyed(what, x.AskToWriteBy(m, cv, 11))
	w.Stop()
	x.TakeOff()
	written := false
	for _, h := range w.Packets {
		switch told := h.Meaning.(type) {
		case dcc.DirectWrite:
			written = true
		case dcc.DirectVerify, dcc.DirectBit:
			if written {
				return true
			}
		case dcc.Register:
			if told.Register == dcc.PageRegister {
				continue
			}
			if written && !told.Write {
				return true
			}
			written = written || told.Write
		}
	}
	return false
}

// lateAnswer has the pulse end within the last of five verify packets: three of them take 19 ms at the least after the window has
// opened, and the pulse is 6 ms wide. Our own choice within that.
const lateAnswer = 12 * time.Millisecond

func lateVerifyAcknowledge(x *examination.Check) {
	c := fakedecoder.Default()
	c.Acknowledge.Delay = lateAnswer
	d := x.Fit(c)
	wrong := 0
	const cv = 66
	for _, value := range []byte{0x5a, 0xa5} {
		d.SetCV(cv, value)
		if right, _ := reads(x, d, cv); !right {
			wrong++
		}
	}
	x.Number("wrong or missing values", wrong, x.Rig.Now())
}

// The corners of the legal pulse, by the methods that ACK-001 and ACK-002 do not see.
func acknowledgesByOtherMethods(x *examination.Check) {
	missed := 0
	for _, personality := range []string{"pulse-60mA-5ms", "pulse-60mA-7ms"} {
		d := x.FitPersonality(personality)
		for _, m := range []station.Method{station.AddressOnly, station.Register, station.Paged} {
			if !x.File.Claims.Method(m) {
				continue
			}
			cv := 1
			if m == station.Paged {
				cv = pagedCV
				d.SetCV(cv, 2) // small, should the station have to read it
			}
			what := fmt.Sprintf("verifying CV %d by the %s method with %s", cv, m, personality)
			same, err := x.VerifyOrReadBy(m, cv, d.CV(cv))
			x.Obeyed(what, err)
			if !same {
				missed++
				x.Wrong(what, "acknowledged", "not acknowledged", x.Rig.Now())
			}
		}
		x.TakeOff()
	}
	x.Number("acknowledges missed", missed, x.Rig.Now())
}
