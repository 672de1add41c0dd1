package probe

import (
	"encoding/json"
	"math"
	"time"
)

// An epoch is a time in which the ticks of a probe run on without a break: from a START on, until the probe is lost or
// starts anew. It ties ticks to times.
type epoch struct {
	Hello []byte        // the payload of the probe's HELLO
	Tick  uint32        // with which the epoch begins
	At    time.Duration // and when that is
	// Nanos is what a tick takes, in nanoseconds: 10^9/clock, corrected by the calibration.
	Nanos       float64
	Corrections [MaxTracks]Correction // by track id
}

// time is that of a tick, counted from the beginning of the epoch.
func (e *epoch) time(ticks int64) time.Duration {
	return e.At + time.Duration(math.Round(float64(ticks)*e.Nanos))
}

// ticks is the inverse of time.
func (e *epoch) ticks(t time.Duration) int64 { return int64(math.Round(float64(t-e.At) / e.Nanos)) }

// unwrapped is the tick, counted from the beginning of the epoch, that lies nearest to another.
func (e *epoch) unwrapped(tick uint32, near int64) int64 {
	return near + int64(int32(tick-e.Tick-uint32(near)))
}

// encode and decodeEpoch are how an epoch goes through the queue and into a recording.
func (e *epoch) encode() []byte {
	p, err := json.Marshal(e)
	if err != nil {
		panic(err) // no value of it can fail, but a Nanos that is no number, which newEpoch does not make
	}
	return p
}

func decodeEpoch(p []byte) (*epoch, *Hello, error) {
	e := new(epoch)
	if err := strictJSON(p, e); err != nil {
		return nil, nil, err
	}
	hello, err := parseHello(e.Hello)
	if err != nil {
		return nil, nil, err
	}
	return e, hello, nil
}
