package bench

import (
	"context"
	"errors"
	"fmt"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/calibration"
	"bufferstop/harness/probe"
	"bufferstop/harness/station"
)

// A ProbedRig is a bench with a capture probe at the tracks.
type ProbedRig struct {
	*Rig
	probed *probed
	box    *box // what is served inside, or nil
}

var (
	_ harness.Rig              = (*ProbedRig)(nil)
	_ harness.Fallible         = (*ProbedRig)(nil)
	_ calibration.Calibratable = (*ProbedRig)(nil)
)

// Fault follows harness.Fallible.
func (r *ProbedRig) Fault() error { return r.probed.fault }

// Mishaps follows harness.Fallible.
func (r *ProbedRig) Mishaps() harness.Mishaps { return r.probed.Mishaps() }

// Remarks follows harness.Fallible.
func (r *ProbedRig) Remarks() []string {
	h := r.Probe()
	var all []string
	remark := func(n uint64, format string, a ...any) {
		if n > 0 {
			all = append(all, "the probe: "+fmt.Sprintf(format, a...))
		}
	}
	if noting, has := r.probed.eyes.(interface{ Notes() []string }); has {
		notes := noting.Notes()
		all = append(all, notes[min(r.probed.noted, len(notes)):]...)
	}
	remark(h.FramesLost+h.Broken.Total(), "%d frames were lost and %d broken on the way, %d were good", h.FramesLost, h.Broken.Total(), h.Frames)
	remark(h.LeftAlone, "%d times it was made safe because the run did not look at it for seconds", h.LeftAlone)
	remark(h.Dropped, "%d frames found no room, because the host was busy with something else", h.Dropped)
	if h.QueueSize > 0 {
		if part := 100 * h.QueueHigh / h.QueueSize; part >= crowded {
			remark(1, "its stream waited for the host: the queue was filled up to %d %%", part)
		}
	}
	remark(h.Losses, "of the signal, %v in %d stretches was lost", h.LostTime, h.Losses)
	remark(h.Late, "the load was late by up to %v", h.WorstLate)
	remark(h.RecordingLost, "the recording of its stream lacks %d bytes", h.RecordingLost)
	if h.RecordingError != nil {
		remark(1, "the recording of its stream ended early: %v", h.RecordingError)
	}
	return all
}

// crowded is from how many hundredths of the queue on its filling is told. Our own choice.
const crowded = 25

// Probe is how well the host and the probe get on.
func (r *ProbedRig) Probe() probe.Health { return r.probed.eyes.Health() }

// LoopTime is how late the load follows a fake decoder, always.
func (r *ProbedRig) LoopTime() time.Duration { return r.probed.lag }

// ProbeIdentity follows calibration.Calibratable.
func (r *ProbedRig) ProbeIdentity() calibration.Probe { return r.probed.ProbeIdentity() }

// CalibrationPath follows calibration.Calibratable.
func (r *ProbedRig) CalibrationPath() string { return r.probed.calibrationPath }

// Sync follows calibration.Calibratable.
func (r *ProbedRig) Sync(ctx context.Context) (calibration.SyncPair, error) {
	return r.probed.Sync(ctx)
}

// RawCurrent follows calibration.Calibratable.
func (r *ProbedRig) RawCurrent(ctx context.Context, track station.Track, over time.Duration) ([]uint16, error) {
	return r.probed.RawCurrent(ctx, track, over)
}

// Spans follows calibration.Calibratable.
func (r *ProbedRig) Spans(ctx context.Context, track station.Track, over time.Duration) ([]calibration.Span, error) {
	return r.probed.Spans(ctx, track, over)
}

// Draw follows calibration.Calibratable.
func (r *ProbedRig) Draw(ctx context.Context, track station.Track, level uint16) error {
	return r.probed.Draw(ctx, track, level)
}

// LoopTimes follows calibration.Calibratable.
func (r *ProbedRig) LoopTimes(ctx context.Context, track station.Track, n int) ([]time.Duration, error) {
	return r.probed.LoopTimes(ctx, track, n)
}

// LoopLimit follows calibration.Calibratable.
func (r *ProbedRig) LoopLimit() time.Duration { return loopLimit }

// Close makes the rig safe and frees it, and whatever it has served. A second Close does nothing.
func (r *ProbedRig) Close() error {
	err := r.Rig.Close()
	if r.box != nil {
		err = errors.Join(err, r.box.Close())
	}
	return err
}
