// Package firmware is the rig that runs the very image which will be flashed: on a simulated microcontroller (simavr),
// whose pins drive the circuit of rails, whose converter sees its currents, and whose serial port is the link.
//
// Time is virtual: the processor runs only while somebody waits on the rig. Edges carry the cycle at which the pin
// changed, and a conversion sees the current of the instant at which it samples, however the waiting is cut.
//
// The simulator is behind the build tag simavr and cgo, and GPL-3: a binary with the tag is GPL-3 as a whole. Without the
// tag Open says what is missing.
package firmware
