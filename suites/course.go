package suites

import (
	"context"
	"errors"
	"fmt"

	"bufferstop/harness"
	"bufferstop/harness/link"
	"bufferstop/harness/station"
	"bufferstop/suites/examination"
)

// A Course is how a run goes: it ends it when nothing more can come of it.
type Course struct {
	session    *harness.Session
	last       *examination.Check // that has run
	outOfReach int                // checks on end that found the station so
	ended      string
}

// patience is after how many checks on end that found the station out of reach the run is ended. Our own choice: the first
// may have caught it at something else.
const patience = 2

// Ended is why the run was ended early, or the empty string.
func (c *Course) Ended() string { return c.ended }

// goesOn looks at how the last check ended, and says whether another may begin. A link that was lost is asked for here
// once: one that opens itself again does so now.
func (c *Course) goesOn(ctx context.Context) bool {
	if c.ended != "" || c.last == nil {
		return c.ended == ""
	}
	last := c.last
	c.last = nil
	if rig, may := c.session.Rig.(harness.Fallible); may && rig.Fault() != nil {
		c.end("%v, since %s", rig.Fault(), last.Result.Name())
		return false
	}
	trouble := last.Trouble()
	if trouble.Fault == station.LinkFault && !trouble.OutOfReach {
		switch err := c.session.Station.Resynchronise(ctx); {
		case ctx.Err() != nil:
			return true // the check itself sees to that
		case errors.Is(err, link.ErrClosed):
			c.end("the link to the station is lost, since %s", last.Result.Name())
		case errors.Is(err, station.ErrSilent), errors.Is(err, station.ErrNotTaken), errors.Is(err, station.ErrRestless):
			trouble.OutOfReach, trouble.Why = true, err.Error()
		}
	}
	if trouble.OutOfReach {
		c.outOfReach++
	} else {
		c.outOfReach = 0
	}
	if c.outOfReach == patience {
		c.end("the station was out of reach in %d checks on end: %s", patience, trouble.Why)
	}
	if loop := c.session.Station.BootLoop(); loop != nil {
		c.end("%v", loop)
	}
	return c.ended == ""
}

func (c *Course) end(format string, values ...any) {
	if c.ended == "" {
		c.ended = fmt.Sprintf(format, values...)
	}
}
