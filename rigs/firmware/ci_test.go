//go:build simavr

package firmware

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"bufferstop/harness/record"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// project makes a repository of a firmware, as a builder has it: the reference firmware, its files, and the script.
func project(t *testing.T) string {
	t.Helper()
	folder := t.TempDir()
	for from, to := range map[string]string{
		"reference": "station/reference", "reference.rig.toml": "station/rig.toml", "reference.station.toml": "station/reference.station.toml",
		"../reference.dialect.toml": "reference.dialect.toml", "ci/examine": "ci/examine",
	} {
		require.NoError(t, os.MkdirAll(filepath.Dir(filepath.Join(folder, to)), 0o755))
		out, err := exec.Command("cp", "-r", from, filepath.Join(folder, to)).CombinedOutput()
		require.NoError(t, err, "%s", out)
	}
	require.NoError(t, os.RemoveAll(filepath.Join(folder, "station/reference/build")))
	for _, command := range []string{"init -q", "add .", "-c user.name=builder -c user.email=builder@example.org commit -q -m firmware"} {
		git := exec.Command("git", strings.Fields(command)...)
		git.Dir = folder
		out, err := git.CombinedOutput()
		require.NoError(t, err, "%s", out)
	}
	return folder
}

// examineProject runs the script and returns its exit code and what it says.
func examineProject(t *testing.T, folder, bufferstop, build string, arguments ...string) (int, string) {
	t.Helper()
	script := exec.Command("sh", append([]string{"ci/examine"}, arguments...)...)
	script.Dir = folder
	script.Env = append(os.Environ(), "BUFFERSTOP="+bufferstop, "RIG=station/rig.toml", "IMAGE=station/reference/build/station.elf",
		"BUILD="+build, "SELECT=--requirement OPS-005 --requirement PWR-001 --requirement OVL-001")
	out, err := script.CombinedOutput()
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		return exit.ExitCode(), string(out)
	}
	require.NoError(t, err, "%s", out)
	return 0, string(out)
}

// The script from one end to the other: it builds, examines, keeps the report, and fails on a regression; parts and their report.
func TestTheScriptForTheRepositoryOfAFirmware(t *testing.T) {
	if testing.Short() {
		t.Skip("the script builds bufferstop, and runs it five times: not with -short")
	}
	reference(t) // skips without a compiler
	folder := project(t)
	sources, err := filepath.Abs("../..")
	require.NoError(t, err)
	build := "make -s -C station/reference"

	code, said := examineProject(t, folder, sources, build)
	require.Equal(t, 0, code, "%s", said)
	for _, name := range []string{"report.html", "junit.xml", "summary.md", "record.json"} {
		assert.FileExists(t, filepath.Join(folder, "report", name))
	}
	run, err := record.Load(filepath.Join(folder, "report"))
	require.NoError(t, err)
	assert.Regexp(t, "^[0-9a-f]{40}$", run.Build.SourceRevision)

	// From here on a program, as jobs that share one have it.
	program := filepath.Join(t.TempDir(), "bufferstop")
	out, err := exec.Command("go", "build", "-tags", "simavr", "-o", program, "bufferstop/cmd/bufferstop").CombinedOutput()
	require.NoError(t, err, "%s", out)
	for _, part := range []string{"1/2", "2/2"} {
		code, said = examineProject(t, folder, program, "false", "part", part)
		require.Equal(t, 0, code, "%s", said)
	}
	require.NoError(t, os.RemoveAll(filepath.Join(folder, "report")))
	code, said = examineProject(t, folder, program, "false", "merge")
	require.Equal(t, 0, code, "%s", said)
	merged, err := record.Load(filepath.Join(folder, "report"))
	require.NoError(t, err)
	assert.Len(t, merged.Results, len(run.Results))

	code, said = examineProject(t, folder, program, "make -s -B -C station/reference DEFECT=TRIP_IN_MAIN_LOOP")
	assert.Equal(t, 1, code, "a regression: %s", said)
	assert.Contains(t, said, "OVL-001")
	code, said = examineProject(t, folder, program, "false")
	assert.Equal(t, 1, code, "a firmware that cannot be built: %s", said)
	code, said = examineProject(t, folder, program, build, "parts")
	assert.Equal(t, 2, code, "%s", said)
	assert.Contains(t, said, "usage: ")
}

// The example of a workflow calls the script as it wants to be called.
func TestTheWorkflowKnowsTheScript(t *testing.T) {
	script, err := os.ReadFile("ci/examine")
	require.NoError(t, err)
	workflow, err := os.ReadFile("ci/workflow.yml")
	require.NoError(t, err)
	called := regexp.MustCompile(`run: ci/examine (\w+)`).FindAllStringSubmatch(string(workflow), -1)
	require.Len(t, called, 3)
	for _, c := range called {
		assert.Contains(t, string(script), "\n"+c[1]+")\n")
	}
	for _, variable := range regexp.MustCompile(`(?m)^  ([A-Z]+):`).FindAllStringSubmatch(string(workflow), -1) {
		assert.Contains(t, string(script), "${"+variable[1])
	}
}
