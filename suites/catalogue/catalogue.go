// Package catalogue holds every requirement that bufferstop judges a station by, as data: one TOML file per suite, one
// table per requirement, reviewed like a text. The code that checks a requirement lives in the suite of the same name
// and finds its limits here, so that no number of a standard stands in two places.
package catalogue

import (
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"bufferstop/harness/verdict"

	"github.com/pelletier/go-toml/v2"
)

//go:embed *.toml
var files embed.FS

// The suites, in the order in which they run.
var suites = []string{"conformance", "programming", "shortcircuit"}

// Evidence says how well we know what the source says.
type Evidence string

// The kinds of evidence, from the best to the least.
const (
	Text           Evidence = "text"            // read in the standard's own text
	Transcription  Evidence = "transcription"   // read in a transcription of the standard
	Derived        Evidence = "derived"         // arithmetic on facts that were read
	Secondary      Evidence = "secondary"       // read in a page that quotes the standard
	Memory         Evidence = "from memory"     // not seen; from memory
	Declared       Evidence = "declared"        // the station's own promise
	CommonPractice Evidence = "common practice" // a fact of the trade, no source
)

// A Requirement is one thing that a station has to do.
type Requirement struct {
	ID       string        `toml:"id"`       // explicit, never reused: SIG-001
	Title    string        `toml:"title"`    // a few words, unique
	Suite    string        `toml:"-"`        // the file it stands in
	Level    verdict.Level `toml:"level"`    // MUST or SHOULD
	Sentence string        `toml:"sentence"` // the duty, in our own words
	Source   string        `toml:"source"`   // standard, section, edition
	Evidence Evidence      `toml:"evidence"` // how sure we are of the source
	Tracks   []string      `toml:"tracks"`   // main, programming: one check on each
	Needs    []string      `toml:"needs"`    // abilities of the rig (harness.Ability)
	Claims   []string      `toml:"claims"`   // claims of the station without which it does not apply
	Limits   []Limit       `toml:"limit"`    // what is measured and what it may be
}

// A Limit bounds one measured quantity. Min and Max are a duration ("55us"), a number with mA ("50mA"), a plain count,
// or empty for no bound; "declared" means that the station file gives the value.
type Limit struct {
	Quantity string `toml:"quantity"`
	Min      string `toml:"min,omitempty"`
	Max      string `toml:"max,omitempty"`
	Source   string `toml:"source,omitempty"` // when it is not the requirement's own
}

// FromStation is the Min or Max of a limit that the station's file gives.
const FromStation = "declared"

// Limit returns the limit on the named quantity.
func (r Requirement) Limit(quantity string) (Limit, bool) {
	for _, l := range r.Limits {
		if l.Quantity == quantity {
			if l.Source == "" {
				l.Source = r.Source
			}
			return l, true
		}
	}
	return Limit{}, false
}

// Bounds turns the limit into numbers, in the units of Value; a bound that the station declares is given by promised.
func (l Limit) Bounds(promised float64) verdict.Limit {
	bound := func(text string) *float64 {
		if text == "" {
			return nil
		}
		value := promised
		if text != FromStation {
			value, _ = Value(text) // checked when the catalogue was loaded
		}
		return &value
	}
	return verdict.Limit{Min: bound(l.Min), Max: bound(l.Max), Source: l.Source}
}

// All returns every requirement, in the order of the suites and of their files.
func All() []Requirement {
	return slices.Clone(all)
}

// Find returns the requirement with the given id.
func Find(id string) (Requirement, bool) {
	for _, r := range all {
		if r.ID == id {
			return r, true
		}
	}
	return Requirement{}, false
}

// Suites returns the names of the suites in the order in which they run.
func Suites() []string { return slices.Clone(suites) }

// The embedded catalogue is part of the program: a fault in it is a fault of the build, found by the first test.
var all = func() []Requirement {
	rs, err := Load(files)
	if err != nil {
		panic(err)
	}
	return rs
}()

// Load reads one file per suite and checks each requirement for what every reader relies on.
func Load(from fs.FS) ([]Requirement, error) {
	var all []Requirement
	for _, suite := range suites {
		name := suite + ".toml"
		data, err := fs.ReadFile(from, name)
		if err != nil {
			return nil, fmt.Errorf("catalogue: %w", err)
		}
		rs, err := parse(name, data)
		if err != nil {
			return nil, err
		}
		for i := range rs {
			rs[i].Suite = suite
		}
		all = append(all, rs...)
	}
	seen := map[string]bool{}
	for _, r := range all {
		if seen[r.ID] || seen[r.Title] {
			return nil, fmt.Errorf("catalogue: %s %q: id or title stands twice", r.ID, r.Title)
		}
		seen[r.ID], seen[r.Title] = true, true
	}
	return all, nil
}

func parse(name string, data []byte) ([]Requirement, error) {
	var file struct {
		Requirements []Requirement `toml:"requirement"`
	}
	d := toml.NewDecoder(strings.NewReader(string(data)))
	d.DisallowUnknownFields()
	if err := d.Decode(&file); err != nil {
		return nil, fmt.Errorf("catalogue: %s: %w", name, explain(err))
	}
	for _, r := range file.Requirements {
		if err := r.check(); err != nil {
			return nil, fmt.Errorf("catalogue: %s: %s: %w", name, r.ID, err)
		}
	}
	return file.Requirements, nil
}

// explain keeps the line that the TOML library knows.
func explain(err error) error {
	var strict *toml.StrictMissingError
	if errors.As(err, &strict) {
		return errors.New(strict.String())
	}
	var decode *toml.DecodeError
	if errors.As(err, &decode) {
		line, column := decode.Position()
		return fmt.Errorf("line %d, column %d: %w", line, column, err)
	}
	return err
}

var idShape = regexp.MustCompile(`^[A-Z]{3,4}-\d{3}$`)

func (r Requirement) check() error {
	switch {
	case !idShape.MatchString(r.ID):
		return fmt.Errorf("id %q: wanted a group and three digits, such as SIG-001", r.ID)
	case r.Title == "" || r.Sentence == "" || r.Source == "":
		return errors.New("title, sentence and source must be given")
	case r.Level != verdict.Must && r.Level != verdict.Should:
		return fmt.Errorf("level %q: wanted MUST or SHOULD", r.Level)
	case len(r.Tracks) == 0:
		return errors.New("no track given")
	}
	kinds := []Evidence{Text, Transcription, Derived, Secondary, Memory, Declared, CommonPractice}
	if !slices.Contains(kinds, r.Evidence) {
		return fmt.Errorf("evidence %q: wanted one of %v", r.Evidence, kinds)
	}
	for _, l := range r.Limits {
		if l.Min == "" && l.Max == "" {
			return fmt.Errorf("limit on %q has no bound", l.Quantity)
		}
		for _, bound := range []string{l.Min, l.Max} {
			if bound == "" || bound == FromStation {
				continue
			}
			if _, err := Value(bound); err != nil {
				return fmt.Errorf("limit on %q: %w", l.Quantity, err)
			}
		}
	}
	return nil
}

// Value reads a bound: nanoseconds for a duration, milliamperes for a current, the number itself for a count.
func Value(text string) (float64, error) {
	if n, err := strconv.ParseFloat(text, 64); err == nil {
		return n, nil
	}
	if digits, ok := strings.CutSuffix(text, "mA"); ok {
		if n, err := strconv.ParseFloat(digits, 64); err == nil {
			return n, nil
		}
	}
	if d, err := time.ParseDuration(text); err == nil {
		return float64(d), nil
	}
	return 0, fmt.Errorf("%q is no bound: wanted a duration (55us), a current (50mA) or a number", text)
}
