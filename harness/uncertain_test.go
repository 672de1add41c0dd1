package harness_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"periph.io/x/conn/v3/physic"

	"bufferstop/harness"
	"bufferstop/harness/station"
	"bufferstop/harness/uncertainty"
)

func TestARigsUncertaintyMayGrowWithTheValue(t *testing.T) {
	clock := uncertainty.Budget{Quantity: uncertainty.EdgeTime, Unit: "ns", K: uncertainty.Coverage,
		Components: []uncertainty.Component{uncertainty.Deviation("clock", 50e-6, "").Proportional()}}
	gain := uncertainty.Budget{Quantity: uncertainty.Current, Track: "main", Unit: "mA", K: uncertainty.Coverage,
		Components: []uncertainty.Component{uncertainty.Deviation("gain", 0.01, "").Proportional()}}
	d := harness.Description{EdgeUncertainty: 60, CurrentUncertainty: 2 * physic.MilliAmpere, Budgets: []uncertainty.Budget{clock, gain}}
	assert.Equal(t, time.Microsecond, d.EdgeTimeU(station.Main, 10*time.Millisecond))
	assert.Equal(t, 6*time.Nanosecond, d.EdgeTimeU(station.Main, 58*time.Microsecond), "5.8 rounded up")
	assert.Equal(t, 20*physic.MilliAmpere, d.CurrentU(station.Main, physic.Ampere))
	assert.Equal(t, 2*physic.MilliAmpere, d.CurrentU(station.Programming, physic.Ampere), "what the rig states where it has no budget")
}

func TestARigThatStatesNoBudgetsIsAsUncertainForAllValues(t *testing.T) {
	d := harness.Description{EdgeUncertainty: 60, SampleInterval: time.Millisecond, CurrentUncertainty: 2 * physic.MilliAmpere}
	assert.EqualValues(t, 60, d.EdgeTimeU(station.Main, time.Hour))
	for _, quantity := range []string{uncertainty.EdgeTime, uncertainty.HalfDifference, uncertainty.Current, uncertainty.CurrentTime, uncertainty.AnswerTime} {
		b := d.Budget(quantity, station.Main)
		assert.Equal(t, quantity, b.Quantity)
		assert.NoError(t, b.Check())
		assert.Positive(t, b.Expanded(b.Typical))
	}
}
