// Package replay makes a probe of a capture file: a value change dump (IEEE 1364-2005, section 18) of any program,
// compressed with gzip or not, a session file of sigrok-cli, or a recording of a probe's stream (probe.Options.Record).
// What is in the file decides, not its name.
//
// A capture is delivered at the pace of the wall clock, or as fast as it is asked for: then each Pump hands out one step
// of its time, so that a rig whose time is that of its probe runs in virtual time. When it is over, an event says so, and
// after that Pump returns io.EOF.
package replay
