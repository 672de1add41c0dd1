// Package examination is what the suites have in common: a Check is one requirement put to one track. It gives the specs
// words to ask the station for something, to listen to what comes of it, and to judge what was measured; it keeps the
// result for the record.
//
// A spec reads as the standard does:
//
//	func oneHalfBits(x *examination.Check) {
//		x.Spread("one half-bit", &traffic(x).Statistics().OneHalf)
//	}
package examination

import (
	"context"
	"fmt"
	"strings"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness"
	"bufferstop/harness/record"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/suites/catalogue"
)

// A Check is one requirement on one track, from the first command to the verdict. It lives as long as its spec, and so
// holds the context of it.
type Check struct {
	*harness.Session
	Requirement catalogue.Requirement
	Track       station.Track
	Result      record.Result

	// Earlier, if set, gives the signal around a failure from before the check, as far as it was kept.
	Earlier func(from, to time.Duration) []signal.Edge

	ctx      context.Context
	watches  []*harness.Watch
	judged   []*harness.Watch
	restarts int             // of the station, before the check
	resets   int             // of its processor, where the rig sees that
	mishaps  harness.Mishaps // of the rig, before the check
	fitted   *fakedecoder.Decoder
	// inherited are the mishaps of exercises that others have had done.
	inherited harness.Mishaps
	spoilt    bool              // the rig did not do what it was to
	firm      bool              // a half-bit is outside its limit, which the probe has measured without the host
	trouble   station.Diagnosis // why a command was not obeyed; the zero value if all were
	certain   bool              // that a failure is the station's
	keeps     bool              // the station has no command that releases a locomotive
}

// A Spec is the code that checks a requirement on a track.
type Spec func(x *Check)

// New starts the check of a requirement on a track.
func New(s *harness.Session, r catalogue.Requirement, track station.Track) *Check {
	return &Check{
		Session:     s,
		Requirement: r,
		Track:       track,
		ctx:         context.Background(),
		Result: record.Result{
			ID: r.ID, Title: r.Title, Level: r.LevelBy(s.File.Claims.Editions), Sentence: r.Sentence, Source: r.Source,
			Suite: r.Suite, Track: string(track), Editions: r.EditionsBy(s.File.Claims.Editions),
			Elsewhere: r.Elsewhere,
		},
	}
}

// Run runs the spec under ctx, and stops the watches that it set. What a spec panics with passes through.
func (x *Check) Run(ctx context.Context, spec Spec) {
	x.ctx = ctx
	x.restarts = x.Station.Restarts()
	if rig, sees := x.Rig.(harness.Insight); sees {
		x.resets = rig.StationResets()
		x.certain = true // there is no line that could have done it: see diagnose
	}
	x.mishaps = x.mishapsNow()
	x.Result.Start = x.Rig.Now()
	started := time.Now()
	defer func() {
		for _, w := range x.watches {
			w.Stop()
		}
		x.Result.End = x.Rig.Now()
		x.Result.WallTime = time.Since(started)
	}()
	spec(x)
}

// Applies says whether the check can be run: Unmeasured when it can, NotClaimed or NotFitted with the reason when not.
func (x *Check) Applies() (verdict.Verdict, string) {
	if !x.File.Claims.Track(x.Track) {
		return verdict.NotClaimed, fmt.Sprintf("the station does not claim the %s track", x.Track)
	}
	for _, claim := range x.Requirement.Claims {
		has, known := claims[claim]
		if !known {
			return verdict.Error, fmt.Sprintf("the catalogue names the claim %q, which nothing here knows", claim)
		}
		if !has(x.File.Claims) {
			return verdict.NotClaimed, "the station does not claim " + claim
		}
	}
	if !x.Requirement.Binds(x.File.Claims.Editions) {
		return verdict.NotClaimed, fmt.Sprintf("it has no limit by the edition that the station claims (%s)", strings.Join(x.Result.Editions, ", "))
	}
	if x.Rig.Track(x.Track) == nil {
		return verdict.NotFitted, fmt.Sprintf("the rig does not reach the %s track", x.Track)
	}
	for _, need := range x.Requirement.Needs {
		if d := x.Rig.Describe(); !d.Can(x.Track, harness.Ability(need)) {
			reason := fmt.Sprintf("the rig lacks %q on the %s track", need, x.Track)
			if why := d.Reasons[x.Track][harness.Ability(need)]; why != "" {
				reason += ": " + why
			}
			return verdict.NotFitted, reason
		}
	}
	return verdict.Unmeasured, ""
}

// Skip ends a check that does not run.
func (x *Check) Skip(v verdict.Verdict, reason string) {
	x.Result.Verdict, x.Result.Reason = v, reason
	x.Result.Start, x.Result.End = x.Rig.Now(), x.Rig.Now()
}

// Worsen makes the verdict at least as bad as v, for a reason.
func (x *Check) Worsen(v verdict.Verdict, reason string) {
	if verdict.Worsen(x.Result.Verdict, v) != x.Result.Verdict {
		x.Result.Verdict, x.Result.Reason = v, reason
	}
}

// Look names a watch that the check judges by, beside those it sets itself: the evidence of a failure is taken from it.
func (x *Check) Look(w *harness.Watch) *harness.Watch {
	x.judged = append(x.judged, w)
	return w
}

// Signal returns the edges of the check's track from one time to another, from whichever recording reaches back to it.
func (x *Check) Signal(from, to time.Duration) []signal.Edge {
	for _, w := range x.judged {
		if edges := w.Tape().Between(from, to); len(edges) > 0 {
			return edges
		}
	}
	if x.Earlier != nil {
		if edges := x.Earlier(from, to); len(edges) > 0 {
			return edges
		}
	}
	if tape := x.Tape(x.Track); tape != nil {
		return tape.Between(from, to)
	}
	return nil
}

// Note adds a remark to the result.
func (x *Check) Note(format string, args ...any) {
	x.Result.Notes = append(x.Result.Notes, fmt.Sprintf(format, args...))
}
