package uncertainty

import "math"

// A Distribution is how a component is thought to be spread.
type Distribution string

// The distributions in use.
const (
	Normal      Distribution = "normal"
	Rectangular Distribution = "rectangular"
	Triangular  Distribution = "triangular"
)

// divisor turns the value of a component into a standard uncertainty: the half-width of a rectangle (JCGM 100:2008 4.3.7) or of a
// triangle (4.3.9 b), the standard deviation of a normal distribution itself.
func (d Distribution) divisor() float64 {
	switch d {
	case Rectangular:
		return math.Sqrt(3)
	case Triangular:
		return math.Sqrt(6)
	}
	return 1
}

// A Component is one thing that makes a measurement uncertain. Components of one budget are independent of each other; what is
// not is one component.
type Component struct {
	Name         string       `json:"name"`
	Distribution Distribution `json:"distribution"`
	// Value is the half-width or the standard deviation, in the unit of the budget.
	Value float64 `json:"value"`
	// Relative is the same as a part of the measured value: 1e-6 for a part in a million. A component has one of the two; if it has
	// both, they add up.
	Relative float64 `json:"relative,omitempty"`
	// Squared is the same for each unit of the measured value: a component that grows with its square, in one over the unit of the
	// budget. It is there for what is found from a time by dividing, which is the more uncertain the shorter the time was.
	Squared float64 `json:"squared,omitempty"`
	// Times is how often the component counts with its sign, its sensitivity coefficient (JCGM 100:2008 5.1.3): 1 if zero.
	Times float64 `json:"times,omitempty"`
	// Divisor makes a standard uncertainty of the value.
	Divisor float64 `json:"divisor"`
	// Freedom is the degrees of freedom of a component that was evaluated from observations (type A, JCGM 100:2008 4.2); zero for one
	// that is as good as known (type B, G.4.3).
	Freedom float64 `json:"degrees_of_freedom,omitempty"`
	// Repeats says that the component is what the measurement of one and the same thing differs by from time to time: its
	// repeatability.
	Repeats bool `json:"repeatability,omitempty"`
	// Source says where the value is from.
	Source string `json:"source"`
}

// Standard is the standard uncertainty that the component brings into a measurement of value, sensitivity included. A component
// without a divisor has the one of its distribution.
func (c Component) Standard(value float64) float64 {
	times := c.Times
	if times == 0 {
		times = 1
	}
	return math.Abs(times) * (c.Value + c.Relative*math.Abs(value) + c.Squared*value*value) / c.divisor()
}

func (c Component) divisor() float64 {
	if c.Divisor > 0 {
		return c.Divisor
	}
	return c.Distribution.divisor()
}

// HalfWidth is a component of which only the bounds are known: anything from -a to a is as probable as anything else.
func HalfWidth(name string, a float64, source string) Component {
	return Component{Name: name, Distribution: Rectangular, Value: a, Divisor: math.Sqrt(3), Source: source}
}

// Quantised is the component of a reading in whole steps.
func Quantised(name string, step float64, source string) Component {
	return HalfWidth(name, step/2, source)
}

// Deviation is a component with a known standard deviation.
func Deviation(name string, sd float64, source string) Component {
	return Component{Name: name, Distribution: Normal, Value: sd, Divisor: 1, Source: source}
}

// Scatter is a Deviation by which one and the same thing is measured differently from time to time.
func Scatter(name string, sd float64, source string) Component {
	c := Deviation(name, sd, source)
	c.Repeats = true
	return c
}

// Proportional makes a component grow with what is measured: its value becomes a part of that.
func (c Component) Proportional() Component {
	c.Value, c.Relative = 0, c.Value
	return c
}

// Quadratic makes a component grow with the square of what is measured: its value becomes a part of that for each unit.
func (c Component) Quadratic() Component {
	c.Value, c.Squared = 0, c.Value
	return c
}

// Observed says from how many observations a standard deviation was found.
func (c Component) Observed(n int) Component {
	c.Freedom = float64(max(n-1, 1))
	return c
}

// Weighted says how often, and with which sign, a component counts.
func (c Component) Weighted(times float64) Component {
	c.Times = times
	return c
}
