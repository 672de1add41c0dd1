package harness

import (
	"os/exec"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// allowed says, for each part of the house, what of ours it may import. The longest prefix that fits a package decides.
// What is not listed may import nothing of ours.
var allowed = map[string][]string{
	"bufferstop/cmd":                   {"bufferstop/rigs", "bufferstop/suites", "bufferstop/harness"},
	"bufferstop/rigs":                  {"bufferstop/rigs", "bufferstop/fakedecoder", "bufferstop/harness"},
	"bufferstop/suites":                {"bufferstop/suites", "bufferstop/fakedecoder", "bufferstop/harness"},
	"bufferstop/fakedecoder":           {"bufferstop/harness/dcc", "bufferstop/harness/signal"},
	"bufferstop/harness":               {"bufferstop/fakedecoder", "bufferstop/harness"},
	"bufferstop/harness/dcc":           {},
	"bufferstop/harness/verdict":       {},
	"bufferstop/harness/signal":        {"bufferstop/harness/dcc"},
	"bufferstop/harness/current":       {},
	"bufferstop/harness/link":          {},
	"bufferstop/harness/link/linktest": {"bufferstop/harness/link"},
	"bufferstop/harness/probe":         {"bufferstop/harness/probe", "bufferstop/harness/current", "bufferstop/harness/dcc", "bufferstop/harness/link", "bufferstop/harness/signal"},
	"bufferstop/harness/station":       {"bufferstop/harness/dcc", "bufferstop/harness/link", "bufferstop/harness/written"},
	"bufferstop/harness/calibration":   {"bufferstop/harness/link", "bufferstop/harness/station", "bufferstop/harness/uncertainty", "bufferstop/harness/written"},
	"bufferstop/harness/uncertainty":   {},
	"bufferstop/harness/voltage":       {},
	"bufferstop/harness/written":       {},
	"bufferstop/harness/record":        {"bufferstop/harness/uncertainty", "bufferstop/harness/verdict"},
	"bufferstop/harness/report":        {"bufferstop/harness/record", "bufferstop/harness/uncertainty", "bufferstop/harness/verdict"},
}

func TestImportsPointOneWay(t *testing.T) {
	out, err := exec.Command("go", "list", "-f", `{{.ImportPath}} {{join .Imports " "}}`, "bufferstop/...").CombinedOutput()
	require.NoError(t, err, string(out))
	packages := 0
	for line := range strings.Lines(string(out)) {
		fields := strings.Fields(line)
		if len(fields) == 0 {
			continue
		}
		packages++
		may := allowed[longestPrefix(fields[0])]
		for _, imported := range fields[1:] {
			if !strings.HasPrefix(imported, "bufferstop/") {
				continue
			}
			ok := false
			for _, prefix := range may {
				ok = ok || imported == prefix || strings.HasPrefix(imported, prefix+"/")
			}
			assert.True(t, ok, "%s imports %s; it may import only %v", fields[0], imported, may)
		}
	}
	assert.Greater(t, packages, 10, "go list found too few packages: %s", out)
}

func longestPrefix(name string) string {
	best := ""
	for prefix := range allowed {
		if (name == prefix || strings.HasPrefix(name, prefix+"/")) && len(prefix) > len(best) {
			best = prefix
		}
	}
	return best
}
