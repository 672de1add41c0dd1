package current

import (
	"time"

	"periph.io/x/conn/v3/physic"
)

// A Sample is what a probe measured on a track at one instant: the magnitude of the current, whichever way the track
// voltage points.
type Sample struct {
	Time    time.Duration
	Current physic.ElectricCurrent
}
