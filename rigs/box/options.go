package box

import (
	"bufferstop/rigs/firmware"
	"bufferstop/rigs/processor"
)

// Options say what is in the box.
type Options struct {
	// Station is the rig file of the station's firmware, and StationImage the image.
	Station      *firmware.File
	StationImage *processor.Image
	// Board is that of the probe, and ProbeImage its firmware.
	Board      Board
	ProbeImage *processor.Image
	// PPM is by how many millionths the probe's crystal is faster than the station's.
	PPM float64
	// Tell hears of what happens, in the goroutine in which the box runs; nil for nobody. Loads are told only to the log.
	Tell func(Event)
}
