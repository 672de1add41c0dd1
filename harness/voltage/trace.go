package voltage

import (
	"time"

	"periph.io/x/conn/v3/physic"
)

// A Trace is the voltage between the rails around one change of their polarity. The change is near its middle.
type Trace struct {
	// Start is when the first sample was taken, in the rig's time, and Interval the time from one to the next.
	Start, Interval time.Duration
	// Volts are the samples, positive and negative as the probe is connected.
	Volts []physic.ElectricPotential
}
