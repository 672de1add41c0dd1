package suites_test

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"bufferstop/harness/record"
	"bufferstop/harness/report"
	"bufferstop/harness/verdict"
	"bufferstop/rigs/simulated"
	"bufferstop/suites"
	"bufferstop/suites/catalogue"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const toolVersion = "v1"

// examinePart runs part of the requirements on a simulated rig of its own.
func examinePart(t testing.TB, o simulated.Options, s suites.Selection, evidence string) *record.Record {
	t.Helper()
	file := fileFor(t, o)
	rig, err := simulated.New(o)
	require.NoError(t, err)
	defer func() { require.NoError(t, rig.Close()) }()
	run, err := suites.Run(context.Background(), rig, file, suites.Options{Selection: s, Evidence: evidence, Version: toolVersion})
	require.NoError(t, err)
	run.Defect, run.Repeat = o.Defect, "bufferstop run --seed 1"
	if s.Shards > 0 {
		run.Repeat += fmt.Sprintf(" --shard %d/%d", s.Shard, s.Shards)
	}
	return run
}

// inParts runs all parts of a selection and saves their records, with their evidence.
func inParts(t testing.TB, o simulated.Options, s suites.Selection, n int) (directories []string) {
	t.Helper()
	for i := range n {
		s.Shard, s.Shards = i+1, n
		directory := t.TempDir()
		require.NoError(t, examinePart(t, o, s, directory).Save(directory))
		directories = append(directories, directory)
	}
	return directories
}

// read reads the records as they are on disk.
func read(t testing.TB, directories ...string) []suites.Part {
	t.Helper()
	var parts []suites.Part
	for _, directory := range directories {
		run, err := record.Load(directory)
		require.NoError(t, err)
		parts = append(parts, suites.Part{Directory: directory, Record: run})
	}
	return parts
}

func mergeOf(t testing.TB, parts []suites.Part) *record.Record {
	t.Helper()
	merged, err := suites.Merge(parts, toolVersion)
	require.NoError(t, err)
	require.NoError(t, merged.Check())
	return merged.Record
}

// quick is everything but the requirements that take most of the time.
func quick() suites.Selection {
	var s suites.Selection
	for _, r := range catalogue.All() {
		if r.ID != "SRV-006" && r.ID != "SRV-012" {
			s.Requirements = append(s.Requirements, r.ID)
		}
	}
	return s
}

// Parts are run by the same code, in another order of things: what one check leaves in the station another does not find.
func TestThePartsOfARunGiveTheVerdictsOfTheWhole(t *testing.T) {
	cases := []simulated.Options{{Seed: 1}}
	all := simulated.Defects()
	random := rand.New(rand.NewPCG(4, 4)) // some of them: a run of each in five ways takes minutes
	for range 6 {
		cases = append(cases, simulated.Options{Seed: random.Int64N(1000), Defect: all[random.IntN(len(all))].Name})
	}
	selection := suites.Selection{}
	if testing.Short() {
		cases, selection = cases[:2], quick() // -short goes with -race, which makes a run ten times slower
	}
	for _, o := range cases {
		whole := examinePart(t, o, selection, "")
		for n := 1; n <= 5; n++ {
			if testing.Short() && n != 3 {
				continue
			}
			merged := mergeOf(t, read(t, inParts(t, o, selection, n)...))
			require.Equal(t, verdicts(whole), verdicts(merged), "%d parts, seed %d, defect %q", n, o.Seed, o.Defect)
			assert.Equal(t, whole.Totals, merged.Totals)
			assert.Equal(t, whole.Outcome, merged.Outcome)
			assert.Equal(t, whole.ExitCode, merged.ExitCode)
			assert.Equal(t, whole.Statement, merged.Statement)
			assert.Equal(t, whole.Selection, merged.Selection)
			assert.Equal(t, whole.Repeat, merged.Repeat)
			assert.Len(t, merged.Histograms, len(whole.Histograms), "each figure once")
			assert.Len(t, merged.Waveforms, len(whole.Waveforms))
			assert.Len(t, merged.Parts, n)
		}
		selection = quick()
	}
}

// Records come from anywhere, and so may name editions that nobody knows.
func TestAnEditionThatTheCatalogueDoesNotHaveIsNotMerged(t *testing.T) {
	s := suites.Selection{Requirements: []string{"SIG-005", "OVL-001"}}
	for name, editions := range map[string]any{
		`"slew" = "S-9.1 (1066)"`: map[string]any{"slew": "S-9.1 (1066)"},
		`"speed" = "any"`:         map[string]any{"speed": "any"},
		`"slew" = "[1]"`:          map[string]any{"slew": []any{1}},
	} {
		parts := read(t, inParts(t, simulated.Options{Seed: 1}, s, 2)...)
		for _, p := range parts {
			p.Record.Station.Claims["editions"] = editions
		}
		_, err := suites.Merge(parts, toolVersion)
		var wrong *suites.MergeError
		require.ErrorAs(t, err, &wrong, name)
		assert.Contains(t, wrong.What, "station.claims.editions")
		assert.Equal(t, name, wrong.Got)
	}
}

func verdicts(run *record.Record) (all []string) {
	for _, r := range run.Results {
		all = append(all, r.Name()+": "+r.Verdict.String())
	}
	return all
}

func TestTheOrderOfTheDirectoriesMakesNoDifference(t *testing.T) {
	directories := inParts(t, simulated.Options{Seed: 1, Defect: "short-zero"}, few, 3)
	want := asJSON(t, mergeOf(t, read(t, directories...)))
	for _, order := range [][3]int{{0, 2, 1}, {1, 0, 2}, {1, 2, 0}, {2, 0, 1}, {2, 1, 0}} {
		parts := read(t, directories[order[0]], directories[order[1]], directories[order[2]])
		assert.Equal(t, want, asJSON(t, mergeOf(t, parts)), "%v", order)
	}
}

func asJSON(t testing.TB, run *record.Record) string {
	t.Helper()
	var b strings.Builder
	require.NoError(t, record.Write(&b, run))
	return b.String()
}

func TestTimesNotesAndFilesOfThePartsAreKept(t *testing.T) {
	o := simulated.Options{Seed: 1, Defect: "short-zero"}
	selection := suites.Selection{Requirements: []string{"SIG-003", "OVL-001", "ACC-001"}}
	directories := inParts(t, o, selection, 2)
	parts := read(t, directories...)
	early := parts[1].Record.Started.Add(-time.Minute)
	parts[1].Record.Started = early
	parts[0].Record.WallTime, parts[1].Record.WallTime = time.Hour, time.Minute
	parts[1].Record.Notes = []string{"a note"}
	parts[1].Record.Tool.Arch = "pdp11"
	parts[1].Record.Repeat = "bufferstop run --link tcp://other:1 --shard 2/2"
	parts[1].Record.Build.Image = "/elsewhere/station.elf"
	sum := parts[0].Record.RigTime + parts[1].Record.RigTime
	merged, err := suites.Merge(parts, toolVersion)
	require.NoError(t, err)
	run := merged.Record
	assert.Equal(t, sum, run.RigTime)
	assert.Equal(t, time.Hour, run.WallTime)
	assert.Equal(t, early, run.Started)
	assert.Equal(t, "bufferstop run --seed 1 --shard 1/2; bufferstop run --link tcp://other:1 --shard 2/2", run.Repeat)
	require.Len(t, run.Notes, 2)
	assert.Equal(t, "part 2 of 2: a note", run.Notes[0])
	assert.Contains(t, run.Notes[1], "part 2 of 2 was run on")
	assert.Empty(t, run.LinkLog)
	assert.Equal(t, []string{"captures/link-1.log.gz", "captures/link-2.log.gz"}, run.LinkLogs())

	out := t.TempDir()
	require.NoError(t, merged.Check())
	require.NoError(t, merged.Keep(out))
	require.NoError(t, report.Save(out, run))
	again, err := record.Load(out)
	require.NoError(t, err)
	assert.Equal(t, asJSON(t, run), asJSON(t, again))
	evidence := 0
	for _, r := range run.Results {
		for _, f := range r.Failures {
			evidence++
			assertSameFile(t, filepath.Join(out, f.Evidence), filepath.Join(directories[partOf(run, r.ID)], f.Evidence))
		}
	}
	assert.Positive(t, evidence)
	for i, log := range run.LinkLogs() {
		assertSameFile(t, filepath.Join(out, log), filepath.Join(directories[i], "captures", "link.log.gz"))
	}
}

func partOf(run *record.Record, id string) int {
	return slices.IndexFunc(run.Parts, func(p record.PartOfRun) bool { return slices.Contains(p.Requirements, id) })
}

func assertSameFile(t testing.TB, got, want string) {
	t.Helper()
	wanted, err := os.ReadFile(want)
	require.NoError(t, err)
	gotten, err := os.ReadFile(got)
	require.NoError(t, err)
	assert.True(t, bytes.Equal(wanted, gotten), "%s is not %s", got, want)
}

func TestAPartThatWasCutShortMakesTheWholeSo(t *testing.T) {
	directories := inParts(t, simulated.Options{Seed: 1}, few, 2)
	parts := read(t, directories...)
	parts[1].Record.EndedEarly = "the link is lost"
	run := mergeOf(t, parts)
	assert.Equal(t, verdict.Incomplete, run.Outcome)
	assert.Equal(t, "part 2 of 2: the link is lost", run.EndedEarly)

	parts = read(t, directories...)
	parts[0].Record.Outcome = verdict.Interrupted
	run = mergeOf(t, parts)
	assert.Equal(t, verdict.Interrupted, run.Outcome)
	assert.Equal(t, verdict.ExitInterrupted, run.ExitCode)
}

func TestWhatDoesNotBelongTogetherIsNotMerged(t *testing.T) {
	directories := inParts(t, simulated.Options{Seed: 1}, few, 3)
	type damage func(r *record.Record)
	for name, c := range map[string]struct {
		spoil         damage // of part 2
		what          string
		got, want     string
		leave, repeat int
	}{
		"version":       {func(r *record.Record) { r.Tool.Version = "v2" }, "not of one run: tool.version", `"v2"`, `"v1" as in `, 0, 0},
		"image":         {func(r *record.Record) { r.Build.ImageSHA256 = "0a" }, "build.image_sha256", `"0a"`, `nothing as in `, 0, 0},
		"station":       {func(r *record.Record) { r.Build.Version = "1.1" }, "build.version", `"1.1"`, `"1.0" as in `, 0, 0},
		"revision":      {func(r *record.Record) { r.Build.SourceRevision = "b\u202e" }, "build.source_revision", `"b\u202e"`, "nothing", 0, 0},
		"symbols":       {func(r *record.Record) { r.Build.Symbols = []record.Symbol{{Name: "main"}} }, "build.symbols", "main", "nothing", 0, 0},
		"rig":           {func(r *record.Record) { r.Rig.Kind = "bench" }, "rig.kind", `"bench"`, `"simulated"`, 0, 0},
		"seed":          {func(r *record.Record) { r.Rig.Seed = 2 }, "rig.seed", "2", "1 as in ", 0, 0},
		"station file":  {func(r *record.Record) { r.Station.File = "x.toml" }, "station.file", `"x.toml"`, "nothing", 0, 0},
		"claims":        {func(r *record.Record) { r.Station.Claims["cutout"] = true }, "station.claims.cutout", "true", "false", 0, 0},
		"lack of claim": {func(r *record.Record) { delete(r.Station.Claims, "cutout") }, "station.claims.cutout", "nothing", "false", 0, 0},
		"declared": {func(r *record.Record) { r.Station.Declares["main"].(map[string]any)["trip_time"] = "1s" },
			"station.declares.main.trip_time", `"1s"`, `"100ms"`, 0, 0},
		"defect":       {func(r *record.Record) { r.Defect = "short-zero" }, "defect", `"short-zero"`, `""`, 0, 0},
		"selection":    {func(r *record.Record) { r.Selection.Suites = []string{"programming"} }, "selection.suites", "programming", "nothing", 0, 0},
		"shards":       {func(r *record.Record) { r.Selection.Shards = 4 }, "selection.shards", "4", "3 as in ", 0, 0},
		"whole":        {func(r *record.Record) { r.Selection.Shard, r.Selection.Shards = 0, 0 }, "no part of a run", "a whole run", "--shard", 0, 0},
		"no such part": {func(r *record.Record) { r.Selection.Shard = 4 }, "which part it is", "part 4 of 3", "1 <= I <= N <= 64", 0, 0},
		"half a part":  {func(r *record.Record) { r.Selection.Shards = 0 }, "which part it is", "part 2 of 0", "1 <= I <= N <= 64", 0, 0},
		"missing":      {nil, "a part is missing", "part 1, 3 of 3", "part 2 as well", 2, 0},
		"last missing": {nil, "a part is missing", "part 1, 2 of 3", "part 3 as well", 3, 0},
		"twice":        {nil, "a part is there twice", "part 2 of 3 in both", "each part once", 0, 2},
		"result":       {func(r *record.Record) { r.Results = r.Results[1:] }, "damaged record: result 1", "", "", 0, 0},
		"more results": {func(r *record.Record) { r.Results = append(r.Results, r.Results[0]) }, "damaged record: result", "", "none", 0, 0},
		"level":        {func(r *record.Record) { r.Results[0].Level = "SHOULD" }, "level and suite", `"SHOULD"`, `"MUST"`, 0, 0},
		"verdict":      {func(r *record.Record) { r.Results[0].Verdict = verdict.Unmeasured }, "the verdict of", "none", "one", 0, 0},
		"evidence": {func(r *record.Record) { r.Results[0].Failures = []record.Failure{{What: "w", Evidence: "../secret"}} },
			"the evidence of", `"../secret"`, "captures/", 0, 0},
		"evidence of another": {func(r *record.Record) {
			r.Results[0].Failures = []record.Failure{{Evidence: "captures/SIG-001-main.vcd.gz"}}
		},
			"the evidence of", "SIG-001", "captures/", 0, 0},
		"link log":      {func(r *record.Record) { r.LinkLog = "/etc/passwd" }, "the log of the link", `"/etc/passwd"`, "captures/link.log.gz", 0, 0},
		"time":          {func(r *record.Record) { r.RigTime = -1 }, "how long it took", "-1ns", "a year", 0, 0},
		"no outcome":    {func(r *record.Record) { r.Outcome = "" }, "the outcome", "none", "one", 0, 0},
		"no such suite": {nil, "", "", "", 0, 0},
	} {
		parts := read(t, directories...)
		switch {
		case c.spoil != nil:
			c.spoil(parts[1].Record)
		case c.leave > 0:
			parts = slices.Delete(parts, c.leave-1, c.leave)
		case c.repeat > 0:
			parts = append(parts, read(t, directories[c.repeat-1])...)
		default: // of all of them
			for _, p := range parts {
				p.Record.Selection.Suites = []string{"speed"}
			}
			c.what, c.got = "damaged record: the selection", "speed"
		}
		_, err := suites.Merge(parts, toolVersion)
		var wrong *suites.MergeError
		require.ErrorAs(t, err, &wrong, name)
		assert.Contains(t, wrong.What, c.what, name)
		assert.Contains(t, wrong.Got, c.got, name)
		assert.Contains(t, wrong.Want, c.want, name)
		assert.Contains(t, wrong.File, record.FileName, name)
		assert.NotEmpty(t, wrong.Hint, name)
	}
	_, err := suites.Merge(read(t, directories...), "v3")
	assert.ErrorContains(t, err, "another version of bufferstop")
	_, err = suites.Merge(nil, toolVersion)
	assert.Error(t, err)
}

func TestAFileThatIsNotThereIsMissed(t *testing.T) {
	for name, spoil := range map[string]func(log string){
		"gone":      func(log string) { require.NoError(t, os.Remove(log)) },
		"directory": func(log string) { require.NoError(t, os.Remove(log)); require.NoError(t, os.Mkdir(log, 0o755)) },
		"link outside": func(log string) {
			require.NoError(t, os.Rename(log, filepath.Join(filepath.Dir(filepath.Dir(log)), "..", "stolen")))
			require.NoError(t, os.Symlink("../../stolen", log))
		},
	} {
		directories := inParts(t, simulated.Options{Seed: 1}, few, 2)
		spoil(filepath.Join(directories[1], "captures", "link.log.gz"))
		merged, err := suites.Merge(read(t, directories...), toolVersion)
		require.NoError(t, err)
		var wrong *suites.MergeError
		require.ErrorAs(t, merged.Check(), &wrong, name)
		assert.Contains(t, wrong.File, "link.log.gz", name)
		assert.Error(t, merged.Keep(t.TempDir()), name)
	}
}

// Whatever two records say, they are refused or make one that can be written and read.
func FuzzMerge(f *testing.F) {
	directories := inParts(f, simulated.Options{Seed: 1, Defect: "short-zero"}, suites.Selection{Requirements: []string{"ACC-001", "SIG-003"}}, 2)
	var seeds [2][]byte
	for i, directory := range directories {
		run, err := record.Load(directory)
		require.NoError(f, err)
		run.Histograms, run.Waveforms, run.EndedEarly = nil, nil, "e" // long, and passed on as they are
		seeds[i] = []byte(asJSON(f, run))
	}
	f.Add(seeds[0], seeds[1])
	f.Add(seeds[1], seeds[1])
	empty := f.TempDir()
	f.Fuzz(func(t *testing.T, a, b []byte) {
		var parts []suites.Part
		for _, data := range [][]byte{a, b} {
			run, err := record.Read(bytes.NewReader(data))
			if err != nil {
				return
			}
			parts = append(parts, suites.Part{Directory: empty, Record: run})
		}
		merged, err := suites.Merge(parts, toolVersion)
		var wrong *suites.MergeError
		if err != nil {
			require.ErrorAs(t, err, &wrong)
			return
		}
		again, err := record.Read(strings.NewReader(asJSON(t, merged.Record)))
		require.NoError(t, err)
		require.Equal(t, asJSON(t, merged.Record), asJSON(t, again))
		if err := merged.Check(); err != nil {
			require.ErrorAs(t, err, &wrong)
		}
	})
}
