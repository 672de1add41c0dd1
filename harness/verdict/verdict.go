// Package verdict turns a measured quantity, the limit of its requirement and the uncertainty of the measurement into a
// verdict, and the verdicts of a run into its outcome.
//
// The rule is the non-binary one of ILAC-G8:09/2019 section 4.2.3 with a guard band as wide as the expanded uncertainty U
// (k=2): a value inside the limit by at least U passes, a value inside but nearer than U passes conditionally, a value
// outside by at most U fails conditionally, and a value further outside fails.
//
//	m := verdict.Distribution("one half-bit", verdict.Nanoseconds, spread, verdict.Between(55e3, 61e3, "S-9.1 A (2020)"), 50)
//	result.Verdict = verdict.Worsen(result.Verdict, m.Verdict)
package verdict

import (
	"fmt"
	"slices"
)

// A Verdict is what can be said of one requirement, or of one measurement. The zero value says that nothing was
// measured; Settle makes an Error of it.
type Verdict uint8

// The verdicts, from the one that weighs least to the one that weighs most. Worsen keeps the heavier of two.
//
// The order has reasons. NotClaimed asks nothing of the station, so anything said beside it counts. What was left out or
// could not be done weighs more than a pass, so that half a check never reads as a whole one. A failure that was seen
// weighs more than what was not seen. Error weighs most: a bench that is at fault cannot accuse a station.
const (
	Unmeasured      Verdict = iota // no measurement was taken yet
	NotClaimed                     // the station does not claim it, so nothing is asked
	Pass                           // inside the limit by at least U
	ConditionalPass                // inside the limit, but by less than U
	Excluded                       // left out by the user, or because the run was ended early
	NotFitted                      // the rig lacks what the check needs
	Inconclusive                   // the stimulus did not happen, or nothing was there to measure
	ConditionalFail                // outside the limit, but by no more than U
	Fail                           // outside the limit by more than U
	Error                          // the harness or the rig is at fault, never the station
)

var texts = [...]string{
	Unmeasured:      "not measured",
	NotClaimed:      "not claimed",
	Pass:            "pass",
	ConditionalPass: "conditional pass",
	Excluded:        "excluded",
	NotFitted:       "not fitted",
	Inconclusive:    "inconclusive",
	ConditionalFail: "conditional fail",
	Fail:            "fail",
	Error:           "error",
}

// All lists the nine verdicts that a finished requirement can have, in the order in which reports count them.
func All() []Verdict {
	return []Verdict{Pass, ConditionalPass, ConditionalFail, Fail, Error, Inconclusive, NotFitted, NotClaimed, Excluded}
}

// Worsen returns the heavier of two verdicts. It is commutative, associative and idempotent, and Unmeasured is its
// neutral element.
func Worsen(a, b Verdict) Verdict { return max(a, b) }

// Settle returns v, or Error for a requirement whose measurement was never taken.
func (v Verdict) Settle() Verdict {
	if v == Unmeasured {
		return Error
	}
	return v
}

// Inside reports whether a measurement was taken and lies inside its limit: Pass or ConditionalPass.
func (v Verdict) Inside() bool { return v == Pass || v == ConditionalPass }

// Outside reports whether a measurement was taken and lies outside its limit: Fail or ConditionalFail.
func (v Verdict) Outside() bool { return v == Fail || v == ConditionalFail }

// Skipped reports whether the check was left out for a reason that is nobody's fault: NotClaimed, NotFitted or Excluded.
func (v Verdict) Skipped() bool { return v == NotClaimed || v == NotFitted || v == Excluded }

// String returns the text form, such as "conditional pass".
func (v Verdict) String() string {
	if int(v) < len(texts) {
		return texts[v]
	}
	return fmt.Sprintf("verdict %d", uint8(v))
}

// Parse reads the text form of a verdict.
func Parse(text string) (Verdict, error) {
	if i := slices.Index(texts[:], text); i > 0 {
		return Verdict(i), nil
	}
	return Unmeasured, fmt.Errorf("verdict: got %q, want one of %q", text, texts[1:])
}

// MarshalText writes the text form. A verdict that was never settled has none.
func (v Verdict) MarshalText() ([]byte, error) {
	if v == Unmeasured || int(v) >= len(texts) {
		return nil, fmt.Errorf("verdict: %s cannot be recorded; Settle it first", v)
	}
	return []byte(texts[v]), nil
}

// UnmarshalText reads the text form.
func (v *Verdict) UnmarshalText(text []byte) error {
	parsed, err := Parse(string(text))
	if err == nil {
		*v = parsed
	}
	return err
}
