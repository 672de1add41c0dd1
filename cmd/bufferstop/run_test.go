package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"bufferstop/harness/record"
	"bufferstop/harness/verdict"
	"bufferstop/rigs/simulated"
	"bufferstop/suites/catalogue"
)

// examine runs the verb in this process and returns its exit code, its output, and the record that it wrote.
func examine(t *testing.T, flags ...string) (code int, stdout string, made *record.Record) {
	t.Helper()
	out := t.TempDir()
	var o, e bytes.Buffer
	code = run(append([]string{"run", "--out", out}, flags...), strings.NewReader(""), &o, &e)
	require.Empty(t, e.String())
	written, err := record.Load(out)
	require.NoError(t, err)
	assert.Equal(t, code, written.ExitCode)
	return code, o.String(), written
}

func TestTheReferenceStationConformsAndEveryRequirementIsMeasured(t *testing.T) {
	code, stdout, run := examine(t)
	assert.Equal(t, verdict.ExitConforms, code)
	assert.Equal(t, "bufferstop run --seed 1", run.Repeat)
	assert.EqualValues(t, 1, run.Rig.Seed)
	skipped := 0 // what the reference station does not claim
	for _, q := range catalogue.All() {
		for _, track := range q.Tracks {
			found := false
			for _, r := range run.Results {
				if r.ID == q.ID && r.Track == track {
					found = true
					if r.Verdict == verdict.NotClaimed {
						skipped++
						continue
					}
					assert.Equal(t, verdict.Pass, r.Verdict, r.Name())
					assert.NotEmpty(t, r.Measurements, r.Name())
				}
			}
			assert.True(t, found, "%s %s is not in the record", q.ID, track)
		}
	}
	// A line for each check, between the heading and the summary.
	assert.Equal(t, len(run.Results)-skipped, strings.Count(stdout, "\npass "))
	assert.Equal(t, skipped, strings.Count(stdout, "\nnot claimed "))
}

func TestTheSameCommandGivesTheSameMeasurements(t *testing.T) {
	flags := []string{"--suite", "conformance", "--seed", "7"}
	_, _, first := examine(t, flags...)
	_, _, second := examine(t, flags...)
	for _, run := range []*record.Record{first, second} {
		for i := range run.Results {
			run.Results[i].WallTime = 0
		}
	}
	assert.Equal(t, first.Results, second.Results)
	assert.Equal(t, first.RigTime, second.RigTime)
	_, _, other := examine(t, "--suite", "conformance", "--seed", "8")
	assert.NotEqual(t, first.RigTime, other.RigTime)
}

func TestEverySeededDefectIsFoundByTheRequirementThatItBreaks(t *testing.T) {
	for _, d := range simulated.Defects() {
		t.Run(d.Name, func(t *testing.T) {
			flags := []string{"--defect", d.Name}
			want := verdict.ExitConforms // with observations, if it is no more than a SHOULD that it breaks
			for _, id := range d.Breaks {
				flags = append(flags, "--requirement", id) // what else it may trip, the suites' own test sees to
				if q, _ := catalogue.Find(id); q.Level == verdict.Must {
					want = verdict.ExitDoesNotConform
				}
			}
			code, stdout, run := examine(t, flags...)
			assert.Equal(t, want, code)
			assert.Equal(t, d.Name, run.Defect)
			named := slices.ContainsFunc(d.Breaks, func(id string) bool {
				return strings.Contains(run.Statement, id) && strings.Contains(stdout, "\nfail  "+id)
			})
			assert.True(t, named, "none of %v is named: %s", d.Breaks, run.Statement)
			for _, r := range run.Results {
				for _, f := range r.Failures {
					if f.Evidence != "" {
						assert.Contains(t, stdout, "evidence  "+f.Evidence)
					}
				}
			}
		})
	}
}

func TestTheRecordNamesTheFirmwareImage(t *testing.T) {
	image := filepath.Join(t.TempDir(), "it's new.hex")
	content := []byte(":00000001FF\n")
	require.NoError(t, os.WriteFile(image, content, 0o600))
	_, _, run := examine(t, "--requirement", "SIG-001", "--build", image, "--revision", "a1b2c3")
	sum := sha256.Sum256(content)
	assert.Equal(t, hex.EncodeToString(sum[:]), run.Build.ImageSHA256)
	assert.EqualValues(t, len(content), run.Build.ImageSize)
	assert.Equal(t, image, run.Build.Image)
	assert.Equal(t, "a1b2c3", run.Build.SourceRevision)
	assert.Contains(t, run.Repeat, `it'\''s new.hex'`)
	assert.Contains(t, run.Repeat, "--revision a1b2c3")
}

func TestASelectionRunsOnlyWhatItNames(t *testing.T) {
	code, _, run := examine(t, "--suite", "conformance", "--requirement", "SIG-001", "--requirement", "ACK-001")
	assert.Equal(t, verdict.ExitConforms, code)
	var names []string
	for _, r := range run.Results {
		names = append(names, r.Name())
	}
	assert.Equal(t, []string{"SIG-001 main", "SIG-001 programming"}, names)
	assert.Equal(t, []string{"conformance"}, run.Selection.Suites)
	assert.Equal(t, "bufferstop run --suite conformance --requirement SIG-001 --requirement ACK-001 --seed 1", run.Repeat)
}

func TestAnEarlierRunInTheSameDirectoryLeavesNothingBehind(t *testing.T) {
	out := t.TempDir()
	var o, e bytes.Buffer
	note := filepath.Join(out, "notes.txt")
	require.NoError(t, os.WriteFile(note, []byte("mine"), 0o600))
	args := []string{"run", "--out", out, "--requirement", "SIG-001"}
	require.Equal(t, 1, run(append(args, "--defect", "slow-crystal"), nil, &o, &e), e.String())
	captures, err := filepath.Glob(filepath.Join(out, "captures", "*.vcd.gz"))
	require.NoError(t, err)
	require.NotEmpty(t, captures)
	require.Equal(t, 0, run(args, nil, &o, &e), e.String())
	captures, err = filepath.Glob(filepath.Join(out, "captures", "*.vcd.gz"))
	require.NoError(t, err)
	assert.Empty(t, captures)
	assert.FileExists(t, note, "files of others stay")
	assert.FileExists(t, filepath.Join(out, "report.html"))
}
