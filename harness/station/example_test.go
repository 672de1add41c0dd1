package station_test

import (
	"testing"

	"bufferstop/harness/station"
	"bufferstop/rigs"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestExamplesOfShippedDialectsComeOutAsTheySay(t *testing.T) {
	for name, d := range shippedDialects(t) {
		results := d.CheckExamples()
		assert.NotEmpty(t, results, name)
		for _, r := range results {
			assert.Empty(t, r.Problem, "%s:%d: %s", name, r.Line, r.Example)
		}
	}
}

func TestShippedStationsClaimTheSame(t *testing.T) {
	reference, err := station.LoadFS(rigs.Files, "reference.station.toml")
	require.NoError(t, err)
	for _, name := range []string{"words.station.toml", "frames.station.toml"} {
		f, err := station.LoadFS(rigs.Files, name)
		require.NoError(t, err)
		assert.Equal(t, reference.Claims, f.Claims, name)
		assert.Equal(t, reference.Declares, f.Declares, name)
		assert.Equal(t, station.Operations(), f.Dialect.Operations(), name)
	}
}
