package harness

import (
	"context"
	"errors"
	"fmt"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness/station"
)

// ErrRig says that the rig itself has failed: its probe is gone, or did not do what it was told. Never the station's fault.
var ErrRig = errors.New("the rig is at fault")

// ErrBeyond says that the rig can do what it was asked for, but not so much of it: a load above the greatest that it has. What
// needs it is not fitted.
var ErrBeyond = errors.New("more than the rig can do")

// A LossListener is a Listener that is told of the stretches that the probe lost: what happened on the track from one time
// to the other is not known. It comes in order of time with the edges and samples.
type LossListener interface {
	Lost(from, to time.Duration)
}

// A Dated is a Track that knows when the last change that was asked of it, Short, Load, Inrush or Open, really took effect on
// the rig's clock. On a track that is not one, it was the rig's present time.
type Dated interface {
	Changed() time.Duration
}

// Changed is when the last change that was asked of a track took effect, now where the track does not tell.
func Changed(t Track, now time.Duration) time.Duration {
	if dated, ok := t.(Dated); ok {
		return dated.Changed()
	}
	return now
}

// Fallible is a rig whose own hardware can fail while a station is examined. Simulated rigs are not.
type Fallible interface {
	// Fault is why the rig can do nothing any more, an error that is ErrRig; nil while it can.
	Fault() error
	// Mishaps is what went wrong at the rig so far, each without ending it. They make what was measured meanwhile doubtful.
	Mishaps() Mishaps
	// Remarks are what else a reader of a report should know of how the rig fared: lost frames, a full queue. They are few.
	Remarks() []string
}

// Mishaps count what a rig did otherwise than it was to. All of them only grow.
type Mishaps struct {
	// Underruns is how often the load followed a demand too late, so that a decoder's current was not on the rails when it
	// should have been.
	Underruns int
	// Refused is how often the probe did not take a command that nobody waits for.
	Refused int
	// Opened is how often the probe took a short, a load or the rules of its reflex off by itself: its rating, or its host's silence.
	Opened int
	// Reconnected is how often the link to the probe came back after a loss, with all that was laid across the rails gone.
	Reconnected int
	// Missed is how often the probe lost a stretch of a track on which a fake decoder listened.
	Missed int
	// HeldUp is how often the host was busy with something else when it should have looked at the rig. Times may have come out
	// too long by it, so that it makes only a failure doubtful.
	HeldUp int
	// Clipped is how often a demand above the top of the load was cut down to it.
	Clipped int
}

// Since is what was added since an earlier count.
func (m Mishaps) Since(before Mishaps) Mishaps {
	return Mishaps{
		Underruns:   m.Underruns - before.Underruns,
		Refused:     m.Refused - before.Refused,
		Opened:      m.Opened - before.Opened,
		Reconnected: m.Reconnected - before.Reconnected,
		Missed:      m.Missed - before.Missed,
		HeldUp:      m.HeldUp - before.HeldUp,
		Clipped:     m.Clipped - before.Clipped,
	}
}

// And is the sum of two counts.
func (m Mishaps) And(other Mishaps) Mishaps { return m.Since(Mishaps{}.Since(other)) }

// String says what went wrong; it is empty when nothing did.
func (m Mishaps) String() string {
	text := ""
	for _, kind := range []struct {
		count int
		words string
	}{
		{m.Underruns, "the load followed the fake decoder too late"},
		{m.Refused, "the probe refused a command"},
		{m.Opened, "the probe took a short, a load or a reflex off by itself"},
		{m.Reconnected, "the link to the probe was lost and came back"},
		{m.Missed, "the probe lost a part of what the fake decoder should have heard"},
		{m.HeldUp, "the host was busy with something else while it should have looked at the rig"},
		{m.Clipped, "a demand above the top of the load was cut down to it"},
	} {
		if kind.count == 0 {
			continue
		}
		if text != "" {
			text += "; "
		}
		text += kind.words
		if kind.count > 1 {
			text += fmt.Sprintf(" (%d times)", kind.count)
		}
	}
	return text
}

// An Anticipator is a Track whose fake decoders answer late, because the way from the probe to the host and back is long, and
// whose probe can answer in their stead: it is told beforehand which packets of service mode are to be acknowledged. Suites tell it before
// they ask the station for an access to a CV. What it arms stays until the next call, or until Open.
type Anticipator interface {
	// Anticipate prepares for a read, a verify or a write. It returns nil where nothing has to be prepared.
	Anticipate(ctx context.Context, a Access) error
}

// An Access is one access to a CV in service mode that a station is about to be asked for.
type Access struct {
	Decoder *fakedecoder.Decoder
	Method  station.Method // direct mode if empty
	CV      int            // 1..1024
	// Write, with Value, is a write of the whole byte; WriteBit one of a bit alone.
	Write    bool
	WriteBit bool
	Bit      int
	Value    byte
}
