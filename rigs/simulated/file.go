package simulated

import (
	"fmt"
	"io/fs"

	"bufferstop/harness/dcc"
	"bufferstop/harness/written"
	"bufferstop/rigs/rails"
)

// A File is a rig file: what rigs/simulated.rig.toml and its like say.
//
//	kind = "simulated"
//	name = "simulated rig"
//
//	[station]
//	file = "reference.station.toml"  # beside the rig file
//	habit = "cutout"                 # one of Habits; may be left out. The station file has to claim it
//
// All of the following may be left out:
//
//	[station]
//	numbering = "first is raw 4"     # or "first is raw 0": the accessory that the station calls number 1
//
//	[line]
//	baud = 115200
//
//	[supply]
//	voltage = "16V"
//	limit = "5A"          # the most that one output gets
//
//	[track]
//	drop = "1.2V"         # fixed drop of the bridge
//	bridge = "300mOhm"    # its resistance
//	sense = "150mOhm"     # sense resistor
//	wiring = "200mOhm"    # to the rails and back
//
//	[probe]
//	clock = "16MHz"
//	noise = "10ns"        # standard deviation of the time of an edge
//	sample_interval = "500us"
//	current_step = "1mA"
//	current_noise = "1mA" # standard deviation of a sample
type File struct {
	// Name is what reports call the rig.
	Name string
	// Station is the name of the station file, relative to the rig file.
	Station string
	// Options are what the file says of the rig, without seed and defect.
	Options Options
}

// contents is the file as it is written.
type contents struct {
	Kind    string `toml:"kind"`
	Name    string `toml:"name"`
	Station struct {
		File      string  `toml:"file"`
		Numbering *string `toml:"numbering"`
		Habit     string  `toml:"habit"`
	} `toml:"station"`
	Line struct {
		Baud *int `toml:"baud"`
	} `toml:"line"`
	rails.Tables
}

// Load reads a rig file from a file system. The error names the file and, where one is to blame, the line.
func Load(fsys fs.FS, name string) (*File, error) {
	data, err := fs.ReadFile(fsys, name)
	if err != nil {
		return nil, fmt.Errorf("rig file: %w", err)
	}
	return Parse(name, data)
}

// Parse reads the text of a rig file; name stands for it in errors. All that is wrong comes back together, each a
// *written.Error with its place, joined.
func Parse(name string, data []byte) (*File, error) {
	var c contents
	d, ok := written.Open(name, data, &c)
	if !ok {
		return nil, d.Err()
	}
	if c.Kind != "simulated" {
		d.Fail("kind", written.Quote(c.Kind), `"simulated"`, "")
	}
	if c.Station.File == "" {
		d.Fail("station.file", "no station file", "the name of one, relative to this file", `file = "my.station.toml"`)
	} else if !fs.ValidPath(c.Station.File) {
		d.Fail("station.file", written.Quote(c.Station.File), "a path below the rig file's directory", "")
	}
	if c.Station.Habit != "" {
		if _, err := FindHabit(c.Station.Habit); err != nil {
			d.Fail("station.habit", written.Quote(c.Station.Habit), "one of "+habitNames(), "")
		}
	}
	f := &File{Name: c.Name, Station: c.Station.File, Options: Options{
		Name:    c.Name,
		Habit:   c.Station.Habit,
		Baud:    d.Between("line.baud", c.Line.Baud, slowest, fastest, defaultBaud),
		Circuit: c.Circuit(),
		Probe:   c.Probe(),
	}}
	if n := c.Station.Numbering; n != nil {
		switch *n {
		case dcc.FirstIsRawFour.String():
		case dcc.FirstIsRawZero.String():
			f.Options.Numbering = dcc.FirstIsRawZero
		default:
			d.Fail("station.numbering", written.Quote(*n), `"first is raw 4" or "first is raw 0"`, "")
		}
	}
	// What New would refuse is refused here, where the place is known.
	if err := f.Options.Circuit.WithDefaults().Check(); err != nil {
		d.Fail("supply", err.Error(), "a circuit that works", "the tables supply and track")
	}
	if err := f.Options.Probe.WithDefaults().Check(); err != nil {
		d.Fail("probe", err.Error(), "a probe that works", "")
	}
	if err := d.Err(); err != nil {
		return nil, err
	}
	return f, nil
}
