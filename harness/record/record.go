// Package record is the run record: everything that a run found out, as one versioned JSON file. It is the one source of
// every report, so a report can be made again from the file alone.
//
// A record is a plain struct. The caller fills it in while the run goes on, calls Conclude once at the end and Save to
// write record.json:
//
//	run := record.New(version, time.Now())
//	run.Results = append(run.Results, result)
//	run.Conclude(rig.Now(), time.Since(run.Started), interrupted)
//	err := run.Save(dir)
//
// Times on the rig are nanoseconds since the start of the rig. Text that came from a station is untrusted: the record
// keeps it as valid UTF-8 of bounded length, and every report escapes it.
package record

import (
	"runtime"
	"time"

	"bufferstop/harness/verdict"
)

// Schema names the version of the record's form. It changes when a reader of the old form would misread the new one.
const Schema = "bufferstop-record/1"

// FileName is the name of the record in the directory of a run.
const FileName = "record.json"

// A Record is one run.
type Record struct {
	Schema  string    `json:"schema"`
	Tool    Tool      `json:"tool"`
	Started time.Time `json:"started"` // wall clock, UTC
	// Repeat is the command line that reproduces the run.
	Repeat    string    `json:"repeat"`
	Build     Build     `json:"build"`
	Rig       Rig       `json:"rig"`
	Station   Station   `json:"station"`
	Selection Selection `json:"selection"`
	// Defect is the name of the seeded defect, if the run seeded one.
	Defect string `json:"defect,omitempty"`
	// RigTime and WallTime are how long the run took on either clock.
	RigTime  time.Duration   `json:"rig_time_ns"`
	WallTime time.Duration   `json:"wall_time_ns"`
	Outcome  verdict.Outcome `json:"outcome"`
	ExitCode int             `json:"exit_code"`
	// Statement says the outcome in plain words.
	Statement string   `json:"statement"`
	Totals    Totals   `json:"totals"`
	Results   []Result `json:"results"`
	// Histograms and Waveforms are the figures of the report.
	Histograms []Histogram `json:"histograms,omitempty"`
	Waveforms  []Waveform  `json:"waveforms,omitempty"`
	// EndedEarly says why the run was ended before its end, as when the link to the station was lost; it is empty otherwise,
	// and when the user stopped the run.
	EndedEarly string `json:"ended_early,omitempty"`
	// LinkLog is the log of the link to the station: a file of the run's directory, as Failure.Evidence is one.
	LinkLog string `json:"link_log,omitempty"`
	// Parts are the runs that the record was merged from, in their order; it is empty for one run. Each has a link log of
	// its own, and a rig's clock of its own, to which the times of its results belong.
	Parts []PartOfRun `json:"parts,omitempty"`
	// Waivers are what the run was to let pass, as their file has them.
	Waivers []Waiver `json:"waivers,omitempty"`
	// Notes are remarks on the run as a whole.
	Notes []string `json:"notes,omitempty"`
}

// A PartOfRun is one of the runs that a record was merged from.
type PartOfRun struct {
	Started      time.Time     `json:"started"` // wall clock, UTC
	Repeat       string        `json:"repeat"`  // the command line that reproduces it
	RigTime      time.Duration `json:"rig_time_ns"`
	WallTime     time.Duration `json:"wall_time_ns"`
	LinkLog      string        `json:"link_log,omitempty"`
	Requirements []string      `json:"requirements"` // ids of those that it checked
}

// LinkLogs lists the logs of the link to the station: that of the run, or those of its parts.
func (r *Record) LinkLogs() []string {
	var logs []string
	if r.LinkLog != "" {
		logs = append(logs, r.LinkLog)
	}
	for _, p := range r.Parts {
		if p.LinkLog != "" {
			logs = append(logs, p.LinkLog)
		}
	}
	return logs
}

// A Tool is the program that made the record.
type Tool struct {
	Version string `json:"version"`
	Go      string `json:"go"`   // version of the Go toolchain
	OS      string `json:"os"`   // GOOS
	Arch    string `json:"arch"` // GOARCH
}

// A Build is the firmware under test: what the station says of itself, and the image if the user named one.
type Build struct {
	Maker          string `json:"maker,omitempty"`           // first field of the station's identity
	Model          string `json:"model,omitempty"`           // second field
	Serial         string `json:"serial,omitempty"`          // third field
	Version        string `json:"version,omitempty"`         // fourth field, the version that the station reports
	SourceRevision string `json:"source_revision,omitempty"` // commit of the firmware's source
	Image          string `json:"image,omitempty"`           // path of the image as the user gave it
	ImageSHA256    string `json:"image_sha256,omitempty"`    // lower-case hex
	ImageSize      int64  `json:"image_size,omitempty"`      // bytes
	// Symbols are functions of the image by which two builds are told apart: main and the interrupt routines. Only a rig
	// that runs the image knows them.
	Symbols []Symbol `json:"symbols,omitempty"`
}

// A Symbol is a function of an image and the flash that it takes, in bytes.
type Symbol struct {
	Name    string `json:"name"`
	Address uint32 `json:"address"`
	Size    uint32 `json:"size"`
}

// A Rig is what held the station.
type Rig struct {
	Name string `json:"name"`
	Kind string `json:"kind"` // simulated, firmware or bench; capture where there was none, and a file was judged
	File string `json:"file,omitempty"`
	// Capture is the file that was judged.
	Capture *Capture `json:"capture,omitempty"`
	// Seed repeats the run on a rig that draws random numbers.
	Seed int64 `json:"seed"`
	// Tracks lists the abilities of the rig on each output.
	Tracks map[string][]string `json:"tracks,omitempty"`
	// EdgeUncertainty and CurrentUncertainty are expanded uncertainties (k=2); the current is in milliamperes.
	EdgeUncertainty    time.Duration `json:"edge_uncertainty_ns"`
	SampleInterval     time.Duration `json:"sample_interval_ns,omitempty"`
	CurrentUncertainty float64       `json:"current_uncertainty_ma"`
	// Budgets say how every U of the run came about.
	Budgets []Budget `json:"budgets,omitempty"`
	// Calibration is that of the rig's probe, if it has one.
	Calibration *Calibration `json:"calibration,omitempty"`
	// Observations are what a reader should know of the state of the rig, such as that its probe was never calibrated.
	Observations []string `json:"observations,omitempty"`
}

// A Capture is a recording of a track that was judged in place of a station on a rig.
type Capture struct {
	SHA256 string `json:"sha256"` // of the file as it is, lower-case hex
	Size   int64  `json:"size"`   // bytes
	Track  string `json:"track"`  // which it is said to be of
	Signal string `json:"signal,omitempty"`
	// Edges and Packets are how many it holds; Length is from its first time stamp to its last.
	Edges   int64         `json:"edges"`
	Packets int64         `json:"packets"`
	Length  time.Duration `json:"length_ns"`
	// Grid is the step on which its edges lie, zero if U was given.
	Grid time.Duration `json:"grid_ns,omitempty"`
}

// A Station is what the builder's file says of the station: what it claims to do and what it declares of itself, both as
// they were put to use, by their names in the file.
type Station struct {
	Name     string         `json:"name,omitempty"`
	File     string         `json:"file,omitempty"`
	Dialect  string         `json:"dialect,omitempty"`
	Claims   map[string]any `json:"claims,omitempty"`
	Declares map[string]any `json:"declares,omitempty"`
	// Observations are what a reader should know of what the station claims: what a standard makes mandatory and the file
	// says is not there.
	Observations []string `json:"observations,omitempty"`
}

// A Selection is what the user chose to run. Empty lists choose everything.
type Selection struct {
	Suites       []string `json:"suites,omitempty"`
	Requirements []string `json:"requirements,omitempty"`
	// Shard and Shards say which part of how many of the above was run, counted from 1; both are zero for a run of the
	// whole.
	Shard  int `json:"shard,omitempty"`
	Shards int `json:"shards,omitempty"`
}

// Everything reports whether nothing was left out by choice.
func (s Selection) Everything() bool {
	return len(s.Suites) == 0 && len(s.Requirements) == 0 && s.Shards <= 1
}

// A Result is one requirement on one track.
type Result struct {
	ID       string        `json:"id"`       // such as "SIG-001"
	Title    string        `json:"title"`    // a few words
	Level    verdict.Level `json:"level"`    // MUST or SHOULD
	Sentence string        `json:"sentence"` // the requirement
	Source   string        `json:"source"`   // standard, section, edition
	Suite    string        `json:"suite"`
	Track    string        `json:"track,omitempty"` // empty when the requirement concerns no one track
	// Editions are those by which the station was judged, where editions differ, with their topics: "slew: S-9.1 (2020)".
	Editions []string `json:"editions,omitempty"`
	// Elsewhere names what it takes to check it where no rig of this kind can, such as an oscilloscope: that it was not fitted
	// is then an observation.
	Elsewhere string `json:"elsewhere,omitempty"`
	// Verdict is the worst that was found. Reason says why a check did not run or came to nothing; the verdict is its
	// type.
	Verdict      verdict.Verdict       `json:"verdict"`
	Reason       string                `json:"reason,omitempty"`
	Measurements []verdict.Measurement `json:"measurements,omitempty"`
	Failures     []Failure             `json:"failures,omitempty"`
	Notes        []string              `json:"notes,omitempty"`
	// Waived is the waiver of this result, if there is one, and whether it holds.
	Waived *Waived `json:"waived,omitempty"`
	// Start and End are on the rig's clock, WallTime on the wall's.
	Start    time.Duration `json:"start_ns"`
	End      time.Duration `json:"end_ns"`
	WallTime time.Duration `json:"wall_time_ns"`
}

// Name is the stable name of the result: the id, and the track if there is one, such as "SIG-001 main".
func (r Result) Name() string {
	if r.Track == "" {
		return r.ID
	}
	return r.ID + " " + r.Track
}

// Worst is the measurement that decided the result: the first of those with the heaviest verdict. It is false when there
// was none.
func (r Result) Worst() (worst verdict.Measurement, ok bool) {
	for _, m := range r.Measurements {
		if !ok || m.Verdict > worst.Verdict {
			worst, ok = m, true
		}
	}
	return worst, ok
}

// Measure adds a measurement and worsens the verdict by it.
func (r *Result) Measure(m verdict.Measurement) {
	r.Measurements = append(r.Measurements, m)
	r.Verdict = verdict.Worsen(r.Verdict, m.Verdict)
}

// Fail adds a failure and makes the verdict Fail, unless it is worse already.
func (r *Result) Fail(f Failure) {
	r.Failures = append(r.Failures, f)
	r.Verdict = verdict.Worsen(r.Verdict, verdict.Fail)
}

// Doubt takes a failure back, for a reason that makes nothing of what was measured: the verdict becomes inconclusive, and
// so do those of the measurements outside their limits. The values and the failures stay, for whoever looks for the reason.
func (r *Result) Doubt(reason string) {
	if !r.Verdict.Outside() {
		return
	}
	for i := range r.Measurements {
		if m := &r.Measurements[i]; m.Verdict.Outside() {
			m.Verdict = verdict.Inconclusive
		}
	}
	r.Verdict, r.Reason = verdict.Inconclusive, reason
}

// A Failure is one thing that went wrong, with what was expected and what happened side by side.
type Failure struct {
	What     string        `json:"what"`
	Expected string        `json:"expected,omitempty"`
	Actual   string        `json:"actual,omitempty"`
	At       time.Duration `json:"at_ns"`
	// Evidence is a file of the run's directory, as a relative path with forward slashes, such as
	// "captures/SIG-001-main.vcd.gz".
	Evidence string `json:"evidence,omitempty"`
}

// String is the failure in one line, as reports head a result with it and as waivers are held against it.
func (f Failure) String() string {
	if f.Expected == "" && f.Actual == "" {
		return f.What
	}
	return f.What + ": expected " + f.Expected + ", got " + f.Actual
}

// Totals counts the results by verdict.
type Totals struct {
	Pass            int `json:"pass"`
	ConditionalPass int `json:"conditional_pass"`
	ConditionalFail int `json:"conditional_fail"`
	Fail            int `json:"fail"`
	Error           int `json:"error"`
	Inconclusive    int `json:"inconclusive"`
	NotFitted       int `json:"not_fitted"`
	NotClaimed      int `json:"not_claimed"`
	Excluded        int `json:"excluded"`
	// Waived counts those of the above that a waiver let pass.
	Waived int `json:"waived,omitempty"`
}

// field is the counter of a settled verdict.
func (t *Totals) field(v verdict.Verdict) *int {
	switch v {
	case verdict.Pass:
		return &t.Pass
	case verdict.ConditionalPass:
		return &t.ConditionalPass
	case verdict.ConditionalFail:
		return &t.ConditionalFail
	case verdict.Fail:
		return &t.Fail
	case verdict.Inconclusive:
		return &t.Inconclusive
	case verdict.NotFitted:
		return &t.NotFitted
	case verdict.NotClaimed:
		return &t.NotClaimed
	case verdict.Excluded:
		return &t.Excluded
	}
	return &t.Error
}

// Of returns how many results have the verdict.
func (t Totals) Of(v verdict.Verdict) int { return *t.field(v) }

// Sum is the number of all results.
func (t Totals) Sum() int {
	sum := 0
	for _, v := range verdict.All() {
		sum += t.Of(v)
	}
	return sum
}

// New starts the record of a run.
func New(version string, started time.Time) *Record {
	return &Record{
		Schema:  Schema,
		Tool:    Tool{Version: version, Go: runtime.Version(), OS: runtime.GOOS, Arch: runtime.GOARCH},
		Started: started.UTC().Truncate(time.Second),
		Results: []Result{},
	}
}
