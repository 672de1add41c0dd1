// Package simulated is the rig that needs nothing: a whole test bench in virtual time, in pure Go.
//
// Three things stand on this bench, each in files of its own:
//
//   - a command station, modelled as real firmware is built: a bit generator driven by a timer (bits.go), a packet
//     scheduler (scheduler.go) over a list of active locomotives (locomotives.go), a service-mode sequencer
//     (service.go) with an acknowledge detector that sees only converter readings (acknowledge.go), an overload watch
//     (overload.go), operations that it can be asked for (operations.go), and an interpreter of the language in which it
//     is asked on a serial line (interpreter.go): the reference language (scpi.go);
//   - a track circuit for each output (circuit.go, output.go): supply with its current limit, bridge drop, sense
//     resistor, wiring, fake decoders, loads and shorts, solved in closed form;
//   - a probe (probe.go) with a stated resolution and noise, which is all that the suites see.
//
// Time stands still until somebody waits on the rig or reads from its link; then it runs much faster than real time.
// Serve and Pacer of package wire let it keep step with the wall clock instead, so that others can talk to the station over a real link.
// Everything random comes from one seed: two rigs with the same options that are asked the same give the same edges to
// the nanosecond.
//
// The seed also settles what the standards leave to the station: bit times inside the limits, preamble length, the
// number of repeats, resets and service packets, the thresholds inside the declared bands (settings.go). A healthy
// station differs from seed to seed and conforms with all of them. Options.Defect makes it go wrong in one of the ways
// that real firmware does (defects.go).
package simulated
