// Package processor is a microcontroller in software (simavr) with the image of a firmware in its flash: whatever is wired
// around it tells it what reaches its pins, its converter and its serial port, each at its cycle, and is told what its pins
// and its serial port do, with the cycle at which they did it. The rig for firmware and the bench in a box are built on it.
//
// The simulator is behind the build tag simavr and cgo, and GPL-3: a binary with the tag is GPL-3 as a whole. Images can be read
// without it.
package processor
