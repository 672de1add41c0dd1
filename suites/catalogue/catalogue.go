// Package catalogue holds every requirement that bufferstop judges a station by, as data: a folder per suite, a TOML file
// per topic, a table per requirement, reviewed like a text. What is in every file of them:
//
//   - `source` names the standard, its section and its edition; `evidence` says how we know it.
//   - limits are durations (us, ms, s), currents (mA), voltages (V), slews (V/us), shares (%) or plain counts; "declared" stands for the value in
//     the station's file. Where editions differ, a limit names topic and edition, of editions.toml.
//   - `exercises` and `takes` (about how long it takes on the rig, where that is far from the usual) serve the division of
//     a run into parts.
//
// Beside them stand rows.toml, what the standards ask and which requirements check it; editions.toml, where editions differ; and
// features.toml, what a standard makes mandatory.
//
// The code that checks a requirement lives in the suite of the same name and finds its limits here, so that no number of a
// standard stands in two places.
package catalogue

import (
	"bytes"
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

//go:embed conformance programming shortcircuit
var files embed.FS

// The suites in the order in which they run, and the topics of each in theirs: topic "rate" of suite "conformance" is the
// file conformance/rate.toml.
var suites = []struct {
	name   string
	topics []string
}{
	{"conformance", []string{"signal", "packets", "rate", "operations", "accessories", "link", "direct_current", "power", "volts", "load", "cutout"}},
	{"programming", []string{"sequences", "methods", "values", "acknowledge"}},
	{"shortcircuit", []string{"overload", "recovery", "current"}},
}

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

// kindsOfEvidence are those that a requirement can have.
var kindsOfEvidence = []Evidence{Text, Transcription, Derived, Secondary, Memory, Declared, CommonPractice}

// A Requirement is one thing that a station has to do.
type Requirement struct {
	ID       string        `toml:"id"`       // explicit, never reused: SIG-001
	Title    string        `toml:"title"`    // a few words, unique
	Suite    string        `toml:"-"`        // the folder it stands in
	Topic    string        `toml:"-"`        // the file in that folder
	Level    verdict.Level `toml:"level"`    // MUST or SHOULD
	Sentence string        `toml:"sentence"` // the duty, in our own words
	Source   string        `toml:"source"`   // standard, section, edition
	Evidence Evidence      `toml:"evidence"` // how sure we are of the source
	Tracks   []string      `toml:"tracks"`   // main, programming: one check on each
	Needs    []string      `toml:"needs"`    // abilities of the rig (harness.Ability)
	Claims   []string      `toml:"claims"`   // claims of the station without which it does not apply
	Limits   []Limit       `toml:"limit"`    // what is measured and what it may be
	// Offline says that nothing but the signal of a track is needed: a capture file can be judged by it.
	Offline bool `toml:"offline,omitempty"`
	// Throughout says that it is judged at the end of a run by all that the track has carried in it, whatever the run was about. Every
	// part of a run that is divided judges it by what it heard itself.
	Throughout bool `toml:"throughout,omitempty"`
	// Editions lists the topics of editions.toml by which code judges otherwise; those of limits need not be named again.
	Editions []string `toml:"editions,omitempty"`
	// Implies lists the requirements that a station cannot keep either which breaks this one, or cannot always.
	Implies []string `toml:"implies,omitempty"`
	// Elsewhere names what it takes to check it where a rig cannot, since no rig of its kind can: an oscilloscope. It is then an
	// observation that it was not fitted, and the run is not incomplete for it.
	Elsewhere string `toml:"elsewhere,omitempty"`
	// Exercises names the exercises that it looks at. They are shared: whoever looks first has one done, for all.
	Exercises []string `toml:"exercises,omitempty"`
	// Takes is about how long it takes on all its tracks together, its exercises left out: a duration of rig time of the
	// simulated reference station ("4m40s"), for one that is far from Usual. A run is divided into parts by it.
	Takes string `toml:"takes,omitempty"`
}

// An Exercise is something that a station is made to do once in a run, for several requirements to look at.
type Exercise struct {
	Name  string `toml:"name"`
	Takes string `toml:"takes"` // about how long, as Requirement.Takes
}

// Usual is about how long a requirement takes whose table does not say, in rig time. It is the median of those that look at
// no exercise, on the simulated reference station.
const Usual = 2 * time.Second

// Time is about how long the requirement takes, its exercises left out.
func (r Requirement) Time() time.Duration {
	if r.Takes == "" && len(r.Exercises) == 0 {
		return Usual
	}
	return span(r.Takes)
}

// Time is about how long the exercise takes.
func (e Exercise) Time() time.Duration { return span(e.Takes) }

// span reads a duration that was checked when the catalogue was loaded; none is zero.
func span(text string) time.Duration {
	d, _ := time.ParseDuration(text)
	return d
}

// A Limit bounds one measured quantity. Min and Max are a duration ("55us"), a number with mA, mV, V, V/us or % ("50mA"), a plain count,
// or empty for no bound; "declared" means that the station file gives the value.
type Limit struct {
	Quantity string `toml:"quantity"`
	Min      string `toml:"min,omitempty"`
	Max      string `toml:"max,omitempty"`
	Source   string `toml:"source,omitempty"` // when it is not the requirement's own
	// Topic and Edition, both or none, say by which edition of what the limit holds. There may be a limit on the same quantity
	// by each edition; where there is none by the edition that the station keeps to, the quantity has no limit.
	Topic   string `toml:"topic,omitempty"`
	Edition string `toml:"edition,omitempty"`
}

// FromStation is the Min or Max of a limit that the station's file gives.
const FromStation = "declared"

// Limit returns the limit on the named quantity, by the default edition where editions differ.
func (r Requirement) Limit(quantity string) (Limit, bool) { return r.LimitBy(quantity, nil) }

// LimitBy returns the limit on the named quantity by the editions that a station claims (station.Claims.Editions).
func (r Requirement) LimitBy(quantity string, claims map[string]string) (Limit, bool) {
	for _, l := range r.Limits {
		if l.Quantity == quantity && l.holds(claims) {
			if l.Source == "" {
				l.Source = r.Source
			}
			return l, true
		}
	}
	return Limit{}, false
}

// Unlimited reports whether the quantity has a limit by other editions alone, and none by those that a station claims.
func (r Requirement) Unlimited(quantity string, claims map[string]string) bool {
	_, limited := r.LimitBy(quantity, claims)
	return !limited && slices.ContainsFunc(r.Limits, func(l Limit) bool { return l.Quantity == quantity })
}

// holds reports whether the limit is that of the edition by which a station with these claims is judged.
func (l Limit) holds(claims map[string]string) bool {
	return l.Topic == "" || Edition(l.Topic, claims) == l.Edition
}

// Binds reports whether the requirement has a limit at all by the editions that a station claims.
func (r Requirement) Binds(claims map[string]string) bool {
	return len(r.Limits) == 0 || slices.ContainsFunc(r.Limits, func(l Limit) bool { return l.holds(claims) })
}

// LevelBy is the level for a station with these claims: SHOULD in place of MUST where a limit that holds is known from memory alone.
// Topics that are no limit's do not lower it: what their newer editions say from memory only permits more.
func (r Requirement) LevelBy(claims map[string]string) verdict.Level {
	for _, l := range r.Limits {
		if l.Topic != "" && l.holds(claims) && l.Evidence() == Memory {
			return verdict.Should
		}
	}
	return r.Level
}

// Evidence says how well the edition of the limit is known; it is empty for a limit that is of no edition.
func (l Limit) Evidence() Evidence {
	topic, _ := FindTopic(l.Topic)
	edition, _ := topic.Find(l.Edition)
	return edition.Evidence
}

// Topics lists the topics on which the requirement depends, in the order of editions.toml.
func (r Requirement) Topics() []string {
	var names []string
	for _, t := range topics {
		ofLimit := func(l Limit) bool { return l.Topic == t.Name }
		if slices.Contains(r.Editions, t.Name) || slices.ContainsFunc(r.Limits, ofLimit) {
			names = append(names, t.Name)
		}
	}
	return names
}

// EditionsBy words, for each of its topics, the edition by which a station with these claims is judged: "slew: S-9.1 (2020)".
func (r Requirement) EditionsBy(claims map[string]string) []string {
	var words []string
	for _, topic := range r.Topics() {
		words = append(words, topic+": "+Edition(topic, claims))
	}
	return words
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

// FindExercise returns the exercise with the given name.
func FindExercise(name string) (Exercise, bool) {
	for _, e := range exercises {
		if e.Name == name {
			return e, true
		}
	}
	return Exercise{}, false
}

// Suites returns the names of the suites in the order in which they run.
func Suites() []string {
	var names []string
	for _, s := range suites {
		names = append(names, s.name)
	}
	return names
}

// Implied returns the requirements that may fail where the given ones do: these, what they imply, what that implies, and so
// on. The list is sorted.
func Implied(ids ...string) []string {
	all := slices.Clone(ids)
	for i := 0; i < len(all); i++ {
		r, _ := Find(all[i])
		for _, id := range r.Implies {
			if !slices.Contains(all, id) {
				all = append(all, id)
			}
		}
	}
	slices.Sort(all)
	return slices.Compact(all)
}

// The embedded catalogue is part of the program: a fault in it is a fault of the build, found by the first test.
var all, exercises = func() ([]Requirement, []Exercise) {
	rs, es, err := Load(files)
	if err != nil {
		panic(err)
	}
	return rs, es
}()

// Load reads one file per topic, each with tables [[requirement]] and [[exercise]], and checks them for what every reader
// relies on.
func Load(from fs.FS) ([]Requirement, []Exercise, error) {
	var all []Requirement
	var exercises []Exercise
	for _, suite := range suites {
		for _, topic := range suite.topics {
			name := suite.name + "/" + topic + ".toml"
			data, err := fs.ReadFile(from, name)
			if err != nil {
				return nil, nil, fmt.Errorf("catalogue: %w", err)
			}
			rs, es, err := parse(name, data)
			if err != nil {
				return nil, nil, err
			}
			for i := range rs {
				rs[i].Suite, rs[i].Topic = suite.name, topic
			}
			all, exercises = append(all, rs...), append(exercises, es...)
		}
	}
	known, seen := map[string]bool{}, map[string]bool{}
	for _, e := range exercises {
		if known[e.Name] {
			return nil, nil, fmt.Errorf("catalogue: exercise %q stands twice", e.Name)
		}
		known[e.Name] = true
	}
	for _, r := range all {
		if seen[r.ID] || seen[r.Title] {
			return nil, nil, fmt.Errorf("catalogue: %s %q: id or title stands twice", r.ID, r.Title)
		}
		seen[r.ID], seen[r.Title] = true, true
		for _, name := range r.Exercises {
			if !known[name] {
				return nil, nil, fmt.Errorf("catalogue: %s: exercise %q has no [[exercise]] of that name", r.ID, name)
			}
		}
	}
	for _, r := range all {
		for _, id := range r.Implies {
			if !seen[id] || id == r.ID {
				return nil, nil, fmt.Errorf("catalogue: %s: implies %q, which is no other requirement", r.ID, id)
			}
		}
	}
	return all, exercises, nil
}

func parse(name string, data []byte) ([]Requirement, []Exercise, error) {
	var file struct {
		Requirements []Requirement `toml:"requirement"`
		Exercises    []Exercise    `toml:"exercise"`
	}
	if err := decode(name, data, &file); err != nil {
		return nil, nil, err
	}
	for _, r := range file.Requirements {
		if err := r.check(); err != nil {
			return nil, nil, fmt.Errorf("catalogue: %s: %s: %w", name, r.ID, err)
		}
	}
	for _, e := range file.Exercises {
		if e.Name == "" || e.Time() <= 0 {
			return nil, nil, fmt.Errorf("catalogue: %s: exercise %q takes %q: wanted a name and a duration (8s)", name, e.Name, e.Takes)
		}
	}
	return file.Requirements, file.Exercises, nil
}

// decode reads a file of the catalogue; a key that nothing here knows is a fault.
func decode(name string, data []byte, into any) error {
	d := toml.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(into); err != nil {
		return fmt.Errorf("catalogue: %s: %w", name, explain(err))
	}
	return nil
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
	case r.Throughout && !r.Offline:
		return errors.New("throughout: wanted one that is offline, since what a track has carried is all there is to judge by")
	case r.Takes != "" && span(r.Takes) <= 0:
		return fmt.Errorf("takes %q: wanted a duration (4m40s)", r.Takes)
	}
	if !slices.Contains(kindsOfEvidence, r.Evidence) {
		return fmt.Errorf("evidence %q: wanted one of %v", r.Evidence, kindsOfEvidence)
	}
	for _, topic := range r.Editions {
		if _, known := FindTopic(topic); !known {
			return fmt.Errorf("editions: no topic %q in editions.toml", topic)
		}
	}
	for _, l := range r.Limits {
		if err := l.checkEdition(); err != nil {
			return fmt.Errorf("limit on %q: %w", l.Quantity, err)
		}
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

// checkEdition finds out whether the catalogue has the edition that the limit names.
func (l Limit) checkEdition() error {
	if (l.Topic == "") != (l.Edition == "") {
		return errors.New("one of topic and edition: wanted both or none")
	}
	if l.Topic == "" {
		return nil
	}
	t, known := FindTopic(l.Topic)
	if !known || t.Decoder {
		return fmt.Errorf("topic %q: wanted one of editions.toml that binds stations", l.Topic)
	}
	if _, known := t.Find(l.Edition); !known {
		return fmt.Errorf("edition %q: wanted one of %q", l.Edition, t.Names())
	}
	return nil
}

// units are how bounds other than durations and counts are written, and how many of the units of measurements each is.
var units = []struct {
	suffix string
	of     float64
}{
	{"mA", 1}, {"mV", 1}, {"V/us", 1}, {"V", 1000}, {"%", 1},
}

// Value reads a bound: nanoseconds for a duration, milliamperes for a current, millivolts for a voltage, volts a microsecond for a slew,
// percent for a share, the number itself for a count.
func Value(text string) (float64, error) {
	if n, err := strconv.ParseFloat(text, 64); err == nil {
		return n, nil
	}
	for _, u := range units {
		if digits, ok := strings.CutSuffix(text, u.suffix); ok {
			if n, err := strconv.ParseFloat(digits, 64); err == nil {
				return n * u.of, nil
			}
		}
	}
	if d, err := time.ParseDuration(text); err == nil {
		return float64(d), nil
	}
	return 0, fmt.Errorf("%q is no bound: wanted a duration (55us), a current (50mA), a voltage (8.5V), a slew (2.4V/us) or a number", text)
}
