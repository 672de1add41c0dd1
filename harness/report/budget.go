package report

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"bufferstop/harness/record"
	"bufferstop/harness/uncertainty"
	"bufferstop/harness/verdict"
)

// A budgetView is a budget of the rig in words, for the tracks that it holds for. None of its texts is escaped yet.
type budgetView struct {
	Anchor, Quantity, Tracks, Model string
	Components                      []componentView
	// Typical is the value that the budget is added up for; Combined, Freedom, Factor and Expanded what comes of it.
	Typical, Combined, Freedom, Factor, Expanded string

	quantity string   // as measurements name it
	tracks   []string // as results name them; empty for all
}

type componentView struct{ Name, Value, Distribution, Divisor, Freedom, Standard, Source string }

// budgetsOf words the budgets of a rig. Those that differ by their track alone become one.
func budgetsOf(r record.Rig) []budgetView {
	var views []budgetView
	var seen []record.Budget
	for _, b := range r.Budgets {
		track := b.Track
		b.Track = ""
		if i := slices.IndexFunc(seen, func(s record.Budget) bool { return sameBudget(s, b) }); i >= 0 && track != "" && len(views[i].tracks) > 0 {
			views[i].tracks = append(views[i].tracks, track)
			continue
		}
		v := budgetViewOf(b)
		if track != "" {
			v.tracks = []string{track}
		}
		seen, views = append(seen, b), append(views, v)
	}
	for i := range views {
		views[i].Anchor = "budget-" + strconv.Itoa(i+1)
		views[i].Tracks = visible(strings.Join(views[i].tracks, ", "), shortText)
	}
	return views
}

func sameBudget(a, b record.Budget) bool {
	if a.Quantity != b.Quantity || a.Unit != b.Unit || a.Model != b.Model || a.Typical != b.Typical || a.Combined != b.Combined ||
		a.Freedom != b.Freedom || a.Factor != b.Factor || a.Expanded != b.Expanded {
		return false
	}
	return slices.Equal(a.Components, b.Components)
}

func budgetViewOf(b record.Budget) budgetView {
	unit := verdict.Unit(b.Unit)
	v := budgetView{
		Quantity: visible(b.Quantity, shortText), Model: visible(b.Model, shortText), quantity: b.Quantity,
		Typical: unit.Format(b.Typical), Combined: unit.Format(rounded(b.Combined, 3)), Factor: significant(b.Factor),
		Expanded: "± " + unit.Format(uncertainty.RoundUp(b.Expanded)),
	}
	if b.Freedom > 0 && b.Freedom < manyFreedom {
		v.Freedom = fmt.Sprintf("%.0f", b.Freedom)
	}
	for _, c := range b.Components {
		shown := componentView{
			Name: visible(c.Name, shortText), Distribution: visible(c.Distribution, shortText), Source: visible(c.Source, shortText),
			Divisor: divisorWords(c.Divisor), Standard: unit.Format(rounded(c.Standard, 3)),
		}
		var parts []string
		if c.Value != 0 || c.Relative == 0 && c.Squared == 0 {
			parts = append(parts, unit.Format(rounded(c.Value, 4)))
		}
		if c.Relative != 0 {
			parts = append(parts, relativeWords(c.Relative))
		}
		if c.Squared != 0 { // as a part of the typical value, for which all else here is added up
			parts = append(parts, relativeWords(c.Squared*math.Abs(b.Typical))+" at "+unit.Format(b.Typical))
		}
		shown.Value = "± " + strings.Join(parts, " ± ")
		if c.Times != 0 && c.Times != 1 {
			shown.Value += " × " + significant(c.Times)
		}
		if c.Freedom > 0 && c.Freedom < manyFreedom {
			shown.Freedom = fmt.Sprintf("%.0f", c.Freedom)
		}
		v.Components = append(v.Components, shown)
	}
	return v
}

// manyFreedom degrees of freedom need not be told: the coverage factor is 2 to the last digit printed.
const manyFreedom = 500

// rounded keeps so many significant digits.
func rounded(x float64, digits int) float64 {
	short, err := strconv.ParseFloat(strconv.FormatFloat(x, 'e', digits-1, 64), 64)
	if err != nil {
		return x
	}
	return short
}

// divisorWords prints the divisors of the usual distributions as they are written.
func divisorWords(d float64) string {
	for root, text := range map[float64]string{3: "√3", 6: "√6"} {
		if off := d*d - root; off < 1e-9 && off > -1e-9 {
			return text
		}
	}
	return significant(d)
}

// relativeWords prints a part of a value.
func relativeWords(part float64) string {
	if part < 1e-3 {
		return significant(part*1e6) + " ppm"
	}
	return significant(part*100) + " %"
}

func significant(x float64) string { return strconv.FormatFloat(x, 'g', 4, 64) }

// budgetFor is the place of the budget that a measurement on a track has its U from, empty if the record has none.
func budgetFor(views []budgetView, quantity, track string) (anchor string) {
	for _, v := range views {
		switch {
		case v.quantity != quantity:
		case slices.Contains(v.tracks, track):
			return v.Anchor
		case len(v.tracks) == 0 && anchor == "":
			anchor = v.Anchor
		}
	}
	return anchor
}

// calibrationLine says when the rig's probe was calibrated.
func calibrationLine(r record.Rig) string {
	c := r.Calibration
	if c == nil {
		return ""
	}
	line := fmt.Sprintf("%s, %s, number %d, valid for %d days", c.Date.UTC().Format("2006-01-02"), c.Probe, c.Serial, c.ValidDays)
	return line
}

// observationsLine lists what a reader should know of the rig.
func observationsLine(r record.Rig) string { return strings.Join(r.Observations, "; ") }

// budgetFormula is how all budgets are added up.
const budgetFormula = uncertainty.Source + ": " + uncertainty.Formula + "."

// budgetsLine says how well the rig measures what the run has measured: U (k=2) at a usual value.
func budgetsLine(r *record.Record) string {
	used := map[string]bool{}
	for _, result := range r.Results {
		for _, m := range result.Measurements {
			used[m.Budget] = used[m.Budget] || m.Uncertainty > 0
		}
	}
	var parts []string
	for _, v := range budgetsOf(r.Rig) {
		if !used[v.quantity] {
			continue
		}
		part := v.Quantity
		if v.Tracks != "" {
			part += " (" + v.Tracks + ")"
		}
		parts = append(parts, fmt.Sprintf("%s %s at %s", part, v.Expanded, v.Typical))
	}
	return strings.Join(parts, "; ")
}
