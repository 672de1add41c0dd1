package report

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"fmt"
	"html/template"
	"io"
	"maps"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"bufferstop/harness/record"
	"bufferstop/harness/verdict"
)

//go:embed report.html.tmpl
var page string

//go:embed report.css
var style string

var pageTemplate = template.Must(template.New("report").Parse(page))

// HTML writes the record as one self-contained page: no script, no request to anywhere, readable on a phone, on paper and
// without colour.
func HTML(w io.Writer, r *record.Record) error {
	v, err := viewOf(r)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := pageTemplate.Execute(&b, v); err != nil {
		return fmt.Errorf("report: html: %w", err)
	}
	_, err = w.Write(b.Bytes())
	return err
}

// A view is the record in words. Every string in it is visible text; the template escapes it for its place.
type view struct {
	Style      template.CSS
	Title      string
	Outcome    string
	Mark       mark
	Statement  string
	Started    string
	Totals     []total
	Groups     []viewGroup
	Excluded   []viewResult // these have no rows in the tables
	Facts      []factSheet
	Attention  []viewResult
	Histograms []viewHistogram
	Waveforms  []viewWaveform
	Claims     []fact
	Declares   []fact
	Notes      []string
	// Budgets say how each U came about, by Formula; Observations what to know of the rig.
	Budgets      []budgetView
	Formula      string
	Calibration  string
	Observations []string
	// Station is what to know of what the station claims.
	Station  []string
	Repeat   string
	Scope    string
	Cautions []string
	Schema   string
	Tool     string
}

// A mark is how a verdict looks: a word and a shape, so that colour is not needed.
type mark struct{ Word, Class string }

func markOf(v verdict.Verdict) mark {
	return mark{Word: v.Settle().String(), Class: strings.ReplaceAll(v.Settle().String(), " ", "-")}
}

// outcomeMark is the mark that stands beside the outcome.
func outcomeMark(o verdict.Outcome) mark {
	switch o {
	case verdict.Conforms:
		return mark{string(o), "pass"}
	case verdict.ConformsWithObservations:
		return mark{string(o), "conditional-pass"}
	case verdict.DoesNotConform:
		return mark{string(o), "fail"}
	case verdict.Faulted:
		return mark{string(o), "error"}
	}
	return mark{string(o), "inconclusive"}
}

var outcomeTitles = map[verdict.Outcome]string{
	verdict.Conforms:                 "The station conforms",
	verdict.ConformsWithObservations: "The station conforms, with observations",
	verdict.DoesNotConform:           "The station does not conform",
	verdict.Incomplete:               "The run is incomplete",
	verdict.Faulted:                  "The rig or the harness was at fault",
	verdict.Interrupted:              "The run was interrupted",
}

// titleOf is what the run came to, at the head of the page. A recording is no station: it is the signal in it that was judged.
func titleOf(r *record.Record) string {
	title := outcomeTitles[r.Outcome]
	if rest, is := strings.CutPrefix(title, "The station"); is && r.Rig.Capture != nil {
		return "The signal" + rest
	}
	return title
}

type total struct {
	Mark  mark
	Count int
}

type fact struct {
	Name, Value string
	Code        bool
}

type factSheet struct {
	Title string
	Facts []fact
}

type viewGroup struct {
	Suite   string
	Results []viewResult // all of them, for the overview
	Rows    []viewResult // those that belong in the table
}

type viewResult struct {
	Anchor, Name, ID, Track, Title, Level, Sentence, Source, Reason string
	Editions                                                        []string // by which it was judged
	Waiver                                                          string   // what a waiver makes of it
	Mark                                                            mark
	Measurements                                                    []viewMeasurement
	Failures                                                        []viewFailure
	Notes                                                           []string
	Rows                                                            int
}

type viewMeasurement struct {
	Name, Value, Allowed, Margin, Uncertainty, At, LimitSource string
	Budget                                                     string // the place of the budget that U is from
	Spread                                                     []string
	Mark                                                       mark
	Outside                                                    bool
	Gauge                                                      template.HTML
}

type viewFailure struct {
	What, Expected, Actual, At, Evidence, Link string
}

type viewHistogram struct {
	Title, Caption string
	Figure         template.HTML
}

type viewWaveform struct {
	Title, Caption string
	Strips         []template.HTML
}

// cautions stand in every page, in our own words.
var cautions = []string{
	"Feed a station under test from a supply with limited current and a fuse, never straight from a layout's supply.",
	"Short-circuit and overload tests let real current flow. Keep them short, stay beside them, and have the switch in reach: " +
		"boosters, wiring and rails can get hot enough to burn skin and to start a fire.",
	"A station that passes here has passed these checks, with this firmware build, on this rig. Another build, supply, wiring " +
		"or layout can behave differently.",
	"Nothing on a bench replaces the electrical codes of the place where you live, or a licensed electrician for work on mains wiring.",
}

func viewOf(r *record.Record) (*view, error) {
	v := &view{
		Style: template.CSS(style), Outcome: titleOf(r), Mark: outcomeMark(r.Outcome),
		Statement: visible(r.Statement, longText), Started: r.Started.UTC().Format("2 January 2006, 15:04:05 UTC"),
		Repeat: visible(r.Repeat, longText), Scope: scope, Cautions: cautions, Schema: visible(r.Schema, shortText),
		Tool: visible("bufferstop "+r.Tool.Version, shortText),
	}
	if v.Outcome == "" {
		v.Outcome = "The run was not concluded"
	}
	v.Title = "bufferstop: " + strings.ToLower(v.Outcome[:1]) + v.Outcome[1:]
	for _, kind := range verdict.All() {
		if n := r.Totals.Of(kind); n > 0 {
			v.Totals = append(v.Totals, total{markOf(kind), n})
		}
	}
	v.Budgets, v.Formula = budgetsOf(r.Rig), budgetFormula
	v.Calibration = visible(calibrationLine(r.Rig), shortText)
	for _, o := range r.Rig.Observations {
		v.Observations = append(v.Observations, visible(o, longText))
	}
	for _, o := range r.Station.Observations {
		v.Station = append(v.Station, visible(o, longText))
	}
	anchors := map[string]bool{}
	for _, g := range groupBySuite(r.Results) {
		shown := viewGroup{Suite: visible(g.Suite, shortText)}
		for _, result := range g.Results {
			row := viewResultOf(result, v.Budgets, Console{InFile: r.Rig.Capture != nil}.clock)
			row.Anchor = anchor(result, anchors)
			shown.Results = append(shown.Results, row)
			if result.Verdict == verdict.Excluded {
				v.Excluded = append(v.Excluded, row)
			} else {
				shown.Rows = append(shown.Rows, row)
			}
			if needsAttention(result) {
				v.Attention = append(v.Attention, row)
			}
		}
		v.Groups = append(v.Groups, shown)
	}
	v.Facts = factsOf(r)
	v.Claims, v.Declares = factList(r.Station.Claims), factList(r.Station.Declares)
	for _, note := range r.Notes {
		v.Notes = append(v.Notes, visible(note, longText))
	}
	return v, v.addFigures(r)
}

func (v *view) addFigures(r *record.Record) error {
	for _, h := range r.Histograms {
		if h.Count < 1 || len(h.Bins) == 0 {
			continue
		}
		drawing, err := histogram(h)
		if err != nil {
			return err
		}
		v.Histograms = append(v.Histograms, viewHistogram{
			Title: title(h.Name, h.Track),
			Caption: fmt.Sprintf("%s values from %s to %s, mean %s. Allowed: %s.", grouped(h.Count), h.Unit.Format(h.Min),
				h.Unit.Format(h.Max), h.Unit.Format(h.Mean), limitWords(h.Unit, h.Limit)),
			Figure: drawing,
		})
	}
	for _, w := range r.Waveforms {
		if len(w.Edges) == 0 || w.End <= w.Edges[0].At {
			continue
		}
		strips, err := waveform(w)
		if err != nil {
			return err
		}
		v.Waveforms = append(v.Waveforms, viewWaveform{
			Title:   title(w.Title, w.Track),
			Caption: "Seen at " + Console{}.clock(w.Edges[0].At) + ". Time in the figure counts from its first edge.",
			Strips:  strips,
		})
	}
	return nil
}

func title(name, track string) string {
	if track != "" {
		name += ", " + track + " track"
	}
	return visible(name, shortText)
}

func limitWords(unit verdict.Unit, l verdict.Limit) string {
	words := unit.FormatLimit(l)
	if l.Source != "" {
		words += " (" + l.Source + ")"
	}
	return visible(words, shortText)
}

func viewResultOf(r record.Result, budgets []budgetView, clock func(time.Duration) string) viewResult {
	row := viewResult{
		Name: visible(r.Name(), shortText), ID: visible(r.ID, shortText), Track: visible(r.Track, shortText),
		Title: visible(r.Title, shortText), Level: visible(string(r.Level), shortText), Sentence: visible(r.Sentence, longText),
		Source: visible(r.Source, shortText), Reason: visible(r.Reason, longText), Mark: markOf(r.Verdict),
	}
	for _, m := range r.Measurements {
		shown := viewMeasurement{Name: visible(m.Name, shortText), Value: "nothing seen", Mark: markOf(m.Verdict),
			Outside: m.Verdict.Outside(), Allowed: m.Unit.FormatLimit(m.Limit)}
		if m.Limit.Source != r.Source {
			shown.LimitSource = visible(m.Limit.Source, shortText)
		}
		if m.Count > 0 {
			shown.Value = m.Unit.Format(m.Value)
			shown.At = clock(m.At)
			shown.Uncertainty = "exact"
			if m.Uncertainty != 0 {
				shown.Uncertainty = "± " + m.Unit.Format(m.Uncertainty)
				shown.Budget = budgetFor(budgets, m.Budget, r.Track)
			}
			shown.Gauge = gauge(m)
		}
		if m.Count > 1 {
			shown.Spread = []string{"worst of " + grouped(m.Count), "mean " + m.Unit.Format(m.Mean)}
		}
		if m.Margin != nil {
			shown.Margin = typeset(m.Unit.FormatSigned(*m.Margin))
		}
		row.Measurements = append(row.Measurements, shown)
	}
	for _, f := range r.Failures {
		row.Failures = append(row.Failures, viewFailure{
			What: visible(f.What, longText), Expected: visible(f.Expected, longText), Actual: visible(f.Actual, longText),
			At: clock(f.At), Evidence: visible(f.Evidence, shortText), Link: evidenceLink(f.Evidence),
		})
	}
	row.Waiver = visible(waiverWords(r), longText)
	for _, edition := range r.Editions {
		row.Editions = append(row.Editions, visible(edition, shortText))
	}
	for _, note := range r.Notes {
		row.Notes = append(row.Notes, visible(note, longText))
	}
	row.Rows = max(1, len(row.Measurements))
	return row
}

var plainName = regexp.MustCompile(`^[A-Za-z0-9 -]{1,64}$`)

// anchor is the place of a result in the page: the same from run to run for any name of ours, such as
// "SIG-001-main", and a number for what is no such name or is there already.
func anchor(r record.Result, taken map[string]bool) string {
	name := strings.ReplaceAll(r.Name(), " ", "-")
	if !plainName.MatchString(name) || taken[name] {
		name = "check-" + strconv.Itoa(len(taken)+1)
	}
	taken[name] = true
	return name
}

// evidenceLink is the reference to a file of the run's directory, or the empty string for anything that leads elsewhere.
func evidenceLink(name string) string {
	if name == "" || len(name) > shortText || path.IsAbs(name) || path.Clean(name) != name ||
		strings.HasPrefix(name, "..") || strings.ContainsAny(name, ":\\?#%\"<>") || visible(name, shortText) != name {
		return ""
	}
	return name
}

// typeset sets a minus sign for the hyphen that numbers are printed with.
func typeset(number string) string {
	if rest, negative := strings.CutPrefix(number, "-"); negative {
		return "−" + rest
	}
	return number
}

// grouped prints a count with narrow spaces between its thousands.
func grouped(n int64) string {
	digits := strconv.FormatInt(n, 10)
	for i := len(digits) - 3; i > 0; i -= 3 {
		digits = digits[:i] + "\u202f" + digits[i:]
	}
	return digits
}

func factsOf(r *record.Record) []factSheet {
	size := ""
	if r.Build.ImageSize > 0 {
		size = strconv.FormatInt(r.Build.ImageSize, 10) + " bytes"
	}
	uncertain := ""
	if r.Rig.EdgeUncertainty > 0 || r.Rig.CurrentUncertainty > 0 {
		uncertain = "± " + verdict.Nanoseconds.Format(float64(r.Rig.EdgeUncertainty)) + " between edges, ± " +
			verdict.Milliamperes.Format(r.Rig.CurrentUncertainty) + " (k=2)"
		if r.Rig.Capture != nil {
			uncertain = "± " + verdict.Nanoseconds.Format(float64(r.Rig.EdgeUncertainty)) + " between edges (k=2)"
		}
	}
	var tracks []string
	for _, track := range slices.Sorted(maps.Keys(r.Rig.Tracks)) {
		tracks = append(tracks, track+": "+strings.Join(r.Rig.Tracks[track], ", "))
	}
	sheets := []factSheet{
		{"Build", []fact{
			{"station", strings.TrimSpace(r.Build.Maker + " " + r.Build.Model), false},
			{"version", r.Build.Version, false},
			{"serial", r.Build.Serial, false},
			{"image", r.Build.Image, true},
			{"size", size, false},
			{"SHA-256", r.Build.ImageSHA256, true},
			{"source", r.Build.SourceRevision, true},
		}},
		{"Rig", []fact{
			{"rig", rigLine(r.Rig), false},
			{"file", r.Rig.File, true},
			{"tracks", strings.Join(tracks, "; "), false},
			{"uncertainty", uncertain, false},
			{"calibration", calibrationLine(r.Rig), false},
			{"seed", strconv.FormatInt(r.Rig.Seed, 10), false},
			{"seeded defect", r.Defect, true},
		}},
		{"Run", []fact{
			{"tested", selectionLine(r.Selection), false},
			{"waived", waivedLine(r), false},
			{"station file", r.Station.File, true},
			{"dialect", r.Station.Dialect, true},
			{"rig time", seconds(r.RigTime), false},
			{"wall time", seconds(r.WallTime), false},
			{"link log", linkLogs(r), true},
			{"made by", strings.TrimSpace("bufferstop " + r.Tool.Version), false},
			{"on", strings.TrimSpace(r.Tool.OS + " " + r.Tool.Arch + " " + r.Tool.Go), false},
		}},
	}
	if c := r.Rig.Capture; c != nil {
		sheets[1] = captureFacts(r.Rig.File, c, uncertain)
	}
	for i := range sheets {
		kept := sheets[i].Facts[:0]
		for _, f := range sheets[i].Facts {
			if f.Value != "" {
				f.Value = visible(f.Value, shortText)
				kept = append(kept, f)
			}
		}
		sheets[i].Facts = kept
	}
	return slices.DeleteFunc(sheets, func(s factSheet) bool { return len(s.Facts) == 0 }) // a recording has no build
}

// factList words what a station file says, by name, tables under their own names.
func factList(values map[string]any) []fact {
	var facts []fact
	for _, name := range slices.Sorted(maps.Keys(values)) {
		if table, is := values[name].(map[string]any); is {
			for _, f := range factList(table) {
				f.Name = visible(name, shortText) + ": " + f.Name
				facts = append(facts, f)
			}
			continue
		}
		facts = append(facts, fact{Name: visible(strings.ReplaceAll(name, "_", " "), shortText), Value: visible(plain(values[name]), shortText)})
	}
	return facts
}

// plain prints a value of a station file without the marks of a programming language.
func plain(value any) string {
	switch v := value.(type) {
	case string:
		return v
	case bool:
		if v {
			return "yes"
		}
		return "no"
	case []any:
		var parts []string
		for _, part := range v {
			parts = append(parts, plain(part))
		}
		return strings.Join(parts, ", ")
	case nil:
		return "none"
	}
	text, err := json.Marshal(value)
	if err != nil {
		return fmt.Sprint(value)
	}
	return strings.Trim(string(text), `"`)
}
