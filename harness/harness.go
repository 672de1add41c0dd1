// Package harness is the frame in which a station is examined: the rig that holds it and the tracks that it feeds.
package harness

import (
	"context"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness/calibration"
	"bufferstop/harness/current"
	"bufferstop/harness/link"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/harness/uncertainty"

	"periph.io/x/conn/v3/physic"
)

// A Rig holds a station and all that can be done to it from outside. A bench rig runs on the wall clock; a simulated or
// firmware rig runs on virtual time that moves only while somebody waits on it. A rig is used by one goroutine at a time.
type Rig interface {
	// Describe says what the rig is and what it can do.
	Describe() Description
	// Now is the time since the rig started.
	Now() time.Duration
	// Wait lets d of the rig's time pass, or returns ctx.Err() when ctx ends first.
	Wait(ctx context.Context, d time.Duration) error
	// Link is the byte link to the station. The rig owns it and closes it.
	Link() link.Link
	// Track returns the named output, or nil when the rig does not reach it.
	Track(name station.Track) Track
	// Restart takes the station's supply away and gives it back, as at the start of a day. The track outputs stay as
	// the station starts up with them.
	Restart(ctx context.Context) error
	// Safe opens every short and takes off every load and decoder. It works when ctx has ended, and may be called at
	// any time. (Track power is the station's to switch: Session.Safe asks it to.)
	Safe() error
	// Close makes the rig safe and frees it. A second Close does nothing.
	Close() error
}

// Insight is what a rig has that runs the station's processor itself, and so sees how it fares. Rigs that look at a station
// from outside do not implement it.
type Insight interface {
	// StationFault says how the processor came to its end, if it did: it does nothing any more. The text quotes nothing that
	// a station said.
	StationFault() string
	// StationResets counts how often the processor has started anew by itself since it was last given its supply.
	StationResets() int
}

// A Reopener is a rig that can close the link to the station and open it again, as a program does that ends and is started
// again. What was on its way is lost, and many boards start anew when their port is opened.
type Reopener interface {
	// ReopenLink returns when the link is open again, after the given time without one. Errors are those of the link and of ctx.
	ReopenLink(ctx context.Context, closed time.Duration) error
}

// A Track is one output of the station, with the probe that watches it and the things that can be laid across it.
// Everything that changes the track takes effect at the rig's present time.
type Track interface {
	Name() station.Track
	// Listen hands all that the probe sees from now on to l, in order of time, until cancel is called. The first edge
	// delivered tells the level that the track has now.
	Listen(l Listener) (cancel func())
	// Fit lays a fake decoder across the rails.
	Fit(c fakedecoder.Config) (*fakedecoder.Decoder, error)
	// Short lays a resistance across the rails until Open.
	Short(r physic.ElectricResistance) error
	// Load draws a steady current while the track has voltage. Zero takes the load off.
	Load(i physic.ElectricCurrent) error
	// Inrush connects a discharged capacitor: a current that starts at peak and falls with the time constant tau.
	Inrush(peak physic.ElectricCurrent, tau time.Duration) error
	// Open takes the short, the load and every decoder off the rails.
	Open() error
}

// A Listener receives what a probe sees. The slices are valid only during the call.
type Listener interface {
	Edges(edges []signal.Edge)
	Samples(samples []current.Sample)
}

// Ability is a thing that some rigs can do and others cannot; requirements name the ones they need.
type Ability string

// What a rig may be able to do.
const (
	SeeEdges   Ability = "edges"          // the probe sees polarity and off states
	SeeCurrent Ability = "current"        // the probe samples the track current
	LayShort   Ability = "short"          // a switched short across the rails
	LayLoad    Ability = "load"           // a steady load
	LayInrush  Ability = "inrush"         // the inrush of a capacitor: a load that follows a falling exponential
	FitDecoder Ability = "decoder"        // the fake decoder can answer with acknowledge pulses
	CutSupply  Ability = "power-cycling"  // the station's supply can be switched
	ReopenLink Ability = "link-reopening" // the link to the station can be closed and opened again: see Reopener
	SeeVolts   Ability = "volts"          // an oscilloscope sees the voltage between the rails: see Voltmeter
)

// A Description says what a rig is, what it can do and how well it measures.
type Description struct {
	Name string // as reports print it
	Kind string // simulated, firmware or bench
	// Seed repeats the run on a rig that draws random numbers; zero elsewhere.
	Seed int64
	// Tracks lists the outputs that the rig reaches, each with its abilities.
	Tracks map[station.Track][]Ability
	// Reasons says why a track is without an ability that its hardware might have led to expect, or on what condition it has
	// one. Most have none.
	Reasons map[station.Track]map[Ability]string
	// EdgeUncertainty is the expanded uncertainty (k=2) of the time between two edges.
	EdgeUncertainty time.Duration
	// SampleInterval is the time between two current samples; CurrentUncertainty the expanded uncertainty (k=2) of one.
	SampleInterval     time.Duration
	CurrentUncertainty physic.ElectricCurrent
	// Budgets say what makes the rig's measurements uncertain, and by how much more than above where a value is large. A rig
	// that states none has the two above for all values: see Budget.
	Budgets []uncertainty.Budget
	// Calibration is that of the rig's probe, nil where there is none.
	Calibration *calibration.File
	// Observations are what a reader of a report should know of the state of the rig, such as that its probe was never
	// calibrated.
	Observations []string
}

// Can reports whether the rig has the ability on the track.
func (d Description) Can(track station.Track, a Ability) bool {
	for _, has := range d.Tracks[track] {
		if has == a {
			return true
		}
	}
	return false
}
