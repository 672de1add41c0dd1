package bench

import (
	"context"
	"errors"

	"bufferstop/harness"
	"bufferstop/harness/link"
	"bufferstop/harness/station"
)

// A side is the track side of a bench: the probes, what can be laid across the rails, the switch of the station's supply,
// and the clock by which the probes stamp what they see, which is the rig's. It is harness.Rig without the link.
type side interface {
	link.Clock
	Describe() harness.Description
	Track(name station.Track) harness.Track
	Restart(ctx context.Context) error
	Safe() error
	Close() error
}

// nothing is the track side of a bench that reaches no track.
type nothing struct{ *link.WallClock }

func (nothing) Describe() harness.Description     { return harness.Description{} }
func (nothing) Track(station.Track) harness.Track { return nil }
func (nothing) Restart(context.Context) error     { return errNoSwitch }
func (nothing) Safe() error                       { return nil }
func (nothing) Close() error                      { return nil }

var errNoSwitch = errors.New("bench rig: the station's supply is not switched by this rig")
