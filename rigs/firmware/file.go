package firmware

import (
	"path/filepath"
	"time"

	"bufferstop/harness/station"
	"bufferstop/harness/written"
	"bufferstop/rigs/rails"
)

// A File is a rig file of the kind "firmware":
//
//	kind = "firmware"
//	name = "my firmware on a simulated board"
//
//	[station]
//	file = "my.station.toml"        # beside the rig file
//
//	[firmware]
//	image = "build/station.elf"     # .elf or .hex, beside the rig file
//	mcu = "atmega328p"
//	clock = "16MHz"
//	supply = "5V"                   # of the processor: the converter's reference; default 5V
//	eeprom = "blank"                # "blank": erased at every start; "kept": as the firmware left it; default "blank"
//	start_time = "250ms"            # from supply to the first command accepted; default 250ms
//
//	[firmware.uart]
//	index = 0                       # default 0
//	baud = 115200                   # default 115200
//
//	[[firmware.output]]             # one for each output
//	track = "main"                  # main or programming
//	direction = "PB1"               # high for one polarity, low for the other; "!PB1" is the other way round
//	enable = "PB0"                  # the bridge is on; may be left out
//	brake = "PD5"                   # both rails are joined; may be left out
//	sense = "ADC0"                  # channel that sees the current; may be left out
//	sense_gain = "1V/A"
//
// In place of direction, enable and brake an output may have two pins in antiphase: positive = "PB1", negative = "PB2".
// While both are alike the output is off. The tables of rails.Tables (supply, track, probe) say what lies around the board.
type File struct {
	Name    string
	Folder  string // where the file is: names in it are relative to it
	Station string // the name of the station file, relative to the rig file
	Image   string // the name of the image, relative to the rig file
	MCU     string
	// Clock is in hertz.
	Clock            int64
	SupplyMillivolts int64
	KeepEEPROM       bool
	StartTime        time.Duration
	UART, Baud       int
	Outputs          []Output
	Circuit          rails.Circuit
	Probe            rails.Probe
	document         *written.Document // to point at what the processor does not have
}

// ImagePath is where the image is that the file names.
func (f *File) ImagePath() string {
	if filepath.IsAbs(f.Image) {
		return f.Image
	}
	return filepath.Join(f.Folder, filepath.FromSlash(f.Image))
}

// An Output is how one track output hangs on the processor.
type Output struct {
	Track                    station.Track
	Direction, Enable, Brake Pin
	Positive, Negative       Pin
	// Channel of the converter that sees the current, or -1; Gain is what it sees, in volts for each ampere.
	Channel int
	Gain    float64
}

// Millivolts is what the channel sees of a current in amperes.
func (o *Output) Millivolts(amperes float64) uint32 { return uint32(amperes*o.Gain*1000 + 0.5) }

// A Pin is a pin of a port. The zero value is none.
type Pin struct {
	Port     byte // 'A' to 'L'
	Bit      int
	Inverted bool // the pin means the contrary of its name
}
