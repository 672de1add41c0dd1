package suites_test

import (
	"context"
	"testing"

	"bufferstop/harness/verdict"
	"bufferstop/rigs/simulated"
	"bufferstop/suites"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// No off state between packets of the programming track is a gap to SIG-008, so a station that claims no cutout is asked for it too.
func TestACutoutInServiceModeIsFoundWithoutTheClaim(t *testing.T) {
	options := suites.Options{Selection: suites.Selection{Requirements: []string{"BID-004"}}}
	for defect, want := range map[string]verdict.Verdict{"": verdict.Pass, "cutout-in-service-mode": verdict.Fail} {
		file := reference(t)
		require.False(t, file.Claims.Cutout)
		run, err := suites.Run(context.Background(), rigWith(t, simulated.Options{Defect: defect}), file, options)
		require.NoError(t, err)
		require.Len(t, run.Results, 1)
		assert.Equal(t, want, run.Results[0].Verdict, defect)
	}
}
