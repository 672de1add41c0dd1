package record

import (
	"math"
	"time"

	"bufferstop/harness/uncertainty"
)

// A Budget is what made one quantity uncertain on the rig, added up for a typical value. The U of each measurement was found in the
// same way from its own value.
type Budget struct {
	Quantity string `json:"quantity"`        // as Measurement.Budget names it
	Track    string `json:"track,omitempty"` // empty when the budget holds for all
	Unit     string `json:"unit"`
	Model    string `json:"model,omitempty"` // how the quantity comes about
	// Components are independent of each other.
	Components []Component `json:"components"`
	// Typical is the value for which the rest holds: Combined is the combined standard uncertainty, Freedom its effective degrees
	// of freedom (left out where they are without end), Factor the coverage factor, Expanded the expanded uncertainty U.
	Typical  float64 `json:"typical"`
	Combined float64 `json:"combined"`
	Freedom  float64 `json:"degrees_of_freedom,omitempty"`
	Factor   float64 `json:"factor"`
	Expanded float64 `json:"expanded"`
}

// A Component is one part of a Budget.
type Component struct {
	Name         string `json:"name"`
	Distribution string `json:"distribution"`
	// Value is a half-width or a standard deviation, in the unit of the budget; Relative the same as a part of what is measured.
	Value    float64 `json:"value"`
	Relative float64 `json:"relative,omitempty"`
	// Squared is the same for each unit of what is measured.
	Squared float64 `json:"squared,omitempty"`
	// Times is the sensitivity, 1 if left out.
	Times   float64 `json:"times,omitempty"`
	Divisor float64 `json:"divisor"`
	Freedom float64 `json:"degrees_of_freedom,omitempty"`
	// Repeatability says that the component counts as such.
	Repeatability bool   `json:"repeatability,omitempty"`
	Source        string `json:"source"`
	// Standard is what the component brings into the typical value.
	Standard float64 `json:"standard"`
}

// A Calibration is that of the rig's probe, as it was put to use.
type Calibration struct {
	Date      time.Time `json:"date"`
	Probe     string    `json:"probe"`
	Serial    int64     `json:"serial"`
	ValidDays int       `json:"valid_days"`
	Tool      string    `json:"tool,omitempty"` // version of the tool that has made it
}

// BudgetOf adds a budget up.
func BudgetOf(b uncertainty.Budget) Budget {
	sum := Budget{Quantity: b.Quantity, Track: b.Track, Unit: b.Unit, Model: b.Model, Components: []Component{},
		Typical: b.Typical, Combined: b.Combined(b.Typical), Factor: b.Factor(b.Typical), Expanded: b.Expanded(b.Typical)}
	if freedom := b.Freedom(b.Typical); !math.IsInf(freedom, 0) {
		sum.Freedom = freedom
	}
	for _, c := range b.Components {
		sum.Components = append(sum.Components, Component{Name: c.Name, Distribution: string(c.Distribution), Value: c.Value,
			Relative: c.Relative, Squared: c.Squared, Times: c.Times, Divisor: c.Divisor, Freedom: c.Freedom, Repeatability: c.Repeats, Source: c.Source,
			Standard: c.Standard(b.Typical)})
	}
	return sum
}
