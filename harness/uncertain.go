package harness

import (
	"math"
	"time"

	"bufferstop/harness/station"
	"bufferstop/harness/uncertainty"

	"periph.io/x/conn/v3/physic"
)

// asStated is the source of what a rig states without a budget.
const asStated = "stated by the rig"

// Budget is what makes a quantity uncertain that is measured on a track. Where the rig has no budget for it, U is what the rig
// states for all values.
func (d Description) Budget(quantity string, track station.Track) uncertainty.Budget {
	if b, ok := uncertainty.Of(d.Budgets, quantity, string(track)); ok {
		return b
	}
	switch quantity {
	case uncertainty.Current:
		return uncertainty.Stated(quantity, "mA", float64(d.CurrentUncertainty)/float64(physic.MilliAmpere), asStated)
	case uncertainty.CurrentTime:
		return uncertainty.CurrentTimes(float64(d.SampleInterval), 0, nil)
	case uncertainty.AnswerTime:
		return uncertainty.AnswerTimes(0)
	case uncertainty.OffBegins, uncertainty.OffEnds: // no worse than an edge, as far as the rig says
		return d.Budget(uncertainty.EdgeTime, track)
	case uncertainty.CommandTime: // a rig whose time is the host's knows it as well as that of an edge
		return d.Budget(uncertainty.EdgeTime, track)
	}
	return uncertainty.Stated(quantity, "ns", float64(d.EdgeUncertainty), asStated)
}

// EdgeTimeU is the expanded uncertainty U (k=2) of a time between two edges of a track.
func (d Description) EdgeTimeU(track station.Track, span time.Duration) time.Duration {
	return time.Duration(math.Ceil(d.Budget(uncertainty.EdgeTime, track).Expanded(float64(span))))
}

// CurrentU is the expanded uncertainty U (k=2) of one sample of the current of a track.
func (d Description) CurrentU(track station.Track, i physic.ElectricCurrent) physic.ElectricCurrent {
	const milli = float64(physic.MilliAmpere)
	return physic.ElectricCurrent(math.Ceil(d.Budget(uncertainty.Current, track).Expanded(float64(i)/milli) * milli))
}
