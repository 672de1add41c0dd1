// Package suites examines a station: it puts every requirement of the catalogue to every track that it concerns, and
// writes what came of it into a record.
package suites

import (
	"context"
	"fmt"
	"io"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/record"
	"bufferstop/harness/station"

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
	// Evidence is the directory for recordings of failures; none are written when it is empty.
	Evidence string
	// Version is the tool's own, for the record.
	Version string
}

// Run examines the station on the rig and returns the record of it. The rig is safe when it returns, and still open.
// When ctx ends, the rest of the checks is left out and the record says that the run was interrupted. An error means
// that nothing could be examined: a *SelectionError, or a station that cannot be talked to.
//
// Ginkgo keeps its tree of specs in package variables, so only one Run goes on in a process at a time.
func Run(ctx context.Context, rig harness.Rig, file *station.File, o Options) (run *record.Record, err error) {
	chosen, err := o.Chosen()
	if err != nil {
		return nil, err
	}
	started := time.Now()
	run = record.New(o.Version, started)
	s := harness.NewSession(rig, file)
	defer func() {
		if closing := s.Close(ctx); closing != nil {
			run.Notes = append(run.Notes, fmt.Sprintf("making the rig safe at the end: %v", closing))
		}
	}()
	describe(run, s, o.Selection)
	if err := greet(ctx, s, run); err != nil {
		return nil, err
	}

	globals.Reset()
	defer globals.Reset()
	defer silence()()
	gomega.RegisterFailHandler(ginkgo.Fail)
	Register(ctx, s, chosen)
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
		if o.Evidence != "" {
			keepEvidence(x, o.Evidence)
		}
		run.Results = append(run.Results, x.Result)
		if o.OnResult != nil {
			o.OnResult(x.Result)
		}
	})
	suite, reporter := ginkgo.GinkgoConfiguration()
	suite.RandomSeed = 1 // the order of the catalogue stands; the rig has its own seed
	reporter.NoColor = true
	ginkgo.RunSpecs(quiet{}, "bufferstop", suite, reporter)

	illustrate(run, s)
	run.Conclude(rig.Now(), time.Since(started), ctx.Err() != nil)
	return run, nil
}

// greet asks the station who it is, and starts it from a known state.
func greet(ctx context.Context, s *harness.Session, run *record.Record) error {
	identity, err := s.Station.Identify(ctx)
	if err != nil {
		return fmt.Errorf("the station does not say who it is: %w", err)
	}
	run.Build.Maker, run.Build.Model = identity.Maker, identity.Model
	run.Build.Serial, run.Build.Version = identity.Serial, identity.Version
	if err := s.Station.Reset(ctx); err != nil {
		return fmt.Errorf("the station does not reset: %w", err)
	}
	return nil
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
