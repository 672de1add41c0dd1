package station

import (
	"fmt"
	"iter"
	"slices"
	"strconv"
	"strings"

	"bufferstop/harness/dcc"
	"bufferstop/harness/written"
)

// PowerState is what a station says about a track's power.
type PowerState string

// The states of a track.
const (
	On      PowerState = "on"
	Off     PowerState = "off"
	Tripped PowerState = "tripped" // off because of an overload
)

// Method is a way of reaching CVs in service mode (S-9.2.3 E, July 2012).
type Method string

// The methods of service mode. The zero value leaves the choice to the station.
const (
	Direct      Method = "direct"
	Paged       Method = "paged"
	Register    Method = "register" // physical register addressing
	AddressOnly Method = "address"  // address-only, register 1
)

// Claims is what a station says it can do. What it does not claim is not examined.
type Claims struct {
	Tracks []Track
	// SpeedSteps lists the speed modes of S-9.2 and S-9.2.1.
	SpeedSteps []dcc.Steps
	// ShortAddresses are within 1..127, LongAddresses within 0..10239 (S-9.2.1 A and C).
	ShortAddresses, LongAddresses Range
	// Functions are within 0..68.
	Functions Range
	// Accessories are the numbers of output pairs, Aspects those of extended accessories, both within 1..2048 and as the
	// user counts: Numbering says which number is which on the track.
	Accessories, Aspects Range
	Numbering            dcc.Numbering
	// AspectValues are what an extended accessory can be told, within 0..255 (S-9.2.1 D, July 2012: 0..31).
	AspectValues   Range
	ServiceMethods []Method
	// BitWrite says that single bits of a CV can be written in service mode.
	BitWrite bool
	// ProgrammingOnMain says that CVs can be written on the main track (S-9.2.1 C).
	ProgrammingOnMain bool
	// BitWriteOnMain says that single bits of a CV can be written on the main track (S-9.2.1 C).
	BitWriteOnMain bool
	// AccessoryOff says that the outputs of accessories can be switched off by command (S-9.2.1 D: the bit C).
	AccessoryOff bool
	// Consist says that the station puts locomotives into consists (S-9.2.1 C: consist control).
	Consist bool
	// Cutout says that the station leaves gaps for bi-directional communication.
	Cutout bool
	// PowerOffKeepsState says that the station knows after the power of a track was off what it knew before, and goes on with it.
	// One that does not has to begin as after a start (RP-9.2.4 A).
	PowerOffKeepsState bool
	// Editions names, by topic, the edition of a standard that the station keeps to where editions differ. What it does not
	// name is the newest that we know. The topics are those of the catalogue.
	Editions map[string]string
	// Lacks names features that a standard makes mandatory and the station does not have. Its names are those of the catalogue.
	Lacks []string
}

// Track reports whether the station claims the track.
func (c Claims) Track(t Track) bool { return slices.Contains(c.Tracks, t) }

// Steps reports whether the station claims the speed mode.
func (c Claims) Steps(s dcc.Steps) bool { return slices.Contains(c.SpeedSteps, s) }

// Method reports whether the station claims the method of service mode.
func (c Claims) Method(m Method) bool { return slices.Contains(c.ServiceMethods, m) }

// Address reports whether the station claims to control a decoder with the address.
func (c Claims) Address(a dcc.Address) bool {
	if a == dcc.Broadcast {
		return false
	}
	if a.Long {
		return c.LongAddresses.Contains(int(a.Number))
	}
	return c.ShortAddresses.Contains(int(a.Number))
}

// A Range is the whole numbers First to Last, both included, if it is claimed. The zero value claims nothing.
type Range struct {
	First, Last int
	Claimed     bool // tells 0..0 from nothing
}

// Between is the claimed range first..last.
func Between(first, last int) Range { return Range{First: first, Last: last, Claimed: true} }

// Contains reports whether the range is claimed and holds n.
func (r Range) Contains(n int) bool { return r.Claimed && r.First <= n && n <= r.Last }

// Len is how many numbers the range holds.
func (r Range) Len() int {
	if !r.Claimed {
		return 0
	}
	return r.Last - r.First + 1
}

// All yields the numbers in ascending order.
func (r Range) All() iter.Seq[int] {
	return func(yield func(int) bool) {
		for i := range r.Len() {
			if !yield(r.First + i) {
				return
			}
		}
	}
}

// ends are the first and the last number, once if they are the same.
func (r Range) ends() []int {
	switch r.Len() {
	case 0:
		return nil
	case 1:
		return []int{r.First}
	}
	return []int{r.First, r.Last}
}

// String is the text that ParseRange reads.
func (r Range) String() string {
	switch r.Len() {
	case 0:
		return ""
	case 1:
		return strconv.Itoa(r.First)
	}
	return fmt.Sprintf("%d..%d", r.First, r.Last)
}

// ParseRange reads "1..127", or "3" for a single number. An empty text claims nothing. Numbers are 0 to 65535.
func ParseRange(text string) (Range, error) {
	if text == "" {
		return Range{}, nil
	}
	low, high, two := strings.Cut(text, "..")
	if !two {
		high = low
	}
	first, err := strconv.ParseUint(low, 10, 16)
	if err != nil {
		return Range{}, fmt.Errorf("%s", written.Quote(text))
	}
	last, err := strconv.ParseUint(high, 10, 16)
	if err != nil || last < first {
		return Range{}, fmt.Errorf("%s", written.Quote(text))
	}
	return Between(int(first), int(last)), nil
}

// numberings is how a file writes the numbering of accessories.
var numberings = map[string]dcc.Numbering{
	"first is raw 4": dcc.FirstIsRawFour,
	"first is raw 0": dcc.FirstIsRawZero,
}

type claimsFile struct {
	Tracks            []string `toml:"tracks"`
	SpeedSteps        []int    `toml:"speed_steps"`
	ShortAddresses    string   `toml:"short_addresses"`
	LongAddresses     string   `toml:"long_addresses"`
	Functions         string   `toml:"functions"`
	Accessories       string   `toml:"accessories"`
	Numbering         *string  `toml:"numbering"`
	Aspects           string   `toml:"aspects"`
	AspectValues      string   `toml:"aspect_values"`
	ServiceMethods    []string `toml:"service_methods"`
	BitWrite          bool     `toml:"bit_write"`
	ProgrammingOnMain bool     `toml:"programming_on_main"`
	BitWriteOnMain    bool     `toml:"bit_write_on_main"`
	AccessoryOff      bool     `toml:"accessory_off"`
	Consist           bool     `toml:"consist"`
	Cutout            bool     `toml:"cutout"`
	KeepsState        bool     `toml:"power_off_keeps_state"`

	Editions map[string]string `toml:"editions"`
	Lacks    []string          `toml:"lacks"`
}

func (d *document) claims(f *claimsFile) Claims {
	const at = "claims."
	c := Claims{
		Tracks:             oneOf(d, at+"tracks", f.Tracks, Main, Programming),
		ShortAddresses:     d.numbers(at+"short_addresses", f.ShortAddresses, 1, 127),
		LongAddresses:      d.numbers(at+"long_addresses", f.LongAddresses, 0, 10239),
		Functions:          d.numbers(at+"functions", f.Functions, 0, 68),
		Accessories:        d.numbers(at+"accessories", f.Accessories, 1, 2048),
		Aspects:            d.numbers(at+"aspects", f.Aspects, 1, 2048),
		AspectValues:       d.numbers(at+"aspect_values", f.AspectValues, 0, 255),
		ServiceMethods:     oneOf(d, at+"service_methods", f.ServiceMethods, Direct, Paged, Register, AddressOnly),
		BitWrite:           f.BitWrite,
		ProgrammingOnMain:  f.ProgrammingOnMain,
		BitWriteOnMain:     f.BitWriteOnMain,
		AccessoryOff:       f.AccessoryOff,
		Consist:            f.Consist,
		Cutout:             f.Cutout,
		Editions:           f.Editions,
		Lacks:              f.Lacks,
		PowerOffKeepsState: f.KeepsState,
	}
	if len(f.Tracks) == 0 {
		d.Fail(at+"tracks", "no track", `at least one of "main", "programming"`, "")
	}
	for i, n := range f.SpeedSteps {
		s := dcc.Steps(n)
		if n != int(dcc.Steps28) && n != int(dcc.Steps128) || slices.Contains(c.SpeedSteps, s) {
			d.Fail(fmt.Sprintf("%sspeed_steps[%d]", at, i), strconv.Itoa(n), "28 and 128, each once at most", "")
			continue
		}
		c.SpeedSteps = append(c.SpeedSteps, s)
	}
	if f.Numbering != nil {
		n, ok := numberings[*f.Numbering]
		if !ok {
			d.Fail(at+"numbering", written.Quote(*f.Numbering), `"first is raw 4" (RCN-213) or "first is raw 0" (S-9.2.2, output addressing)`, "")
		}
		c.Numbering = n
	} else if c.Accessories.Claimed || c.Aspects.Claimed {
		d.Fail(at+"numbering", "accessories and no numbering", `"first is raw 4" or "first is raw 0"`,
			"which address on the track is the station's accessory 1?")
	}
	if c.Aspects.Claimed != c.AspectValues.Claimed {
		d.Fail(at+"aspects", "one of aspects and aspect_values", "both or none", "")
	}
	if len(f.Tracks) == 0 {
		return c // the rest would only repeat it
	}
	if (len(c.ServiceMethods) > 0 || c.BitWrite) && !c.Track(Programming) {
		d.Fail(at+"service_methods", "service mode without a programming track", `"programming" among the tracks`, "")
	}
	if c.AccessoryOff && !c.Accessories.Claimed {
		d.Fail(at+"accessory_off", "accessories that go off, and none that go on", "accessories with it", "")
	}
	if (len(c.SpeedSteps) > 0 || c.ProgrammingOnMain || c.BitWriteOnMain || c.Consist) && !c.Track(Main) {
		d.Fail(at+"tracks", "operations without a main track", `"main" among the tracks`, "")
	}
	return c
}

// oneOf reads a list of words, each of which may come once.
func oneOf[T ~string](d *document, path string, texts []string, allowed ...T) []T {
	var all []T
	for i, text := range texts {
		if !slices.Contains(allowed, T(text)) || slices.Contains(all, T(text)) {
			d.Fail(fmt.Sprintf("%s[%d]", path, i), written.Quote(text), fmt.Sprintf("%q, each once at most", allowed), "")
			continue
		}
		all = append(all, T(text))
	}
	return all
}

func (d *document) numbers(path, text string, low, high int) Range {
	r, err := ParseRange(text)
	if err != nil {
		d.Fail(path, err.Error(), `a range of whole numbers, as in "1..127"`, "")
		return Range{}
	}
	if r.Claimed && (r.First < low || r.Last > high) {
		d.Fail(path, written.Quote(text), fmt.Sprintf("numbers within %d..%d", low, high), "")
		return Range{}
	}
	return r
}
