package examination

import (
	"context"
	"errors"
	"fmt"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"

	"github.com/onsi/gomega"
)

// Context is the context of the check, for calls of the driver.
func (x *Check) Context() context.Context { return x.ctx }

// Wait lets rig time pass. A rig may look at the context less often than a short wait lasts, so it is looked at here too.
func (x *Check) Wait(d time.Duration) {
	err := x.ctx.Err()
	if err == nil {
		err = x.Session.Wait(x.ctx, d)
	}
	switch {
	case errors.Is(err, station.ErrKeepAlive):
		x.Obeyed("keep the connection alive", err)
	case err != nil:
		x.rigFault("waiting", err)
	}
}

// Now is the time at which a command is about to be given. A rig whose clock moves only while somebody waits on it, though
// the world goes on, is waited for first, so that it is the present one.
func (x *Check) Now() time.Duration {
	x.Wait(0)
	return x.Rig.Now()
}

// Watch sets a watch on a track until the check ends or it is stopped.
func (x *Check) Watch(track station.Track) *harness.Watch {
	w := x.Session.Watch(track)
	x.watches = append(x.watches, w)
	return w
}

// Fitted expects that the rig did what it was asked.
func (x *Check) Fitted(what string, err error) {
	if err != nil {
		x.rigFault(what, err)
	}
}

func (x *Check) rigFault(what string, err error) {
	v, reason := verdict.Error, fmt.Sprintf("%s: %v", what, err)
	switch {
	case x.ctx.Err() != nil:
		v, reason = verdict.Excluded, "the run was stopped during the check"
	case errors.Is(err, harness.ErrBeyond):
		v = verdict.NotFitted
	}
	x.Worsen(v, reason)
	gomega.Expect(err).NotTo(gomega.HaveOccurred(), what)
}

// Inconclusive ends the check because what it needs did not happen.
func (x *Check) Inconclusive(format string, args ...any) {
	reason := fmt.Sprintf(format, args...)
	x.Worsen(verdict.Inconclusive, reason)
	gomega.Expect(x).To(Conform(), reason)
}

// PowerOn switches a track on. It returns at once: what the station sends first is for the check to hear.
// Many a station powers its programming track for the time of an operation only, and has no command for more: what needs more is not
// asked of it.
func (x *Check) PowerOn(track station.Track) {
	err := x.Station.SetPower(x.ctx, track, true)
	if track == station.Programming && errors.Is(err, station.ErrNotSupported) {
		x.NotClaimed("the station has no command that switches the %s track on: %v", track, err)
	}
	x.Obeyed(fmt.Sprintf("switch the %s track on", track), err)
}

// poll is how often Await looks: finer than the shortest packet, 5.8 ms for an idle one at nominal bit times.
const poll = 2 * time.Millisecond

// Await waits until a packet that starts at or after from matches, and returns it.
func (x *Check) Await(w *harness.Watch, from, timeout time.Duration, match func(harness.Heard) bool) (harness.Heard, bool) {
	end := x.Rig.Now() + timeout
	looked := len(w.Packets) - len(w.After(from))
	for {
		for ; looked < len(w.Packets); looked++ {
			if match(w.Packets[looked]) {
				return w.Packets[looked], true
			}
		}
		if x.Rig.Now() >= end {
			return harness.Heard{}, false
		}
		x.Wait(min(poll, end-x.Rig.Now()))
	}
}

// Flood gives commands to a few locomotives as fast as the link takes them.
func (x *Check) Flood(duration time.Duration) station.FloodReport {
	var commands []station.Command
	for i, address := range x.SomeLocomotives(3) {
		for step := range 4 {
			commands = append(commands, station.SetSpeedCommand(address, x.Steps(), dcc.Direction(step%2), 5*i+step+1))
		}
	}
	report, err := x.Station.Flood(x.ctx, duration, commands...)
	x.Obeyed("commands back to back", err)
	return report
}
