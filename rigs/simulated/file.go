package simulated

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2"
	"periph.io/x/conn/v3/physic"
)

// A File is a rig file: what rigs/simulated.rig.toml and its like say.
//
//	kind = "simulated"
//	name = "simulated rig"
//
//	[station]
//	file = "reference.station.toml"  # beside the rig file
//
// All of the following may be left out:
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
		File string `toml:"file"`
	} `toml:"station"`
	Line struct {
		Baud int `toml:"baud"`
	} `toml:"line"`
	Supply struct {
		Voltage quantity[physic.ElectricPotential, *physic.ElectricPotential] `toml:"voltage"`
		Limit   quantity[physic.ElectricCurrent, *physic.ElectricCurrent]     `toml:"limit"`
	} `toml:"supply"`
	Track struct {
		Drop   quantity[physic.ElectricPotential, *physic.ElectricPotential]   `toml:"drop"`
		Bridge quantity[physic.ElectricResistance, *physic.ElectricResistance] `toml:"bridge"`
		Sense  quantity[physic.ElectricResistance, *physic.ElectricResistance] `toml:"sense"`
		Wiring quantity[physic.ElectricResistance, *physic.ElectricResistance] `toml:"wiring"`
	} `toml:"track"`
	Probe struct {
		Clock          quantity[physic.Frequency, *physic.Frequency]             `toml:"clock"`
		Noise          span                                                      `toml:"noise"`
		SampleInterval span                                                      `toml:"sample_interval"`
		CurrentStep    quantity[physic.ElectricCurrent, *physic.ElectricCurrent] `toml:"current_step"`
		CurrentNoise   quantity[physic.ElectricCurrent, *physic.ElectricCurrent] `toml:"current_noise"`
	} `toml:"probe"`
}

// quantity is a value with its unit, as physic reads it.
type quantity[T any, P interface {
	*T
	Set(string) error
}] struct{ value T }

// UnmarshalText reads the value; toml adds the line to its error.
func (q *quantity[T, P]) UnmarshalText(text []byte) error { return P(&q.value).Set(string(text)) }

// span is a duration.
type span time.Duration

// UnmarshalText reads the duration; toml adds the line to its error.
func (s *span) UnmarshalText(text []byte) error {
	d, err := time.ParseDuration(string(text))
	*s = span(d)
	return err
}

// Load reads a rig file from a file system. The error names the file and, where one is to blame, the line.
func Load(fsys fs.FS, name string) (*File, error) {
	data, err := fs.ReadFile(fsys, name)
	if err != nil {
		return nil, fmt.Errorf("rig file: %w", err)
	}
	return Parse(name, data)
}

// Parse reads the text of a rig file. Keys that it does not know are errors. The name is only for the errors.
func Parse(name string, data []byte) (*File, error) {
	var c contents
	decoder := toml.NewDecoder(bytes.NewReader(data)).DisallowUnknownFields()
	if err := decoder.Decode(&c); err != nil {
		return nil, located(name, err)
	}
	switch {
	case c.Kind != "simulated":
		return nil, fmt.Errorf("%s: kind is %q, want \"simulated\"", name, c.Kind)
	case c.Station.File == "":
		return nil, fmt.Errorf("%s: no station file; say [station] file = \"...\"", name)
	case !fs.ValidPath(c.Station.File):
		return nil, fmt.Errorf("%s: station file %q, want a path below the rig file's directory", name, c.Station.File)
	}
	f := &File{Name: c.Name, Station: c.Station.File, Options: Options{
		Name: c.Name,
		Baud: c.Line.Baud,
		Circuit: Circuit{
			Supply: c.Supply.Voltage.value, Limit: c.Supply.Limit.value, Drop: c.Track.Drop.value,
			Bridge: c.Track.Bridge.value, Sense: c.Track.Sense.value, Wiring: c.Track.Wiring.value,
		},
		Probe: Probe{
			Clock: c.Probe.Clock.value, Noise: time.Duration(c.Probe.Noise),
			SampleInterval: time.Duration(c.Probe.SampleInterval),
			CurrentStep:    c.Probe.CurrentStep.value, CurrentNoise: c.Probe.CurrentNoise.value,
		},
	}}
	// What New would refuse is refused here, where the name of the file is known.
	full := f.Options
	if err := full.complete(); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return f, nil
}

// located puts file and line before an error of the TOML reader.
func located(name string, err error) error {
	var unknown *toml.StrictMissingError
	if errors.As(err, &unknown) && len(unknown.Errors) > 0 {
		first := unknown.Errors[0]
		row, _ := first.Position()
		return fmt.Errorf("%s:%d: unknown key %q", name, row, strings.Join(first.Key(), "."))
	}
	var syntax *toml.DecodeError
	if errors.As(err, &syntax) {
		row, column := syntax.Position()
		return fmt.Errorf("%s:%d:%d: %w", name, row, column, err)
	}
	return fmt.Errorf("%s: %w", name, err)
}
