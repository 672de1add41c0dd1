package uncertainty

import (
	"fmt"
	"math"
	"slices"
)

// The quantities that are measured. A budget is found by its quantity.
const (
	EdgeTime       = "time between two edges"
	HalfDifference = "difference of two half-bits"
	Current        = "current"
	CurrentTime    = "time of a change of current"
	LoopTime       = "loop time"
	AnswerTime     = "time of an answer over the link"
	CommandTime    = "time from a command to the track"
	OffBegins      = "time until the voltage goes"
	OffEnds        = "time until the voltage comes back"
	Voltage        = "voltage"
	Slew           = "slew"
)

// Source is what every budget goes by.
const Source = "JCGM 100:2008"

// A Budget is what makes one quantity uncertain.
type Budget struct {
	// Quantity is one of those above; Track the track that the budget is for, empty if it holds for all.
	Quantity string `json:"quantity"`
	Track    string `json:"track,omitempty"`
	// Unit is that of the values, as measurements have it: "ns", "mA", "mV" or "V/us".
	Unit string `json:"unit"`
	// Typical is a usual value of the quantity, for which a report adds the budget up.
	Typical float64 `json:"typical"`
	// Model says in words how the quantity comes about.
	Model      string      `json:"model"`
	Components []Component `json:"components"`
	// K is the coverage factor where the degrees of freedom are many.
	K float64 `json:"k"`
}

// Coverage is the factor that all budgets use: about 95 % of values lie within (JCGM 100:2008 6.3.3).
const Coverage = 2

// Formula is how the components of every budget are put together.
const Formula = "u = value ÷ divisor for each component (4.3.7, 4.3.9); uc = √(Σ (c·u)²), independent components (5.1.2); " +
	"U = k·uc, k = 2 for a level of confidence of about 95 % (6.2.1, 6.3.3), larger where few degrees of freedom ask for it (G.4.1, table G.2)"

// Combined is the combined standard uncertainty of a value, JCGM 100:2008 5.1.2 (equation 10).
func (b Budget) Combined(value float64) float64 { return b.sum(value, false) }

// Repeatability is the standard deviation by which measurements of one and the same thing differ from each other.
func (b Budget) Repeatability(value float64) float64 { return b.sum(value, true) }

func (b Budget) sum(value float64, repeats bool) float64 {
	sum := 0.0
	for _, c := range b.Components {
		if u := c.Standard(value); c.Repeats || !repeats {
			sum += u * u
		}
	}
	return math.Sqrt(sum)
}

// Freedom is the effective degrees of freedom of a value, by the formula of Welch and Satterthwaite (JCGM 100:2008 G.4.1, equation
// G.2b). It is infinite where no component was found from observations.
func (b Budget) Freedom(value float64) float64 {
	weight := 0.0
	for _, c := range b.Components {
		if u := c.Standard(value); c.Freedom > 0 {
			weight += u * u * u * u / c.Freedom
		}
	}
	if weight == 0 {
		return math.Inf(1)
	}
	u := b.Combined(value)
	return u * u * u * u / weight
}

// Factor is the coverage factor for a value: K, or more where the degrees of freedom are few.
func (b Budget) Factor(value float64) float64 {
	return b.K / Coverage * student(b.Freedom(value))
}

// Expanded is the expanded uncertainty U of a value, JCGM 100:2008 6.2.1.
func (b Budget) Expanded(value float64) float64 {
	return b.Factor(value) * b.Combined(value)
}

// Averaged is the budget of the mean of n values: what they differ by from each other is less for the mean (JCGM 100:2008 4.2.3),
// all else is as it was.
func (b Budget) Averaged(n int) Budget {
	b.Components = slices.Clone(b.Components)
	for i := range b.Components {
		if c := &b.Components[i]; c.Repeats && n > 1 {
			c.Divisor = c.divisor() * math.Sqrt(float64(n))
		}
	}
	return b
}

// At is the budget of what follows from a value without being as large, as the error of another instrument: it is as uncertain
// as the value, whatever it comes to.
func (b Budget) At(value float64) Budget {
	b.Components = slices.Clone(b.Components)
	for i := range b.Components {
		c := &b.Components[i]
		c.Value, c.Relative, c.Squared = c.Value+c.Relative*math.Abs(value)+c.Squared*value*value, 0, 0
	}
	return b
}

// RoundUp keeps two significant digits of an expanded uncertainty, which are as many as it is worth, and rounds up rather than down
// (JCGM 100:2008 7.2.6).
func RoundUp(u float64) float64 {
	if !(u > 0) || math.IsInf(u, 0) {
		return u
	}
	step := math.Pow(10, math.Floor(math.Log10(u))-1)
	// What is a step already stays, also where it has no exact form in binary.
	return math.Ceil(u/step*(1-1e-12)) * step
}

// Check says what makes the budget no budget: it may come from a record.
func (b Budget) Check() error {
	if !(b.K > 0 && b.K <= 10) {
		return fmt.Errorf("budget of %q: k is %v, want a number above 0, at most 10", b.Quantity, b.K)
	}
	for _, c := range b.Components {
		for _, x := range []float64{c.Value, c.Relative, c.Squared, c.Divisor, c.Freedom} {
			if !(x >= 0) || math.IsInf(x, 0) {
				return fmt.Errorf("budget of %q: component %q has %v, want a number of 0 or more", b.Quantity, c.Name, x)
			}
		}
		if math.IsNaN(c.Times) || math.IsInf(c.Times, 0) {
			return fmt.Errorf("budget of %q: component %q counts %v times, want a number", b.Quantity, c.Name, c.Times)
		}
	}
	return nil
}

// Stated is the budget of a quantity of which only U (k=2) is known.
func Stated(quantity, unit string, u float64, source string) Budget {
	return Budget{Quantity: quantity, Unit: unit, K: Coverage, Model: "as stated",
		Components: []Component{{Name: "stated as a whole", Distribution: Normal, Value: u, Divisor: Coverage, Source: source}}}
}

// Of finds the budget of a quantity on a track: that for the track itself before the one that holds for all.
func Of(budgets []Budget, quantity, track string) (found Budget, ok bool) {
	for _, b := range budgets {
		if b.Quantity == quantity && (b.Track == track || b.Track == "" && !ok) {
			found, ok = b, true
		}
	}
	return found, ok
}

// students are the factors that cover 95.45 % for so many degrees of freedom, JCGM 100:2008 table G.2.
var students = []struct{ freedom, factor float64 }{
	{1, 13.97}, {2, 4.53}, {3, 3.31}, {4, 2.87}, {5, 2.65}, {6, 2.52}, {7, 2.43}, {8, 2.37}, {9, 2.32}, {10, 2.28},
	{11, 2.25}, {12, 2.23}, {13, 2.21}, {14, 2.20}, {15, 2.18}, {16, 2.17}, {17, 2.16}, {18, 2.15}, {19, 2.14}, {20, 2.13},
	{25, 2.11}, {30, 2.09}, {35, 2.07}, {40, 2.06}, {45, 2.06}, {50, 2.05}, {100, 2.025},
}

// enough degrees of freedom make no difference worth a number: the factor is within half a percent of 2 (table G.2 has 2.025
// at 100, and 2.000 at infinity).
const enough = 500

// student is the factor for some degrees of freedom: of the next lower number in the table (G.4.1 note 1 truncates).
func student(freedom float64) float64 {
	if freedom >= enough {
		return Coverage
	}
	factor := students[0].factor
	for _, s := range students {
		if freedom >= s.freedom {
			factor = s.factor
		}
	}
	return factor
}
