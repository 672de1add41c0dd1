//go:build simavr

package firmware

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"bufferstop/harness/record"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/rigs/processor/imagetest"
	"bufferstop/suites"
	"bufferstop/suites/catalogue"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// whole says whether the long tests were asked for, as `make test-firmware` does.
func whole() bool { return os.Getenv("BUFFERSTOP_FIRMWARE") == "whole" }

// together are requirements that share an exercise of the station.
var together = [][]string{
	{"SIG-001", "SIG-002", "SIG-003", "SIG-004", "PKT-001", "PKT-002", "PKT-003", "PKT-004", "RATE-001"},
	{"SRV-001", "SRV-002", "SRV-003", "SRV-004", "SRV-005"},
	{"SIG-011", "SIG-012", "SIG-013", "SIG-014", "LNK-002"},
	{"SIG-017", "PWR-001", "PWR-003"},
}

// quick are the requirements that variants are put to beside those that they break, each to every other one of them: the shorter ones,
// of each subject.
var quick = []string{
	"LNK-001", "OPS-003", "OPS-004", "OPS-005", "OPS-009", "OPS-010", "PWR-001", "PWR-002", "SIG-015",
	"SRV-009", "SRV-010",
	"OVL-001", "OVL-005", "REC-001", "REC-002",
}

// long are the requirements that take minutes of the station's time: only the whole matrix has them.
var long = []string{"SRV-006", "SRV-007", "SRV-012"}

// groups splits requirements into those that go together. Each group gets a board of its own, so that what a defect has
// done to the firmware in one of them does not count in the next.
func groups(ids []string) (all [][]string) {
	for _, group := range together {
		var chosen []string
		for _, id := range group {
			if slices.Contains(ids, id) {
				chosen = append(chosen, id)
			}
		}
		if len(chosen) > 0 {
			all = append(all, chosen)
		}
	}
	for _, id := range ids {
		if !slices.ContainsFunc(together, func(group []string) bool { return slices.Contains(group, id) }) {
			all = append(all, []string{id})
		}
	}
	return all
}

// examine puts requirements to an image and returns the results.
func examine(t *testing.T, f *File, image string, seed int64, ids []string) (results []record.Result) {
	t.Helper()
	file, err := station.LoadFile(filepath.Join(f.Folder, f.Station))
	require.NoError(t, err)
	for _, group := range groups(ids) {
		r, err := open(t.Context(), f, loaded(t, image), Options{Seed: seed})
		require.NoError(t, err)
		run, err := suites.Run(t.Context(), r, file, suites.Options{Selection: suites.Selection{Requirements: group}})
		require.NoError(t, err)
		require.NoError(t, r.Close())
		results = append(results, run.Results...)
	}
	return results
}

func everything() (ids []string) {
	for _, r := range catalogue.All() {
		ids = append(ids, r.ID)
	}
	return ids
}

// Each defect is caught by the requirements that are meant for it, and by no others. A defect may leave others
// inconclusive, as a short that is never cut leaves the recovery from it. Some are races: they come out the same in each run of
// an image, and another compiler may make one in which TORN_PACKET, say, tears no packet after a recovery.
func TestEachFirmwareDefectIsCaughtByItsRequirementsAndNoOthers(t *testing.T) {
	f := referenceFile(t)
	for i, v := range Variants() {
		if testing.Short() && i%5 != 0 {
			continue // -short goes with -race, which is slow
		}
		t.Run(v.Name, func(t *testing.T) {
			image := variant(t, v.Name)
			ids, wanted := everything(), v.Breaks
			if !whole() {
				wanted = slices.DeleteFunc(slices.Clone(wanted), func(id string) bool { return slices.Contains(long, id) })
				ids = slices.Clone(wanted)
				for k := i % 2; k < len(quick); k += 2 {
					ids = append(ids, quick[k])
				}
				slices.Sort(ids)
				ids = slices.Compact(ids)
			}
			var broken, open []string
			for _, r := range examine(t, f, image, 1, ids) {
				assert.NotEqual(t, verdict.Error, r.Verdict, "%s: %s", r.Name(), r.Reason)
				switch {
				case r.Verdict.Outside():
					broken = append(broken, r.ID)
				case !r.Verdict.Inside():
					open = append(open, r.Name()+": "+r.Reason)
				}
			}
			slices.Sort(broken)
			broken = slices.Compact(broken)
			if whole() {
				// Over the whole catalogue it is a matter of chance which other packets a torn bit falls into.
				assert.Subset(t, broken, wanted, "neither met nor broken: %q", open)
				t.Logf("broken: %v; wanted: %v", broken, wanted)
				return
			}
			broken = slices.DeleteFunc(broken, func(id string) bool { return slices.Contains(v.May, id) })
			assert.Equal(t, wanted, broken, "neither met nor broken: %q", open)
		})
	}
}

// variant builds the reference firmware with a defect.
func variant(t *testing.T, name string) string {
	t.Helper()
	return filepath.Join(imagetest.Make(t, "reference", "DEFECT="+name), "station.elf")
}

// The switches of the C code and the list here are the same, in the same order.
func TestEveryDefectOfTheFirmwareIsInTheList(t *testing.T) {
	text, err := os.ReadFile("reference/defects.h")
	require.NoError(t, err)
	_, enumeration, found := strings.Cut(string(text), "NO_DEFECT,\n")
	require.True(t, found)
	enumeration, _, _ = strings.Cut(enumeration, "};")
	var names []string
	for line := range strings.Lines(enumeration) {
		if name, ok := strings.CutSuffix(strings.TrimSpace(line), ","); ok && name == strings.ToUpper(name) {
			names = append(names, name)
		}
	}
	var listed []string
	for _, v := range Variants() {
		listed = append(listed, v.Name)
		for _, id := range v.Breaks {
			_, known := catalogue.Find(id)
			assert.True(t, known, "%s breaks %s, which is not in the catalogue", v.Name, id)
		}
		assert.NotEmpty(t, v.Flaw, v.Name)
		assert.IsIncreasing(t, v.Breaks)
	}
	assert.Equal(t, names, listed)
}
