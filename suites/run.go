// Package suites examines a station: it puts every requirement of the catalogue to every track that it concerns, and
// writes what came of it into a record.
package suites

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"sync"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/record"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/suites/catalogue"
	"bufferstop/suites/examination"
	"bufferstop/suites/review"
	"bufferstop/suites/waiver"

	"github.com/onsi/ginkgo/v2"
	"github.com/onsi/ginkgo/v2/extensions/globals"
	"github.com/onsi/ginkgo/v2/formatter"
	"github.com/onsi/gomega"
)

// Options say what to run and whom to tell.
type Options struct {
	Selection
	// OnStart and OnResult, if set, are called as each check starts and ends.
	OnStart  func(id, track string)
	OnResult func(r record.Result)
	// OnAgain, if set, is called before checks are made again whose results the rig has spoilt. OnResult hears of each check once,
	// when its result stands.
	OnAgain func()
	// OnExchange, if set, is called with each operation that was asked of the station.
	OnExchange func(e station.Exchange)
	// Evidence is the directory for recordings of failures and for the log of the link; none are written when it is empty.
	Evidence string
	// Waivers are known failures that the run is to let pass; package waiver reads them from a file. They hold by the day on
	// which the run is started.
	Waivers []record.Waiver
	// Version is the tool's own, for the record.
	Version string
}

// Run examines the station on the rig and returns the record of it. The rig is safe when it returns, and still open.
// When ctx ends, the rest of the checks is left out and the record says that the run was interrupted. When the link is lost
// for good, or the station is out of reach or in a boot loop, the rest is left out too, and the record says that the run was
// ended early and why. An error means that nothing was examined: a *SelectionError, a *ShardError, or a *station.FileError for an
// edition that the catalogue does not have, and then there is no record, or a station that cannot be talked to, and then the record says so.
//
// Ginkgo keeps its tree of specs in package variables, so only one Run goes on in a process at a time.
func Run(ctx context.Context, rig harness.Rig, file *station.File, o Options) (*record.Record, error) {
	chosen, err := o.Chosen()
	if err != nil {
		return nil, err
	}
	if err := review.Editions(file); err != nil {
		return nil, err
	}
	started := time.Now()
	run := record.New(o.Version, started)
	var h *hearing
	s := harness.NewSession(rig, file, station.Observe(func(e station.Exchange) {
		h.asked(e)
		if o.OnExchange != nil {
			o.OnExchange(e)
		}
	}))
	finish := sync.OnceFunc(func() {
		if closing := s.Close(ctx); closing != nil {
			run.Notes = append(run.Notes, fmt.Sprintf("making the rig safe at the end: %v", closing))
		}
		if o.Evidence != "" {
			keepLog(run, s, o.Evidence)
		}
	})
	defer finish() // also when something panics
	describe(run, s, o.Selection)
	run.Waivers = o.Waivers
	if err := greet(ctx, s, run); err != nil {
		finish()
		run.EndedEarly = err.Error()
		run.Conclude(rig.Now(), time.Since(started), ctx.Err() != nil)
		if failed := (*unexamined)(nil); errors.As(err, &failed) {
			failed.conclude(run)
		}
		return run, err
	}

	defer globals.Reset()
	defer silence()()
	gomega.RegisterFailHandler(ginkgo.Fail)
	certain := map[string]bool{}
	h = hear(s)
	defer h.stop()
	course := perform(ctx, s, chosen, o, run, certain, h)
	inOrder(run)
	illustrate(run, s)
	run.EndedEarly = course.Ended()
	// Noise that showed late was there before.
	health := s.Station.LinkHealth()
	for i := range run.Results {
		if r := &run.Results[i]; !certain[r.Name()] {
			examination.Doubt(r, health)
		}
	}
	if health != (station.LinkHealth{}) {
		run.Notes = append(run.Notes, fmt.Sprintf("the link to the station: %s", health))
	}
	if n := s.Station.Echoes(); n > 0 {
		run.Notes = append(run.Notes, fmt.Sprintf("%d messages came back as they were sent, though the station file does not say that the station echoes", n))
	}
	finish()
	if rig, may := rig.(harness.Fallible); may {
		if m := rig.Mishaps(); m != (harness.Mishaps{}) {
			run.Notes = append(run.Notes, fmt.Sprintf("of the rig: %s", m))
		}
		run.Notes = append(run.Notes, rig.Remarks()...)
	}
	waiver.Apply(run)
	run.Conclude(rig.Now(), time.Since(started), ctx.Err() != nil)
	return run, nil
}

// tell gives out a result that stands, with what its waiver makes of it.
func (o Options) tell(r record.Result, started time.Time) {
	if o.OnResult == nil {
		return
	}
	r.Waived = waiver.Of(&r, o.Waivers, started, o.Shards > 1)
	o.OnResult(r)
}

// rounds is how often a check is made at most whose result the rig has spoilt. Our own choice: what holds up a host comes and goes.
const rounds = 3

// perform makes the chosen checks, and again those whose result the rig has spoilt: the load that came too late, the stretch that was
// lost. What a check has found the last time stands.
func perform(ctx context.Context, s *harness.Session, chosen []catalogue.Requirement, o Options, run *record.Record, certain map[string]bool, h *hearing) (course *Course) {
	for round := 1; len(chosen) > 0; round++ {
		globals.Reset()
		course = Register(ctx, s, chosen, h)
		var spoilt []catalogue.Requirement
		var untold []string
		ginkgo.ReportBeforeEach(func(report ginkgo.SpecReport) {
			if labels := report.Labels(); o.OnStart != nil && len(labels) >= 3 {
				o.OnStart(labels[1], labels[2])
			}
		})
		ginkgo.ReportAfterEach(func(report ginkgo.SpecReport) {
			x, ok := checkOf(report)
			if !ok {
				return
			}
			again := x.Spoilt() && round < rounds && ctx.Err() == nil && course.Ended() == ""
			if again {
				spoilt = appendTrack(spoilt, x.Requirement, x.Track)
				untold = append(untold, x.Result.Name())
			}
			if o.Evidence != "" {
				h.keep()
				keepEvidence(x, o.Evidence)
			}
			switch i := place(run, x.Result.Name()); {
			case i < 0:
				run.Results = append(run.Results, x.Result)
				certain[x.Result.Name()] = x.Certain()
			case x.Result.Verdict == verdict.Excluded: // it was not made again after all
				x.Result = run.Results[i]
			default:
				x.Note("checked again, since before this %s", former(&run.Results[i]))
				run.Results[i] = x.Result
				certain[x.Result.Name()] = x.Certain()
			}
			if !again {
				o.tell(x.Result, run.Started)
			}
		})
		suite, reporter := ginkgo.GinkgoConfiguration()
		suite.RandomSeed = 1 // the order of the catalogue stands; the rig has its own seed
		reporter.NoColor = true
		ginkgo.RunSpecs(quiet{}, "bufferstop", suite, reporter)
		if course.Ended() != "" || ctx.Err() != nil {
			// Nothing is made again any more, and what was found stands.
			for _, name := range untold {
				o.tell(run.Results[place(run, name)], run.Started)
			}
			return course
		}
		if chosen = spoilt; len(chosen) > 0 {
			s.Forget() // an exercise may be what was spoilt
			if o.OnAgain != nil {
				o.OnAgain()
			}
		}
	}
	return course
}

// inOrder puts the results into the order of the catalogue: what is judged throughout a run was judged last.
func inOrder(run *record.Record) {
	places := map[string]int{}
	for i, name := range names(catalogue.All()) {
		places[name] = i
	}
	slices.SortStableFunc(run.Results, func(a, b record.Result) int { return places[a.Name()] - places[b.Name()] })
}

// place is where the result of that name is, -1 if it is not there yet.
func place(run *record.Record, name string) int {
	return slices.IndexFunc(run.Results, func(r record.Result) bool { return r.Name() == name })
}

// former words why a check is made again, and what it had found: that it has not failed another time is no secret.
func former(r *record.Result) string {
	text := r.Reason
	for _, f := range r.Failures {
		text += fmt.Sprintf("; it had found: %s: expected %s, got %s", f.What, f.Expected, f.Actual)
		if f.Evidence != "" {
			text += ", " + f.Evidence
		}
	}
	return text
}

// appendTrack adds a requirement on one of its tracks.
func appendTrack(all []catalogue.Requirement, r catalogue.Requirement, track station.Track) []catalogue.Requirement {
	if last := len(all) - 1; last >= 0 && all[last].ID == r.ID {
		all[last].Tracks = append(all[last].Tracks, string(track))
		return all
	}
	r.Tracks = []string{string(track)}
	return append(all, r)
}

// greet asks the station who it is, and starts it from a known state.
func greet(ctx context.Context, s *harness.Session, run *record.Record) error {
	identity, err := s.Station.Identify(ctx)
	if err != nil {
		return blame(ctx, s, "asking the station who it is", err)
	}
	run.Build.Maker, run.Build.Model = identity.Maker, identity.Model
	run.Build.Serial, run.Build.Version = identity.Serial, identity.Version
	err = s.Station.Reset(ctx)
	if errors.Is(err, station.ErrNotSupported) {
		run.Notes = append(run.Notes, "the station was not reset before the first check: "+err.Error())
	} else if err != nil {
		return blame(ctx, s, "resetting the station", err)
	}
	return nil
}

// An unexamined is an error of an operation without which nothing can be examined, with whose fault it is.
type unexamined struct {
	error
	fault station.Fault
}

func (u *unexamined) Unwrap() error { return u.error }

// blame finds out whose fault it is that such an operation failed.
func blame(ctx context.Context, s *harness.Session, what string, cause error) error {
	err := fmt.Errorf("%s: %w", what, cause)
	if ctx.Err() != nil {
		return err
	}
	found := station.Diagnosis{Fault: station.StationFault}
	if rig, sees := s.Rig.(harness.Insight); sees {
		found.Why = rig.StationFault()
	}
	if found.Why == "" {
		found = s.Station.Diagnose(ctx, cause)
	}
	whose := "whether the fault is the station's or the link's is not clear"
	switch found.Fault {
	case station.StationFault:
		whose = "the fault is the station's"
	case station.LinkFault:
		whose = "the fault is the link's, not the station's"
	}
	return &unexamined{fmt.Errorf("%w; %s: %s", err, whose, found.Why), found.Fault}
}

// conclude closes the record of a run that came to nothing. Its exit code is that of a fault, whosever it is: the outcome
// says whether the station may be at fault, but without a check there is nothing that it does not keep.
func (u *unexamined) conclude(run *record.Record) {
	run.ExitCode = verdict.ExitFault
	if u.fault == station.LinkFault {
		run.Outcome = verdict.Faulted
	}
}

// quiet is the test object that Ginkgo wants: the record says what failed.
type quiet struct{}

func (quiet) Fail() {}

// silence keeps Ginkgo's own report off the terminal, where ours goes, until the function it returns is called.
func silence() (restore func()) {
	out, errs := formatter.ColorableStdOut, formatter.ColorableStdErr
	formatter.ColorableStdOut, formatter.ColorableStdErr = io.Discard, io.Discard
	return func() { formatter.ColorableStdOut, formatter.ColorableStdErr = out, errs }
}
