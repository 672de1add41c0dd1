package programming

import (
	"errors"
	"fmt"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness/station"
	"bufferstop/harness/uncertainty"
	"bufferstop/suites/examination"
)

// reads expects that the station reads what is in the decoder, and says whether it does. How long it took is returned.
func reads(x *examination.Check, d *fakedecoder.Decoder, cv int) (right bool, took time.Duration) {
	x.PrepareToRead(cv)
	given := x.Now()
	want := fmt.Sprintf("%d", d.CV(cv))
	value, err := x.AskToRead(cv)
	took = x.Rig.Now() - given
	what := fmt.Sprintf("reading CV %d", cv)
	if errors.Is(err, station.ErrNoAcknowledge) {
		x.Wrong(what, want, "no acknowledge", given)
		return false, took
	}
	x.Obeyed(what, err)
	if value != d.CV(cv) {
		x.Wrong(what, want, fmt.Sprintf("%d", value), given)
		return false, took
	}
	return true, took
}

// Every value of one byte: a bit that is read as another, or a byte that is taken for the next, shows. The two halves are two
// requirements, because each takes minutes and they may be examined at the same time.
func lowerValues(x *examination.Check) { values(x, 0, 127) }
func upperValues(x *examination.Check) { values(x, 128, 255) }

func values(x *examination.Check, first, last int) {
	const cv = 66 // forward trim: any value is legal (S-9.2.2, July 2012)
	d := x.FitDefault()
	wrong := 0
	for value := first; value <= last; value++ {
		d.SetCV(cv, byte(value))
		if right, _ := reads(x, d, cv); !right {
			wrong++
		}
	}
	x.Number("wrong or missing values", wrong, x.Rig.Now())
}

// cvList holds CVs from the whole range that the direct mode of S-9.2.3 E reaches, 1 to 1023 as its text says: both
// sides of each byte boundary of the CV address, and those that every decoder has.
var cvList = []int{1, 2, 3, 7, 8, 17, 18, 29, 64, 128, 255, 256, 257, 512, 513, 768, 769, 1000, 1023}

func listOfCVs(x *examination.Check) {
	d := x.FitDefault()
	wrong := 0
	var longest, at time.Duration
	for i, cv := range cvList {
		if cv > 29 {
			d.SetCV(cv, byte(37*i+11)) // a different value in each
		}
		right, took := reads(x, d, cv)
		if !right {
			wrong++
		}
		if took > longest {
			longest, at = took, x.Rig.Now()
		}
	}
	x.Number("wrong or missing values", wrong, x.Rig.Now())
	x.Promise("time to read a CV", longest, x.File.Declares.ReadTime, at, x.Budget(uncertainty.AnswerTime))
}

// What is written is in the decoder afterwards, reads back, verifies; a wrong value does not verify.
func writeThenVerify(x *examination.Check) {
	d := x.FitDefault()
	wrong := 0
	no := func(what, expected, actual string) {
		wrong++
		x.Wrong(what, expected, actual, x.Rig.Now())
	}
	const cv = 67 // first entry of the speed table: any value is legal (S-9.2.2, July 2012)
	for _, value := range []byte{1, 85, 128, 170, 254} {
		what := fmt.Sprintf("writing %d to CV %d", value, cv)
		err := x.AskToWrite(cv, value)
		if errors.Is(err, station.ErrNoAcknowledge) {
			no(what, "done", "no acknowledge")
			continue
		}
		x.Obeyed(what, err)
		if d.CV(cv) != value {
			no(what, fmt.Sprintf("%d in the decoder", value), fmt.Sprintf("%d", d.CV(cv)))
		}
		if right, _ := reads(x, d, cv); !right {
			wrong++
		}
		for _, asked := range []byte{d.CV(cv), d.CV(cv) ^ 0x10} {
			what := fmt.Sprintf("verifying %d in CV %d, which holds %d", asked, cv, d.CV(cv))
			same, err := x.VerifyOrReadBy(station.Direct, cv, asked)
			x.Obeyed(what, err)
			if same != (asked == d.CV(cv)) {
				no(what, fmt.Sprint(asked == d.CV(cv)), fmt.Sprint(same))
			}
		}
	}
	x.Number("values lost or falsely confirmed", wrong, x.Rig.Now())
}

// A bit write changes its bit alone.
func bitWrite(x *examination.Check) {
	d := x.FitDefault()
	wrong := 0
	const cv = 68 // speed table: any value is legal (S-9.2.2, July 2012)
	for bit := range 8 {
		for _, start := range []byte{0x5a, 0xa5} {
			d.SetCV(cv, start)
			on := start>>bit&1 == 0
			want := start ^ 1<<bit
			what := fmt.Sprintf("writing bit %d of CV %d, which holds %d", bit, cv, start)
			err := x.AskToWriteBit(cv, bit, on)
			if errors.Is(err, station.ErrNoAcknowledge) {
				wrong++
				x.Wrong(what, fmt.Sprint(want), "no acknowledge", x.Rig.Now())
				continue
			}
			x.Obeyed(what, err)
			if got := d.CV(cv); got != want {
				wrong++
				x.Wrong(what, fmt.Sprint(want), fmt.Sprint(got), x.Rig.Now())
			}
		}
	}
	x.Number("wrong values", wrong, x.Rig.Now())
}

// With nothing on the track a read ends, in the time that the station declares, with the report that nothing answered.
func noDecoder(x *examination.Check) {
	given := x.Now()
	value, err := x.AskToRead(8)
	took := x.Rig.Now() - given
	switch {
	case err == nil:
		x.Failed("reading with no decoder", "no acknowledge", fmt.Sprintf("the value %d", value), given)
	case !errors.Is(err, station.ErrNoAcknowledge):
		x.Obeyed("reading with no decoder", err)
	}
	x.Promise("time to the report", took, x.File.Declares.NoDecoderTime, x.Rig.Now(), x.Budget(uncertainty.AnswerTime))
}
