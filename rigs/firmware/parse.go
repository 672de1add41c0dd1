package firmware

import (
	"cmp"
	"fmt"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"time"

	"bufferstop/harness/station"
	"bufferstop/harness/written"
	"bufferstop/rigs/rails"

	"periph.io/x/conn/v3/physic"
)

// What a rig file may leave out.
const (
	defaultSupply = 5 * physic.Volt
	defaultStart  = 250 * time.Millisecond
	defaultBaud   = 115200
)

// contents is the file as it is written.
type contents struct {
	Kind    string `toml:"kind"`
	Name    string `toml:"name"`
	Station struct {
		File string `toml:"file"`
	} `toml:"station"`
	Firmware struct {
		Image     string  `toml:"image"`
		MCU       string  `toml:"mcu"`
		Clock     string  `toml:"clock"`
		Supply    *string `toml:"supply"`
		EEPROM    *string `toml:"eeprom"`
		StartTime *string `toml:"start_time"`
		UART      struct {
			Index *int `toml:"index"`
			Baud  *int `toml:"baud"`
		} `toml:"uart"`
		Output []outputContents `toml:"output"`
	} `toml:"firmware"`
	rails.Tables
}

type outputContents struct {
	Track     string `toml:"track"`
	Direction string `toml:"direction"`
	Enable    string `toml:"enable"`
	Brake     string `toml:"brake"`
	Positive  string `toml:"positive"`
	Negative  string `toml:"negative"`
	Sense     string `toml:"sense"`
	SenseGain string `toml:"sense_gain"`
}

// Parse reads the text of a rig file; name is where it is, and stands for it in errors. All that is wrong comes back
// together, each a *written.Error with its place, joined.
func Parse(name string, data []byte) (*File, error) {
	var c contents
	doc, ok := written.Open(name, data, &c)
	if !ok {
		return nil, doc.Err()
	}
	d := parser{doc}
	w := &c.Firmware
	f := &File{
		Name: cmp.Or(c.Name, "firmware"), Folder: filepath.Dir(name), Station: c.Station.File, Image: w.Image, MCU: w.MCU,
		Clock:     d.clock(w.Clock),
		StartTime: d.Positive("firmware.start_time", w.StartTime, defaultStart),
		UART:      d.Between("firmware.uart.index", w.UART.Index, 0, 3, 0),
		Baud:      d.Between("firmware.uart.baud", w.UART.Baud, 300, 2_000_000, defaultBaud),
		Circuit:   c.Circuit().WithDefaults(), Probe: c.Probe().WithDefaults(),
		SupplyMillivolts: int64(defaultSupply / physic.MilliVolt), document: doc,
	}
	if w.Supply != nil {
		f.SupplyMillivolts = d.supply(*w.Supply)
	}
	if c.Kind != "firmware" {
		d.Fail("kind", written.Quote(c.Kind), `"firmware"`, "")
	}
	d.needs("station.file", f.Station, `the name of a station file beside this one, as in file = "my.station.toml"`)
	d.needs("firmware.image", f.Image, `the .elf or .hex file to run, as in image = "build/station.elf"`)
	d.needs("firmware.mcu", f.MCU, `the processor, as in mcu = "atmega328p"`)
	if w.EEPROM != nil {
		f.KeepEEPROM = *w.EEPROM == "kept"
		if *w.EEPROM != "kept" && *w.EEPROM != "blank" {
			d.Fail("firmware.eeprom", written.Quote(*w.EEPROM), `"blank" or "kept"`, "")
		}
	}
	if len(w.Output) == 0 {
		d.Fail("firmware.output", "no output", "[[firmware.output]] for each track", "")
	}
	for i := range w.Output {
		f.Outputs = append(f.Outputs, d.output(fmt.Sprintf("firmware.output[%d]", i), &w.Output[i], w.Output[:i]))
	}
	if err := f.Circuit.Check(); err != nil {
		d.Fail("track", err.Error(), "a circuit that works", "")
	}
	if err := f.Probe.Check(); err != nil {
		d.Fail("probe", err.Error(), "a probe that works", "")
	}
	if err := doc.Err(); err != nil {
		return nil, err
	}
	return f, nil
}

type parser struct{ *written.Document }

// needs notes a key that is not there.
func (d parser) needs(path, value, want string) {
	if value == "" {
		d.Fail(path, "nothing", want, "")
	}
}

// The clocks and supplies that are taken: from a watch crystal to more than the family is made for. Our own choice.
const (
	slowest, fastest = 32_768 * physic.Hertz, 40 * physic.MegaHertz
	lowest, highest  = 1800 * physic.MilliVolt, 6 * physic.Volt
)

func (d parser) clock(text string) int64 {
	var clock physic.Frequency
	if err := clock.Set(text); err != nil || clock < slowest || clock > fastest {
		d.Fail("firmware.clock", written.Quote(text), fmt.Sprintf("%v to %v with its unit, as in %q", slowest, fastest, "16MHz"), "")
	}
	return int64(clock / physic.Hertz)
}

func (d parser) supply(text string) int64 {
	var supply physic.ElectricPotential
	if err := supply.Set(text); err != nil || supply < lowest || supply > highest {
		d.Fail("firmware.supply", written.Quote(text), fmt.Sprintf("%v to %v with its unit, as in %q", lowest, highest, "3.3V"), "")
	}
	return int64(supply / physic.MilliVolt)
}

// output reads one output; others are those before it.
func (d parser) output(path string, c *outputContents, others []outputContents) Output {
	o := Output{
		Track:     station.Track(c.Track),
		Direction: d.pin(path+".direction", c.Direction), Enable: d.pin(path+".enable", c.Enable), Brake: d.pin(path+".brake", c.Brake),
		Positive: d.pin(path+".positive", c.Positive), Negative: d.pin(path+".negative", c.Negative),
		Channel: -1,
	}
	if o.Track != station.Main && o.Track != station.Programming {
		d.Fail(path+".track", written.Quote(c.Track), `"main" or "programming"`, "")
	}
	pair := c.Positive != "" || c.Negative != ""
	switch {
	case pair && (c.Direction != "" || c.Enable != "" || c.Brake != ""):
		d.Fail(path, "a direction and a pair of pins", "direction, enable and brake, or positive and negative", "")
	case pair && (c.Positive == "" || c.Negative == ""):
		d.Fail(path, "one of positive and negative", "both", "")
	case !pair && c.Direction == "":
		d.Fail(path, "no pin", `direction = "PB1", or positive = "PB1" and negative = "PB2"`, "")
	}
	if c.Sense != "" {
		o.Channel, o.Gain = d.sense(path, c)
	} else if c.SenseGain != "" {
		d.Fail(path+".sense_gain", written.Quote(c.SenseGain), "none without a channel", `sense = "ADC0"`)
	}
	d.shares(path, c, others)
	return o
}

// shares notes what an output has in common with those before it, and pins that it has twice. Outputs may be enabled and braked
// together, and nothing else.
func (d parser) shares(path string, c *outputContents, others []outputContents) {
	own, common := map[string]bool{}, map[string]bool{}
	for i := range others {
		for _, v := range others[i].values() {
			own[v.text] = own[v.text] || !v.common
			common[v.text] = true
		}
	}
	for _, v := range c.values() {
		if v.text != "" && (own[v.text] || common[v.text] && !v.common) {
			d.Fail(path+"."+v.key, written.Quote(v.text), "another than those that stand before", "")
		}
		own[v.text] = true
	}
}

// A value is what one key of an output says; common, when outputs may have it in common.
type value struct {
	key, text string
	common    bool
}

func (c *outputContents) values() []value {
	all := []value{
		{"track", c.Track, false}, {"direction", c.Direction, false}, {"enable", c.Enable, true}, {"brake", c.Brake, true},
		{"positive", c.Positive, false}, {"negative", c.Negative, false}, {"sense", c.Sense, false},
	}
	for i := range all {
		all[i].text = strings.TrimPrefix(all[i].text, "!")
	}
	return all
}

var pinText = regexp.MustCompile(`^(!?)P([A-L])([0-7])$`)

func (d parser) pin(path, text string) Pin {
	if text == "" {
		return Pin{}
	}
	parts := pinText.FindStringSubmatch(text)
	if parts == nil {
		d.Fail(path, written.Quote(text), `a pin, as in "PB1", or "!PB1" where low is what the name says`, "")
		return Pin{}
	}
	return Pin{Port: parts[2][0], Bit: int(parts[3][0] - '0'), Inverted: parts[1] != ""}
}

var (
	channelText = regexp.MustCompile(`^ADC(1[0-5]|[0-9])$`)
	gainText    = regexp.MustCompile(`^([0-9]+(?:\.[0-9]+)?) ?(m?)V/A$`)
)

// sense reads the channel that sees the current, and how many volts it gets for an ampere.
func (d parser) sense(path string, c *outputContents) (channel int, gain float64) {
	parts := channelText.FindStringSubmatch(c.Sense)
	if parts == nil {
		d.Fail(path+".sense", written.Quote(c.Sense), `a channel of the converter, as in "ADC0"`, "")
		return -1, 0
	}
	channel, _ = strconv.Atoi(parts[1]) // the pattern lets numbers through only
	parts = gainText.FindStringSubmatch(c.SenseGain)
	if parts == nil {
		d.Fail(path+".sense_gain", written.Quote(c.SenseGain), `volts for an ampere, as in "1.65V/A"`, "")
		return channel, 0
	}
	gain, _ = strconv.ParseFloat(parts[1], 64)
	if parts[2] != "" {
		gain /= 1000
	}
	if gain <= 0 || gain > 1000 {
		d.Fail(path+".sense_gain", written.Quote(c.SenseGain), "more than 0 V/A and at most 1000 V/A", "")
	}
	return channel, gain
}
