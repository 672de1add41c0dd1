package simulated

import "time"

// An interpreter is the language that the station speaks: it takes characters from the serial line, makes operations of
// them (operations.go), and says in its own words what came of them. One operation is under way at a time; what is asked
// for meanwhile waits in an input buffer of limited size.
type interpreter interface {
	// character is the serial receive interrupt.
	character(t time.Duration, c byte)
	// run is the main loop's turn at t: it executes one command, or goes on with one.
	run(t time.Duration)
}
