package calibration

import (
	"context"
	"time"

	"bufferstop/harness/station"
)

// Calibratable is what a rig implements whose probe can be calibrated. What it gives is raw: what an earlier calibration has
// found is not applied to it. Every call returns ctx.Err() soon after ctx has ended, and leaves no load on but the one that was asked
// for by Draw.
type Calibratable interface {
	// ProbeIdentity says which probe it is, and what it states of itself.
	ProbeIdentity() Probe
	// CalibrationPath is where the calibration of the rig is kept: beside the rig's file, or where that says.
	CalibrationPath() string
	// Sync asks the probe for its time once.
	Sync(ctx context.Context) (SyncPair, error)
	// RawCurrent gives the counts of the converter on a track, as they come in the given time.
	RawCurrent(ctx context.Context, track station.Track, over time.Duration) ([]uint16, error)
	// Spans gives the times between edges of a track, in order, as they come in the given time. Those next to a lost stretch or
	// to an off state are left out.
	Spans(ctx context.Context, track station.Track, over time.Duration) ([]Span, error)
	// Draw sets the load on a track to a level, in steps of the load, until the next Draw; zero takes it off.
	Draw(ctx context.Context, track station.Track, level uint16) error
	// LoopTimes measures n times from the last edge of a packet to the load current that the probe has seen for it. The track
	// is on. It takes the load off again.
	LoopTimes(ctx context.Context, track station.Track, n int) ([]time.Duration, error)
	// LoopLimit is the longest loop time with which the rig's fake decoder acknowledges inside the window of S-9.2.3.
	LoopLimit() time.Duration
	// Safe takes every load and short off, whatever has happened before.
	Safe() error
}

// A Probe is what a probe states of itself in its greeting.
type Probe struct {
	Name   string
	Serial uint32
	// Clock is the frequency of its time stamps, in hertz, as it should be.
	Clock float64
	// SampleInterval is the time between two current samples of one channel.
	SampleInterval time.Duration
	Channels       []Channel
	// Late bounds how far what the host knows of the probe's time may be behind.
	Late time.Duration
	// CaptureOnly says that the probe only looks, and cannot be asked for its time: nothing of it can be calibrated here.
	CaptureOnly bool
}

// Calibrates reports whether there is something to calibrate. A rig without a probe has one without a clock.
func (p Probe) Calibrates() bool { return p.Clock > 0 && !p.CaptureOnly }

// A Channel is what a probe has on one track.
type Channel struct {
	Track station.Track
	// PerCount is amperes per count of the converter, Zero the counts without current, Full the highest count. PerCount is zero where
	// the probe sees no current.
	PerCount   float64
	Zero, Full uint16
	// PerStep is amperes per step of the load, Top its highest step, Continuous the highest that it can keep for ever. Zero where
	// there is no load.
	PerStep         float64
	Top, Continuous uint16
}

// A SyncPair is one exchange about the time. Sent and Received are on the host's monotonic clock, before the question was
// handed over and after its answer had come; Probe is on the probe's, which is nominal: ticks by the stated frequency,
// without wrapping.
type SyncPair struct {
	Sent, Received time.Duration
	Probe          time.Duration
}

// A Span is the time from one edge to the next. Positive says which rail was positive in it.
type Span struct {
	Length   time.Duration
	Positive bool
}
