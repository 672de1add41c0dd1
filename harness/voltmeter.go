package harness

import "bufferstop/harness/voltage"

// A Voltmeter is a Track whose voltage the rig sees as an oscilloscope does. One that is SeeVolts is one.
type Voltmeter interface {
	// Traces hands traces of the next n changes of polarity to take, in order of time, as the rig's time goes on, or until cancel is
	// called. A change that comes too soon after another, or before another, to stand alone in a trace is left out, and so is one
	// to or from a track without voltage. A second call ends the first.
	Traces(n int, take func(voltage.Trace)) (cancel func())
}
