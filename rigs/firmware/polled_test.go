//go:build simavr

package firmware

import (
	"os"
	"path/filepath"
	"slices"
	"testing"

	"bufferstop/harness/verdict"
	"bufferstop/rigs/processor/imagetest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A firmware in another style, on another processor, with pins in antiphase and a language of its own, conforms with nothing
// but its rig, station and dialect files. What it does not claim is not asked of it.
func TestThePolledFirmwareConforms(t *testing.T) {
	data, err := os.ReadFile("polled.rig.toml")
	require.NoError(t, err)
	f, err := Parse("polled.rig.toml", data)
	require.NoError(t, err)
	folder := imagetest.Make(t, "polled")

	ids := everything()
	if !whole() {
		ids = slices.DeleteFunc(ids, func(id string) bool { return slices.Contains(long, id) })
	}
	if testing.Short() {
		ids = quick
	}
	unclaimed := map[string]bool{}
	for _, r := range examine(t, f, filepath.Join(folder, "station.elf"), 1, ids) {
		if r.Verdict == verdict.NotClaimed {
			unclaimed[r.ID] = true
			continue
		}
		assert.True(t, r.Verdict.Inside(), "%s: %s: %s %v", r.Name(), r.Verdict, r.Reason, r.Failures)
	}
	if !testing.Short() {
		assert.Equal(t, map[string]bool{"OPS-002": true, "OPS-004": true, "OPS-007": true, "OPS-010": true, "OPS-013": true,
			"OPS-015": true, "OPS-016": true, "OPS-017": true, "ACC-001": true, "ACC-002": true, "ACC-003": true, "ACC-004": true, "ACC-005": true,
			"RATE-005": true, "RATE-008": true, "SRV-011": true, "SRV-014": true, "SRV-015": true, "SRV-016": true, "SRV-017": true,
			"SRV-018": true, "SRV-019": true, "SRV-020": true, "SRV-026": true, "BID-001": true, "BID-002": true, "BID-003": true, "BID-006": true}, unclaimed)
	}
}
