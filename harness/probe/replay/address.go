package replay

import (
	"net/url"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"bufferstop/harness/probe"
	"bufferstop/harness/probe/analyser"
)

// Scheme is how an address begins.
const Scheme = "file:"

const (
	keys            = "track, signal, absent, positive, negative, active, off, samplerate or pace"
	example         = "such as file:capture.vcd?track=main&signal=D0"
	defaultOffAfter = 10 * time.Microsecond // as for an analyser
	longestOffAfter = time.Millisecond
	fastestPace     = 1e6
)

// An Address says which file is a probe.
type Address struct {
	Path string // "-" is standard input
	// Tracks names the signals of each track. Empty: a file with one signal is the main track, and of one with several those
	// named main and programming are taken. A recording knows its tracks.
	Tracks   []analyser.Channels
	OffAfter time.Duration // see analyser.Layout
	// Rate is the sample rate of a dump whose time scale is finer than its samples were; 0 if nothing is known.
	Rate int64
	// Pace is by how much faster than the wall clock: 1 is real time, 0 as fast as asked.
	Pace float64
}

var trackNames = []string{probe.Main: "main", probe.Programming: "programming"}

// ParseAddress reads "file:PATH?key=value&...", the values escaped as in a URL; a path has no question mark. The keys
//
//	track=main           the track that the following signals belong to: main or programming; without it the first is main
//	                     and the next is programming
//	signal=NAME          the track, by the name of its signal; in a session file its channel
//	absent=, positive=, negative=, active=low, off=10us   as in the address of an analyser
//	samplerate=8MHz      how often a dump was sampled, when it does not say so itself
//	pace=fast            as fast as asked (the default), real, or a number: so many times real
//
// The error is a *probe.AddressError.
func ParseAddress(text string) (Address, error) {
	rest, ok := strings.CutPrefix(text, Scheme)
	path, query, asked := strings.Cut(rest, "?")
	if !ok || path == "" || strings.ContainsRune(path, 0) {
		return Address{}, &probe.AddressError{What: "address", Got: text, Want: Scheme + "PATH", Hint: example}
	}
	a := Address{Path: path, OffAfter: defaultOffAfter}
	if !asked {
		return a, nil
	}
	at := len(Scheme) + len(path) + 1
	p := parser{a: &a, seen: map[string]bool{}}
	for part := range strings.SplitSeq(query, "&") {
		key, escaped, found := strings.Cut(part, "=")
		p.at = at
		value, err := url.QueryUnescape(escaped)
		if !found || err != nil || value == "" || strings.ContainsRune(value, 0) {
			return Address{}, p.wrong("setting", part, "KEY=VALUE, escaped as in a URL", "%26 for &, %2B for +, %25 for %")
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

type parser struct {
	a     *Address
	seen  map[string]bool
	named bool // the track under way was named and has no signal yet
	at    int
}

func (p *parser) wrong(what, got, want, hint string) error {
	return &probe.AddressError{At: p.at, What: what, Got: got, Want: want, Hint: hint}
}

func (p *parser) set(key, value string) (err error) {
	switch key {
	case "track", "signal", "absent", "positive", "negative", "active":
		return p.signal(key, value)
	}
	if p.seen[key] {
		return p.wrong("a second "+key, value, "one", "")
	}
	p.seen[key] = true
	switch key {
	case "off":
		p.a.OffAfter, err = time.ParseDuration(value)
		if err != nil || p.a.OffAfter < 0 || p.a.OffAfter > longestOffAfter {
			return p.wrong(key, value, "a duration of 0s to 1ms", "such as 10us")
		}
	case "samplerate":
		var ok bool
		if p.a.Rate, ok = analyser.ParseRate(value); !ok {
			return p.wrong(key, value, "1Hz to 1GHz in whole hertz", "such as 8MHz")
		}
	case "pace":
		switch value {
		case "fast":
			p.a.Pace = 0
		case "real":
			p.a.Pace = 1
		default:
			p.a.Pace, err = strconv.ParseFloat(value, 64)
			if err != nil || !(p.a.Pace >= 1/fastestPace && p.a.Pace <= fastestPace) {
				return p.wrong(key, value, "fast, real or a factor of 0.000001 to 1000000", "")
			}
		}
	default:
		return p.wrong("key", key, keys, example)
	}
	return nil
}

// signal takes a key that belongs to a track.
func (p *parser) signal(key, value string) error {
	var t *analyser.Channels
	if n := len(p.a.Tracks); n > 0 {
		t = &p.a.Tracks[n-1]
	}
	begins := key == "signal" || key == "positive"
	if key == "track" {
		id := slices.Index(trackNames, value)
		if id < 0 {
			return p.wrong(key, value, strings.Join(trackNames, " or "), "")
		}
		return p.begin(id, true)
	}
	if begins && !p.named {
		id := 0
		if t != nil {
			id = 1 - t.Track
		}
		if err := p.begin(id, false); err != nil {
			return err
		}
		t = &p.a.Tracks[len(p.a.Tracks)-1]
	}
	if begins {
		p.named = false
	}
	var to *string
	switch {
	case key == "signal":
		to = &t.Sign
	case key == "positive":
		to = &t.Positive
	case t == nil || p.named:
	case key == "active":
		if value != "low" && value != "high" {
			return p.wrong(key, value, "low or high", "")
		}
		t.Low = value == "low"
		return nil
	case key == "absent" && t.Sign != "":
		to = &t.Absent
	case key == "negative" && t.Positive != "":
		to = &t.Negative
	}
	if to == nil {
		return p.wrong(key, value, "it behind the signal that it belongs to", "absent= belongs to signal=, negative= to positive=")
	}
	if *to != "" {
		return p.wrong("a second "+key+" of the track", value, "one", "")
	}
	*to = value
	return nil
}

// begin begins a track.
func (p *parser) begin(id int, named bool) error {
	for _, t := range p.a.Tracks {
		if t.Track == id {
			return p.wrong("track", trackNames[id], "each track once, and at most two", "")
		}
	}
	if p.named {
		return p.wrong("track", "no signal", "signal=, or positive= and negative=", "")
	}
	p.a.Tracks, p.named = append(p.a.Tracks, analyser.Channels{Track: id}), named
	return nil
}

func (p *parser) finish() error {
	for _, t := range p.a.Tracks {
		if t.Positive != "" && t.Negative == "" {
			return p.wrong("track", "positive="+t.Positive, "negative= as well", "signal= takes the sign alone")
		}
	}
	// A track alone says which one the only signal of the file is.
	if p.named && len(p.a.Tracks) > 1 {
		return p.wrong("track", "no signal", "signal=, or positive= and negative=", "")
	}
	return nil
}

// String is the address as ParseAddress reads it.
func (a Address) String() string {
	text, sep := Scheme+a.Path, "?"
	set := func(key, value string) {
		if value != "" {
			text += sep + key + "=" + url.QueryEscape(value)
			sep = "&"
		}
	}
	for _, t := range a.Tracks {
		set("track", trackNames[t.Track])
		set("signal", t.Sign)
		set("absent", t.Absent)
		set("positive", t.Positive)
		set("negative", t.Negative)
		if t.Low {
			set("active", "low")
		}
	}
	if a.OffAfter != defaultOffAfter {
		set("off", a.OffAfter.String())
	}
	if a.Rate != 0 {
		set("samplerate", strconv.FormatInt(a.Rate, 10))
	}
	if a.Pace != 0 {
		set("pace", strconv.FormatFloat(a.Pace, 'g', -1, 64))
	}
	return text
}

// In returns the address with a relative path taken from the directory.
func (a Address) In(directory string) Address {
	if a.Path != "-" && !filepath.IsAbs(a.Path) {
		a.Path = filepath.Join(directory, a.Path)
	}
	return a
}

// Identity names the file, for the lock of a rig.
func (a Address) Identity() string {
	if path, err := filepath.Abs(a.Path); err == nil && a.Path != "-" {
		return "file " + path
	}
	return "file " + a.Path
}
