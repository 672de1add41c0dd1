package analyser

import (
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"bufferstop/harness/probe"
)

// Scheme is how an address begins.
const Scheme = "sigrok:"

const (
	defaultRate = 8_000_000 // 125 ns, and slow enough for any analyser without memory of its own; our own choice
	// defaultOffAfter is the off delay that the window comparators of our own probe have (rigs/bench/README.md).
	defaultOffAfter = 10 * time.Microsecond
	longestOffAfter = time.Millisecond
	longestValue    = 256
	mostPPM         = 10_000 // more is another rate, not another clock; our own choice
	keys            = "driver, conn, serialcomm, samplerate, track, channel, absent, positive, negative, active, off, threshold, ppm or set"
	example         = "such as sigrok:driver=NAME,samplerate=8MHz,channel=D0"
)

// An Address says which analyser is a probe, and how it is connected.
type Address struct {
	Driver     string // as sigrok-cli names it
	Conn       string // which of several, in the words of the driver; may be empty
	SerialComm string // the settings of its serial port; may be empty
	Rate       int64  // samples per second that are asked for
	Tracks     []Channels
	OffAfter   time.Duration // see Layout
	Threshold  string        // voltage_threshold of the driver; may be empty
	Settings   []Setting     // further settings of the driver
	PPM        float64       // as in Options, and added to that
}

// Channels are those of one track, by the names that the driver has for them.
type Channels struct {
	Track              int // probe.Main or probe.Programming
	Sign, Absent       string
	Positive, Negative string
	Low                bool // see Pins
}

// A Setting is passed on to the driver as it is.
type Setting struct{ Key, Value string }

// Tracks by name.
var trackNames = []string{probe.Main: "main", probe.Programming: "programming"}

// ParseAddress reads the text of an address: "sigrok:" and keys with values, separated by commas.
//
//	driver=NAME          the driver (sigrok-cli --list-supported); must be there
//	conn=TEXT            which device, if the driver finds several
//	serialcomm=TEXT      the settings of its serial port
//	samplerate=8MHz      samples per second; 8MHz
//	track=main           the track that the following channels belong to: main or programming. Without it the first is
//	                     main and the next is programming
//	channel=D0           the sign of the track voltage, high for positive
//	absent=D1            beside channel: high when there is no voltage
//	positive=D0          high for a voltage that is positive, with negative=, instead of channel
//	negative=D1          high for one that is negative
//	active=low           of this track's absent, positive and negative: they are low where the above says high
//	off=10us             how long a gap between positive and negative has to be for an off; with absent=, by how much that is
//	                     late, as it is by the capacitor of our own front end
//	threshold=TEXT       the voltage threshold of the inputs, in the words of the driver
//	ppm=12.5             by how many millionths the time of the samples is to be made longer; negative for a clock that is fast
//	set=KEY=VALUE        any other setting of the driver
//
// The error is a *probe.AddressError.
func ParseAddress(text string) (Address, error) {
	a := Address{Rate: defaultRate, OffAfter: defaultOffAfter}
	rest, ok := strings.CutPrefix(text, Scheme)
	if !ok {
		return Address{}, &probe.AddressError{What: "address", Got: text, Want: Scheme + "driver=NAME,...", Hint: example}
	}
	at := len(Scheme)
	p := addressParser{a: &a, seen: map[string]bool{}}
	for part := range strings.SplitSeq(rest, ",") {
		key, value, found := strings.Cut(part, "=")
		p.at, p.key = at, key
		if !found || value == "" || len(value) > longestValue || strings.ContainsFunc(value, unfit) {
			return Address{}, p.wrong("setting", part, "KEY=VALUE, the value printable and without a colon", example)
		}
		if err := p.set(key, value); err != nil {
			return Address{}, err
		}
		at += len(part) + 1
	}
	p.at = len(text)
	if err := p.finish(); err != nil {
		return Address{}, err
	}
	return a, nil
}

// unfit are the characters that no value may have: sigrok-cli divides settings by colons.
func unfit(r rune) bool { return r == ':' || !unicode.IsPrint(r) || r == unicode.ReplacementChar }

type addressParser struct {
	a     *Address
	seen  map[string]bool
	named bool // the track under way was named and has no channel yet
	at    int
	key   string
}

func (p *addressParser) wrong(what, got, want, hint string) error {
	return &probe.AddressError{At: p.at, What: what, Got: got, Want: want, Hint: hint}
}

func (p *addressParser) set(key, value string) error {
	switch key {
	case "track", "channel", "absent", "positive", "negative", "active":
		return p.channel(key, value)
	case "set":
		name, setting, ok := strings.Cut(value, "=")
		if !ok || name == "" || setting == "" {
			return p.wrong("set", value, "KEY=VALUE of the driver", "sigrok-cli --driver NAME --show lists them")
		}
		if slices.Contains([]string{"samplerate", "voltage_threshold", "limit_samples", "limit_time", "limit_frames"}, name) {
			return p.wrong("set", name, "another setting", "the rate is samplerate=, the threshold threshold=, and a probe has no end")
		}
		p.a.Settings = append(p.a.Settings, Setting{name, setting})
		return nil
	}
	if p.seen[key] {
		return p.wrong("a second "+key, value, "one", "")
	}
	p.seen[key] = true
	switch key {
	case "driver":
		if strings.HasPrefix(value, "-") {
			return p.wrong(key, value, "the name of a driver", "sigrok-cli --list-supported lists them")
		}
		p.a.Driver = value
	case "conn":
		p.a.Conn = value
	case "serialcomm":
		p.a.SerialComm = value
	case "threshold":
		p.a.Threshold = value
	case "samplerate":
		rate, ok := ParseRate(value)
		if !ok {
			return p.wrong(key, value, "1Hz to 1GHz in whole hertz", "such as 8MHz; more than 1 µs between two samples measures little")
		}
		p.a.Rate = rate
	case "ppm":
		ppm, err := strconv.ParseFloat(value, 64)
		if err != nil || !(ppm >= -mostPPM && ppm <= mostPPM) {
			return p.wrong(key, value, "-10000 to 10000", "such as 12.5")
		}
		p.a.PPM = ppm
	case "off":
		d, err := time.ParseDuration(value)
		if err != nil || d < 0 || d > longestOffAfter {
			return p.wrong(key, value, "a duration of 0s to 1ms", "such as 10us")
		}
		p.a.OffAfter = d
	default:
		return p.wrong("key", key, keys, example)
	}
	return nil
}

// channel takes a key that belongs to a track.
func (p *addressParser) channel(key, value string) error {
	var t *Channels
	if n := len(p.a.Tracks); n > 0 {
		t = &p.a.Tracks[n-1]
	}
	switch key {
	case "track":
		id := slices.Index(trackNames, value)
		if id < 0 {
			return p.wrong(key, value, strings.Join(trackNames, " or "), "")
		}
		return p.begin(id, true)
	case "channel", "positive":
		if t == nil || !p.named {
			id := 0
			if t != nil {
				id = 1 - t.Track
			}
			if err := p.begin(id, false); err != nil {
				return err
			}
			t = &p.a.Tracks[len(p.a.Tracks)-1]
		}
		p.named = false
	}
	const after = "it behind the channel that it belongs to"
	var to *string
	switch {
	case key == "channel":
		to = &t.Sign
	case key == "positive":
		to = &t.Positive
	case key == "active":
		if value != "low" && value != "high" {
			return p.wrong(key, value, "low or high", "")
		}
		if t == nil || p.named {
			return p.wrong(key, value, after, "")
		}
		t.Low = value == "low"
		return nil
	case key == "absent" && t != nil && t.Sign != "":
		to = &t.Absent
	case key == "negative" && t != nil && t.Positive != "":
		to = &t.Negative
	default:
		return p.wrong(key, value, after, "absent= belongs to channel=, negative= to positive=")
	}
	if *to != "" {
		return p.wrong("a second "+key+" of the track", value, "one", "")
	}
	if strings.ContainsAny(value, "=") {
		return p.wrong(key, value, "the name of a channel, without =", "")
	}
	for _, other := range p.a.Tracks {
		if slices.Contains([]string{other.Sign, other.Absent, other.Positive, other.Negative}, value) {
			return p.wrong(key, value, "a channel that is used once", "")
		}
	}
	*to = value
	return nil
}

// begin begins a track.
func (p *addressParser) begin(id int, named bool) error {
	for _, t := range p.a.Tracks {
		if t.Track == id {
			return p.wrong("a second track "+trackNames[id], p.key, "each track once, and at most two", "")
		}
	}
	if p.named {
		return p.wrong("track "+trackNames[p.a.Tracks[len(p.a.Tracks)-1].Track], "no channel", "channel=, or positive= and negative=", "")
	}
	p.a.Tracks, p.named = append(p.a.Tracks, Channels{Track: id}), named
	return nil
}

// finish checks what only the whole tells.
func (p *addressParser) finish() error {
	switch {
	case p.a.Driver == "":
		return p.wrong("driver", "", "driver=NAME", "sigrok-cli --list-supported lists them")
	case len(p.a.Tracks) == 0 || p.named:
		return p.wrong("channels", "", "channel=NAME, or positive=NAME and negative=NAME", example)
	}
	for _, t := range p.a.Tracks {
		if t.Positive != "" && t.Negative == "" {
			return p.wrong("track "+trackNames[t.Track], "positive="+t.Positive, "negative= as well", "channel= takes the sign alone")
		}
	}
	return nil
}

// ParseRate reads a sample rate in hertz, 1 to 10^9: digits, a prefix k, M or G in either case as sigrok-cli takes it, and perhaps Hz.
func ParseRate(text string) (int64, bool) {
	text = strings.TrimSuffix(strings.ToLower(text), "hz")
	factor := 1.0
	for prefix, f := range map[string]float64{"k": 1e3, "m": 1e6, "g": 1e9} {
		if rest, ok := strings.CutSuffix(text, prefix); ok {
			text, factor = rest, f
			break
		}
	}
	if strings.Trim(text, "0123456789.") != "" { // no exponents, signs or infinities
		return 0, false
	}
	v, err := strconv.ParseFloat(text, 64)
	rate := int64(v*factor + 0.5)
	if err != nil || v*factor > fastest || rate < 1 {
		return 0, false
	}
	return rate, true
}

// formatRate writes a rate as ParseRate reads it.
func formatRate(rate int64) string {
	for _, unit := range []struct {
		hertz int64
		name  string
	}{{1e9, "GHz"}, {1e6, "MHz"}, {1e3, "kHz"}} {
		if rate%unit.hertz == 0 {
			return strconv.FormatInt(rate/unit.hertz, 10) + unit.name
		}
	}
	return strconv.FormatInt(rate, 10) + "Hz"
}

// String is the address as ParseAddress reads it, with all that has a default.
func (a Address) String() string {
	var b strings.Builder
	b.WriteString(Scheme + "driver=" + a.Driver)
	set := func(key, value string) {
		if value != "" {
			b.WriteString("," + key + "=" + value)
		}
	}
	set("conn", a.Conn)
	set("serialcomm", a.SerialComm)
	set("samplerate", formatRate(a.Rate))
	set("threshold", a.Threshold)
	set("off", a.OffAfter.String())
	if a.PPM != 0 {
		set("ppm", strconv.FormatFloat(a.PPM, 'g', -1, 64))
	}
	for _, s := range a.Settings {
		set("set", s.Key+"="+s.Value)
	}
	for _, t := range a.Tracks {
		set("track", trackNames[t.Track])
		set("channel", t.Sign)
		set("absent", t.Absent)
		set("positive", t.Positive)
		set("negative", t.Negative)
		if t.Low {
			set("active", "low")
		}
	}
	return b.String()
}

// Identity names the device, for the lock of a rig, as far as the address tells it.
func (a Address) Identity() string { return strings.TrimSpace("sigrok " + a.Driver + " " + a.Conn) }

// channels are the names of all channels.
func (a Address) channels() (all []string) {
	for _, t := range a.Tracks {
		for _, name := range []string{t.Sign, t.Absent, t.Positive, t.Negative} {
			if name != "" {
				all = append(all, name)
			}
		}
	}
	return all
}

// device are the arguments that choose the device.
func (a Address) device() []string {
	device := a.Driver
	if a.Conn != "" {
		device += ":conn=" + a.Conn
	}
	if a.SerialComm != "" {
		device += ":serialcomm=" + a.SerialComm
	}
	return []string{"--driver", device}
}

// arguments are those that choose the device, its settings and which of its channels it samples.
func (a Address) arguments(channels []string) []string {
	config := "samplerate=" + strconv.FormatInt(a.Rate, 10)
	if a.Threshold != "" {
		config += ":voltage_threshold=" + a.Threshold
	}
	for _, s := range a.Settings {
		config += ":" + s.Key + "=" + s.Value
	}
	return append(a.device(), "--config", config, "--channels", strings.Join(channels, ","))
}
