package station

import (
	"errors"
	"fmt"
	"time"
)

// boots is what is known of a station's starts.
type boots struct {
	heard    int // all of which the station has told
	unasked  int
	inARow   int           // unasked, without a completed operation between them
	since    time.Duration // when the first of those was heard
	expected bool
}

// bootLoop is how many unasked restarts without a completed operation between them are a boot loop. Our own choice: one may
// be a loose wire, two may be the same one again.
const bootLoop = 3

var (
	// ErrRestarted says that the station has started anew while it was busy with an operation, and nobody had asked for it.
	// Every *Restarted and every *BootLoop is one.
	ErrRestarted = errors.New("the station restarted by itself")

	errExpectedRestart = errors.New("the station restarted, as was expected")
	errBegunAnew       = errors.New("the station restarted meanwhile")
)

// Restarted says that the station has started anew by itself. errors.Is(err, ErrRestarted) is true for it.
type Restarted struct {
	Count int           // how often, since the driver was made
	At    time.Duration // on the rig's clock, when it said so
}

// Error says how often.
func (r *Restarted) Error() string {
	if r.Count == 1 {
		return fmt.Sprintf("the station restarted by itself, at %v", r.At)
	}
	return fmt.Sprintf("the station restarted by itself, at %v, the latest of %d times", r.At, r.Count)
}

// Is makes every Restarted an ErrRestarted.
func (r *Restarted) Is(target error) bool { return target == ErrRestarted }

// BootLoop says that the station starts anew again and again and gets nothing done in between. errors.Is(err, ErrRestarted)
// is true for it.
type BootLoop struct {
	Count int           // restarts in a row
	Since time.Duration // on the rig's clock, when the first of them was noticed
}

// Error says how often, and since when.
func (b *BootLoop) Error() string {
	return fmt.Sprintf("the station restarts again and again: %d times since %v, and nothing done in between", b.Count, b.Since)
}

// Is makes every BootLoop an ErrRestarted.
func (b *BootLoop) Is(target error) bool { return target == ErrRestarted }

// Restarts is how often the station has said that it has started up, though nobody had asked it to. A station whose
// language has no event for it starts unnoticed.
func (d *Driver) Restarts() int { return d.boots.unasked }

// BootLoop returns the boot loop in which the station is, or nil.
func (d *Driver) BootLoop() *BootLoop {
	if d.boots.inARow < bootLoop {
		return nil
	}
	return &BootLoop{Count: d.boots.inARow, Since: d.boots.since}
}

// ExpectRestart says that the station is about to be restarted, so that it is not held against it: one restart, until the
// next operation is completed. The next operation brings driver and station into step first. A reset, a link that
// was closed and a new driver expect a restart by themselves: many boards start anew when their port is opened.
func (d *Driver) ExpectRestart() {
	d.boots.expected = true
	d.begunAnew()
}

// begunAnew forgets what the station does not know any more after a restart.
func (d *Driver) begunAnew() { d.outOfStep, d.started, d.halfSent = true, false, false }

// restarted takes the station's word for it that it has started up.
func (d *Driver) restarted(at time.Duration) {
	d.begunAnew()
	b := &d.boots
	b.heard++
	if b.expected {
		b.expected = false
		return
	}
	if b.unasked++; b.inARow == 0 {
		b.since = at
	}
	b.inARow++
}

// restartError words the restart that was just heard.
func (d *Driver) restartError(expected bool, at time.Duration) error {
	if expected {
		return errExpectedRestart
	}
	if loop := d.BootLoop(); loop != nil {
		return loop
	}
	return &Restarted{Count: d.boots.unasked, At: at}
}

// completed notes that the station has answered an operation. What it does after a reset may come later than its answer.
func (b *boots) completed(o Operation) {
	b.inARow = 0
	b.expected = b.expected && o == Reset
}
