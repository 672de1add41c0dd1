package bench

import (
	"errors"
	"path/filepath"
	"strings"
	"time"

	"bufferstop/harness/calibration"
	"bufferstop/harness/link"
	"bufferstop/harness/probe"
	"bufferstop/harness/written"
)

// Probe is the table [probe] of a rig file, with a capture probe at the tracks:
//
//	[probe]
//	link = "serial:usb=1209:0002?baud=2000000"   # or "sigrok:..." or "file:...", which can only look
//	stretch = "1ms"                    # how much a frame of the stream tells: 500µs to 4ms
//	sample_interval = "500µs"          # of the current of each track: 100µs to 60ms
//	loop_time = "8ms"                  # how late the load follows the fake decoder, always: measured when left out
//	calibration = "x.calibration.toml" # beside the rig file; NAME.calibration.toml when left out
//	supply_off = "1s"                  # how long a restart leaves the station without supply
//	starts_in = "3s"                   # how long the station takes to start up
//
// All but the link may be left out; with a table [inside], that too: then the station inside has a probe of its own, at a
// second pseudo-terminal.
type Probe struct {
	Link                    string
	Stretch, SampleInterval time.Duration
	// LoopTime is zero when it is to be measured.
	LoopTime time.Duration
	// Calibration is the path of the file.
	Calibration       string
	SupplyOff, Starts time.Duration
}

// probeContents is the table as it is written.
type probeContents struct {
	Link           string  `toml:"link"`
	Stretch        *string `toml:"stretch"`
	SampleInterval *string `toml:"sample_interval"`
	LoopTime       *string `toml:"loop_time"`
	Calibration    string  `toml:"calibration"`
	SupplyOff      *string `toml:"supply_off"`
	StartsIn       *string `toml:"starts_in"`
}

// What is taken for what the table leaves out. The capacitors of a station's supply empty within a second, and a board with a boot
// loader is up after three: common practice, no source.
const (
	ordinaryStretch = time.Millisecond
	ordinarySamples = 500 * time.Microsecond
	ordinaryOff     = time.Second
	ordinaryStart   = 3 * time.Second
	longestWait     = time.Minute
	longestLoop     = time.Second
)

// probe checks the table of the probe. name is where the file is.
func (d parser) probe(c *probeContents, name string, inside *Inside) *Probe {
	p := &Probe{
		Link:           c.Link,
		Stretch:        d.within("probe.stretch", c.Stretch, 500*time.Microsecond, 4*time.Millisecond, ordinaryStretch),
		SampleInterval: d.within("probe.sample_interval", c.SampleInterval, 100*time.Microsecond, 60*time.Millisecond, ordinarySamples),
		LoopTime:       d.within("probe.loop_time", c.LoopTime, time.Microsecond, longestLoop, 0),
		SupplyOff:      d.within("probe.supply_off", c.SupplyOff, time.Millisecond, longestWait, ordinaryOff),
		Starts:         d.within("probe.starts_in", c.StartsIn, 0, longestWait, ordinaryStart),
		Calibration:    calibration.PathBeside(name),
	}
	if c.Calibration != "" {
		p.Calibration = beside(filepath.Dir(name), c.Calibration)
	}
	var wrong *link.AddressError
	switch _, err := link.ParseAddress(c.Link); {
	case c.Link == "" && inside == nil:
		d.Fail("probe.link", "no link", "the address of the probe", `link = "serial:/dev/ttyUSB0?baud=2000000"`)
	case c.Link == "":
	case looksOnly(c.Link):
		var wrong *probe.AddressError
		if errors.As(checkEyes(c.Link), &wrong) {
			d.Fail("probe.link", wrong.What+" "+written.Quote(wrong.Got), wrong.Want, wrong.Hint)
		}
	case errors.As(err, &wrong):
		d.Fail("probe.link", wrong.Quoted(), wrong.Want+", sigrok: or file:", wrong.Hint)
	}
	switch {
	case inside == nil:
	case looksOnly(c.Link):
		d.Fail("probe.link", written.Quote(c.Link), "a serial: address, or none", "a station inside has a probe of its own")
	case inside.Pace != paceReal:
		d.Fail("inside.pace", written.Quote(inside.Pace), "real", "a probe lives in real time")
	case c.Link != "" && !strings.HasPrefix(c.Link, schemes[servePTY]):
		d.Fail("probe.link", written.Quote(c.Link), "an address that begins with "+schemes[servePTY], "the probe inside is at a pseudo-terminal")
	}
	return p
}

// apart refuses a probe where the station is. What is wrong with either address by itself is told elsewhere.
func (d parser) apart(station, probe, folder string) {
	s, noStation := link.ParseAddress(station)
	p, noProbe := link.ParseAddress(probe)
	if noStation == nil && noProbe == nil && s.In(folder).Identity() == p.In(folder).Identity() {
		d.Fail("probe.link", written.Quote(probe), "another device than that of the station", "")
	}
}

// within reads a time.
func (d parser) within(path string, text *string, low, high, otherwise time.Duration) time.Duration {
	if text == nil {
		return otherwise
	}
	t, err := time.ParseDuration(*text)
	if err != nil || t < low || t > high {
		d.Fail(path, written.Quote(*text), "a time of "+low.String()+" to "+high.String(), "")
		return otherwise
	}
	return t
}

// beside is a path of a rig file, which is relative to its folder.
func beside(folder, path string) string {
	if filepath.IsAbs(path) {
		return path
	}
	return filepath.Join(folder, filepath.FromSlash(path))
}
