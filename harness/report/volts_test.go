package report

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"bufferstop/harness/record"
	"bufferstop/harness/uncertainty"
	"bufferstop/harness/verdict"
)

// A slew is found from a time in the denominator, so its budget grows with the square of it: a report tells the part at the value that
// it is added up for.
func TestTheBudgetOfASlewSaysHowMuchItIsAtAUsualValue(t *testing.T) {
	v := budgetViewOf(record.BudgetOf(uncertainty.Slews(uncertainty.Volts{Step: 20, Noise: 20, Interval: 25, Source: "oscilloscope"})))
	assert.Equal(t, "2.4 V/µs", v.Typical)
	assert.Equal(t, "± 0.035 V/µs", v.Expanded)
	assert.Equal(t, "± 0.75 % at 2.4 V/µs", v.Components[0].Value, "25 ns of 8 V at 2.4 V/µs, 3.33 µs")
	v = budgetViewOf(record.BudgetOf(uncertainty.Voltages(uncertainty.Volts{Step: 20, Noise: 20, Source: "oscilloscope"})))
	assert.Equal(t, "15 V", v.Typical)
	assert.Equal(t, "± 42 mV", v.Expanded)
}

func TestAMeasurementInVoltsReadsWell(t *testing.T) {
	m := verdict.Single("amplitude", verdict.Millivolts, 8230, 0, verdict.Between(8500, 22_000, ""), 42)
	assert.Equal(t, verdict.Fail, m.Verdict)
	assert.Equal(t, "8.23 V ± 42 mV", m.String())
	m = verdict.Single("slew", verdict.VoltsPerMicrosecond, 2.01, 0, verdict.AtLeast(2.4, ""), 0.025)
	assert.Equal(t, verdict.Fail, m.Verdict)
	assert.Equal(t, "2.01 V/µs ± 0.025 V/µs", m.String())
}
