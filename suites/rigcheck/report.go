// Package rigcheck tries a rig before a station is examined on it: whether the station answers, how fast, in which lines,
// what it says without being asked, and which requirements can be checked with what the rig has. It switches nothing on
// and changes no setting of the station.
package rigcheck

import (
	"time"

	"bufferstop/harness"
	"bufferstop/harness/station"
)

// A Report is what a check of a rig found. Its JSON form is promised to users; times in it are nanoseconds on the rig's
// clock. All text from the station is untrusted: json escapes it, others have to quote it.
type Report struct {
	Rig      Rig     `json:"rig"`
	Station  Station `json:"station"`
	Identity *Said   `json:"identity"` // nil when the station did not say who it is
	// Before is what came over the link before anything was asked.
	Before    Stretch   `json:"before_asking"`
	RoundTrip RoundTrip `json:"round_trip"`
	// Echo says that the station sends back what it is sent.
	Echo     bool     `json:"echo"`
	LineEnds LineEnds `json:"line_ends"`
	// Unsolicited is what came without being asked for, from the first question to the end.
	Unsolicited Unsolicited `json:"unsolicited"`
	// Restarts is how often the station said that it had started, though nobody had asked for that.
	Restarts int       `json:"restarts"`
	Tracks   []Track   `json:"tracks"`
	Findings []Finding `json:"findings"`
	// Loops are the loop times of the tracks where the rig's probe has a load; Calibration is the state of the calibration of
	// that probe, nil where there is none to calibrate. Uncertainties say how well the rig measures.
	Loops         []Loop        `json:"loops,omitempty"`
	Calibration   *Calibration  `json:"calibration,omitempty"`
	Uncertainties []Uncertainty `json:"uncertainties,omitempty"`
}

// A Rig is what was checked.
type Rig struct {
	Name string `json:"name"`
	Kind string `json:"kind"`
}

// A Station is what its file says of it.
type Station struct {
	Name    string `json:"name"`
	Dialect string `json:"dialect,omitempty"`
}

// Said is what the station says about itself.
type Said struct {
	Maker   string `json:"maker,omitempty"`
	Model   string `json:"model,omitempty"`
	Serial  string `json:"serial,omitempty"`
	Version string `json:"version,omitempty"`
	Text    string `json:"text"` // the whole answer
}

// A Stretch is what came over the link in a while.
type Stretch struct {
	Bytes int    `json:"bytes"`
	Start string `json:"start,omitempty"` // the first of them
	// Endless says that it had not ended when the time for it was over.
	Endless bool `json:"endless,omitempty"`
}

// A RoundTrip is the time from the last byte of a question handed over to the end of its answer.
type RoundTrip struct {
	Question string        `json:"question"` // the operation that was asked for
	Asked    int           `json:"asked"`
	Answered int           `json:"answered"`
	Median   time.Duration `json:"median_ns"`
	P95      time.Duration `json:"p95_ns"` // 95 of 100 take at most so long (nearest rank)
	Max      time.Duration `json:"max_ns"`
	// Shortened says that the time allowed was over before all were asked.
	Shortened bool `json:"shortened,omitempty"`
	// Fault is the first error, empty when there was none.
	Fault string `json:"fault,omitempty"`
}

// LineEnds count how the lines from the station end.
type LineEnds struct {
	LF   int `json:"lf"`
	CRLF int `json:"crlf"`
	CR   int `json:"cr"`
	// None says that bytes came and no end of a line among them.
	None bool `json:"none,omitempty"`
	// Binary says that what came is no text, so that there are no lines.
	Binary bool `json:"binary,omitempty"`
}

// Unsolicited counts the lines that nobody asked for.
type Unsolicited struct {
	Lines int           `json:"lines"`
	First string        `json:"first,omitempty"`
	Over  time.Duration `json:"over_ns"` // the time in which they came
}

// A Track is one output of the station: what the rig can do there and what that means for an examination.
type Track struct {
	Name    string            `json:"name"`
	Claimed bool              `json:"claimed"` // by the station
	Reached bool              `json:"reached"` // by the rig
	Can     []harness.Ability `json:"can"`
	Cannot  []harness.Ability `json:"cannot"`
	// Reasons say why the rig lacks an ability, or on what condition it has one, where there is something to say.
	Reasons []Reason `json:"reasons,omitempty"`
	// Checks is the number of requirements that concern the track. Of them NotClaimed are not asked of this station, and
	// NotFitted cannot be checked on this rig; the rest can.
	Checks     int `json:"checks"`
	NotClaimed int `json:"not_claimed"`
	NotFitted  int `json:"not_fitted"`
}

// A Reason is what there is to say of one ability.
type Reason struct {
	Ability harness.Ability `json:"ability"`
	Why     string          `json:"why"`
}

// A Severity says how much a finding matters.
type Severity string

// The severities.
const (
	Remark        Severity = "remark"        // good to know
	Configuration Severity = "configuration" // a file does not fit the station
	Fault         Severity = "fault"         // of the rig: link, wiring, supply
)

// A Finding is something that a person may want to act on.
type Finding struct {
	Severity Severity `json:"severity"`
	What     string   `json:"what"`
	Hint     string   `json:"hint,omitempty"`
}

// Worst is the heaviest severity among the findings, empty when there are none.
func (r *Report) Worst() Severity {
	worst := Severity("")
	weight := map[Severity]int{Remark: 1, Configuration: 2, Fault: 3}
	for _, f := range r.Findings {
		if weight[f.Severity] > weight[worst] {
			worst = f.Severity
		}
	}
	return worst
}

func (r *Report) find(s Severity, what, hint string) {
	r.Findings = append(r.Findings, Finding{Severity: s, What: what, Hint: hint})
}

// clip bounds a text of the station's that a report shows.
func clip(text []byte) string {
	const shown = 80
	if len(text) > shown {
		return string(text[:shown]) + "…"
	}
	return string(text)
}

func said(i station.Identity) *Said {
	return &Said{Maker: i.Maker, Model: i.Model, Serial: i.Serial, Version: i.Version, Text: clip([]byte(i.Text))}
}
