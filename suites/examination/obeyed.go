package examination

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"bufferstop/harness"
	"bufferstop/harness/link"
	"bufferstop/harness/record"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"

	"github.com/onsi/gomega"
)

// Obeyed expects that the station did what it was asked: what names the command. Otherwise it ends the check, after it has
// found out whose fault that is, as station.Driver.Diagnose describes. A fault of the station is a failure; one of the link
// is an error; where it cannot be told, the check is inconclusive; a run that is stopped leaves the check out.
func (x *Check) Obeyed(what string, err error) {
	if err == nil {
		return
	}
	if errors.Is(err, harness.ErrRig) {
		x.rigFault(what, err)
	}
	x.running(what, err)
	if no := (*station.NotSupported)(nil); errors.As(err, &no) && x.File.Claims.PromisedBy(no.Operation) == "" {
		x.NotClaimed("%s: the station has no command for it: %s", what, no.Why)
	}
	x.Note("%s: %s", what, lastExchange(x.Station.LastExchange()))
	if x.lays() {
		// Asking again can take many seconds, and nothing may lie across the rails that long. What the station then says
		// may differ from what it said with a short; better that than a bench that burns.
		if err := x.Rig.Safe(); err != nil {
			x.Note("making the rig safe before asking again: %v", err)
		}
	}
	found := x.diagnose(err)
	x.running(what, err)
	x.trouble = found
	switch found.Fault {
	case station.StationFault:
		x.certain = x.certain || found.Confirmed
		x.Result.Fail(record.Failure{
			What: what, Expected: "done", Actual: fmt.Sprintf("%v (%s)", err, found.Why), At: x.Rig.Now(),
		})
	case station.LinkFault:
		x.Worsen(verdict.Error, fmt.Sprintf("%s: %v; the fault is the link's: %s", what, err, found.Why))
	default:
		x.Worsen(verdict.Inconclusive, fmt.Sprintf("%s: %v; whether the fault is the station's or the link's is not clear: %s",
			what, err, found.Why))
	}
	gomega.Expect(err).NotTo(gomega.HaveOccurred(), what)
}

// Answers expects that the station answers at all.
func (x *Check) Answers() {
	_, err := x.Station.Identify(x.ctx)
	x.Obeyed("say who it is", err)
}

// running ends the check when the run was stopped.
func (x *Check) running(what string, err error) {
	if x.ctx.Err() != nil {
		x.rigFault(what, err)
	}
}

// lays reports whether the check may have put something across the rails that must not stay there.
func (x *Check) lays() bool {
	return slices.ContainsFunc(x.Requirement.Needs, func(need string) bool {
		return slices.Contains([]harness.Ability{harness.LayShort, harness.LayLoad, harness.LayInrush}, harness.Ability(need))
	})
}

// diagnose finds out whose fault it is that a command failed. A rig that runs the station's processor itself knows when that
// has come to its end, and its line harms nothing and is always plugged in: what was damaged, lost or never said was so at the
// station.
func (x *Check) diagnose(err error) station.Diagnosis {
	rig, sees := x.Rig.(harness.Insight)
	if sees && rig.StationFault() != "" {
		return station.Diagnosis{Fault: station.StationFault, Why: rig.StationFault(), Confirmed: true}
	}
	found := x.Station.Diagnose(x.ctx, err)
	if sees && found.Fault != station.StationFault && !errors.Is(err, link.ErrClosed) && !errors.Is(err, station.ErrNotSupported) {
		found.Fault = station.StationFault
		found.Why += "; the line of this rig harms nothing"
	}
	return found
}

// Trouble is why a command was not obeyed, or the zero value.
func (x *Check) Trouble() station.Diagnosis { return x.trouble }

// Certain reports whether a failure of the check is the station's beyond what a noisy line could have done.
func (x *Check) Certain() bool { return x.certain }

// Finish makes the rig safe after the check, then looks at what else has happened meanwhile: a station that has restarted
// by itself fails the check, and a failure that a noisy line may have made is none.
func (x *Check) Finish(ctx context.Context) {
	if err := x.Safe(ctx); err != nil {
		x.Note("making the rig safe: %v", err)
	}
	if err := x.Station.Listen(ctx); err != nil {
		x.Note("listening to the station at the end: %v", err)
	}
	x.lookInside(ctx)
	x.lookAtRig()
	if n := x.Station.Restarts() - x.restarts; n > 0 {
		x.certain = true
		x.Failed("the station during the check", "no restart that nobody asked for",
			fmt.Sprintf("the station restarted by itself %s during the check", times(n)), x.Rig.Now())
	}
	if !x.Result.Verdict.Outside() || x.certain || ctx.Err() != nil {
		return
	}
	if x.Station.LinkHealth().Noise() == 0 && !x.trouble.OutOfReach {
		if err := x.Station.Prove(ctx); err != nil {
			x.Note("the line, after the failure: %v", err)
		}
	}
	Doubt(&x.Result, x.Station.LinkHealth())
}

// lookInside fails the check where the rig has seen the station's processor come to its end or start anew by itself. One
// that has ended, or that cannot be reached any more, gets its supply anew, so that the run can go on.
func (x *Check) lookInside(ctx context.Context) {
	rig, sees := x.Rig.(harness.Insight)
	if !sees {
		return
	}
	ended := rig.StationFault()
	if ended != "" {
		x.Failed("the station's processor", "that it runs on", ended, x.Rig.Now())
	}
	if ended != "" || x.trouble.OutOfReach {
		x.trouble = station.Diagnosis{}
		if err := x.Restart(context.WithoutCancel(ctx)); err != nil {
			x.Note("giving the station its supply anew: %v", err)
		}
		return
	}
	if n := rig.StationResets() - x.resets; n > 0 {
		x.Failed("the station's processor", "no start that nobody asked for", fmt.Sprintf("it started anew by itself %s during the check", times(n)),
			x.Rig.Now())
	}
}

// Doubt makes a failure inconclusive when the line to the station has shown noise in the run. In a language without a
// checksum a digit that the line has changed makes another command that is as good as the right one: the station drives at
// step 7 because it was told 7, and the packet on the track looks like a fault of the station. Nothing that is measured
// tells one from the other, so nothing is held against the station on such a line. Only what noise does counts as noise,
// see station.LinkHealth; a station that prints debug lines is no noisy line.
func Doubt(r *record.Result, health station.LinkHealth) {
	if health.Noise() > 0 && r.Verdict.Outside() {
		r.Doubt(fmt.Sprintf("the line to the station is noisy (%s): the command may have reached it as another one, so the failure is not held against it",
			health))
	}
}

func times(n int) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}

// lastExchange quotes what was sent and what came, in the words of the link log.
func lastExchange(e station.Exchange) string {
	const enough = 200
	clip := func(text string) string {
		if len(text) > enough {
			return fmt.Sprintf("%+q… (%d bytes)", text[:enough], len(text))
		}
		return fmt.Sprintf("%+q", text)
	}
	switch {
	case e.Sent == "":
		return "nothing was sent"
	case e.HandedOver == 0:
		return fmt.Sprintf("sending %s was tried from %v on", clip(e.Sent), e.Begun)
	case e.Answer == "":
		return fmt.Sprintf("%s was sent until %v, and nothing came that answers it", clip(e.Sent), e.HandedOver)
	}
	return fmt.Sprintf("%s was sent until %v, and %s came at %v", clip(e.Sent), e.HandedOver, clip(e.Answer), e.Answered)
}
