package verdict

import (
	"fmt"
	"slices"
)

// A Level says how much a requirement binds, in the words of RFC 2119.
type Level string

// The two levels. A station that fails a Must does not conform; one that fails a Should conforms with observations.
const (
	Must   Level = "MUST"
	Should Level = "SHOULD"
)

// UnmarshalText reads a level; anything but MUST and SHOULD is an error.
func (l *Level) UnmarshalText(text []byte) error {
	switch Level(text) {
	case Must, Should:
		*l = Level(text)
		return nil
	}
	return fmt.Errorf("level: got %q, want MUST or SHOULD", text)
}

// An Outcome is what a whole run says.
type Outcome string

// The outcomes of a run, from the mildest to the one that overrides all others.
const (
	Conforms                 Outcome = "conforms"
	ConformsWithObservations Outcome = "conforms with observations"
	Incomplete               Outcome = "incomplete"
	DoesNotConform           Outcome = "does not conform"
	Faulted                  Outcome = "rig or harness fault"
	Interrupted              Outcome = "interrupted"
)

var outcomes = []Outcome{Conforms, ConformsWithObservations, Incomplete, DoesNotConform, Faulted, Interrupted}

// UnmarshalText reads an outcome as records hold it.
func (o *Outcome) UnmarshalText(text []byte) error {
	if slices.Contains(outcomes, Outcome(text)) {
		*o = Outcome(text)
		return nil
	}
	return fmt.Errorf("outcome: got %q, want one of %q", text, outcomes)
}

// The exit codes of the command line.
const (
	ExitConforms       = 0 // with or without observations
	ExitDoesNotConform = 1
	ExitUsage          = 2 // usage or configuration, and a selection of nothing
	ExitFault          = 3 // the rig or the harness is at fault
	ExitIncomplete     = 4 // a MUST was not run
	ExitBusy           = 5 // another run holds the rig
	ExitInterrupted    = 130
)

// ExitCode is the exit code that tells the outcome. An outcome that is none of ours is a fault of the harness.
func (o Outcome) ExitCode() int {
	switch o {
	case Conforms, ConformsWithObservations:
		return ExitConforms
	case DoesNotConform:
		return ExitDoesNotConform
	case Incomplete:
		return ExitIncomplete
	case Interrupted:
		return ExitInterrupted
	}
	return ExitFault
}

// Of says what one finished requirement makes of the run.
//
//   - A MUST outside its limit does not conform, also when it is outside by no more than the uncertainty: the limit is the
//     maker's to keep with something to spare, and a station that needs the benefit of the doubt has not shown that it
//     keeps it. A conditional pass is inside, so it is an observation.
//   - A MUST that was inconclusive, or that the rig could not check, leaves the run incomplete. Who has a rig without
//     the means selects what it can check; what the user's own selection excludes does not make a run incomplete, and
//     neither does what the station does not claim.
//   - A SHOULD never does more than put an observation beside the outcome, except for an error, which is ours.
func Of(level Level, v Verdict) Outcome {
	switch v {
	case Error, Unmeasured:
		return Faulted
	case Pass, NotClaimed, Excluded:
		return Conforms
	case ConditionalPass:
		return ConformsWithObservations
	case Fail, ConditionalFail:
		if level == Should {
			return ConformsWithObservations
		}
		return DoesNotConform
	case Inconclusive, NotFitted:
		if level == Should {
			return ConformsWithObservations
		}
		return Incomplete
	}
	return Faulted
}

// Override returns the outcome that overrides the other. Start from Conforms.
func Override(a, b Outcome) Outcome {
	if slices.Index(outcomes, b) > slices.Index(outcomes, a) {
		return b
	}
	return a
}
