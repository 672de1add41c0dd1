package catalogue

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"bufferstop/harness/verdict"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// bound are the ids of all facts in our list of the standards that bind a command station or its output, typed a second time so
// that no row of rows.toml can vanish.
var bound = strings.Fields(`
	E1 E2 E3 E6 E7 E8 E10 E12 E13 E14 E16 E18 E19 E20 E23 E24 E25 E26 E27 E28 E29 E31 E32 E33
	B1 B2 B4 B5 B6 B7 B8 B9 B10 B11 B12 B13 B14 B16 B17 B19 B20 B21 B22 B23 B25 B26 B27 B29
	X1 X2 X3 X4 X5 X7 X8 X9 X11 X12 X13 X14 X15 X16 X17 X18 X19 X20 X21 X22 X23 X24 X25 X26 X27 X29
	X30 X31 X32 X33 X34 X35 X36 X37 X38 X40 X43 X41 X42
	S1 S2 S3 S5 S9 S10 S13 S14 S16 S17 S18 S19 S20 S21 S22 S23 S24 S25 S26 S27 S28 S29 S30 S31 S33
	F1 F2 F7 F8
	R1 R5 R7 R8 R9 R12 R13 R14 R19
	O1 O2 O3 O5 O6`)

func TestNoDutyOfAStationIsForgotten(t *testing.T) {
	var ids []string
	for _, r := range Rows() {
		ids = append(ids, r.ID)
	}
	assert.Equal(t, bound, ids)
}

// TestEveryDutyIsCheckedOrExplained also holds requirements against how well the facts behind them are known: what nobody has read
// makes no MUST.
func TestEveryDutyIsCheckedOrExplained(t *testing.T) {
	known := []Evidence{Text, Transcription, Derived}
	for _, row := range Rows() {
		assert.NotEqual(t, len(row.Requirements) > 0, row.Explained != "", row.ID)
		for _, id := range row.Requirements {
			r, there := Find(id)
			if !assert.True(t, there, "%s is checked by %s, which is no requirement", row.ID, id) {
				continue
			}
			backed := slices.ContainsFunc(RowsOf(id), func(other string) bool {
				i := slices.IndexFunc(rows, func(r Row) bool { return r.ID == other })
				return slices.Contains(known, rows[i].Evidence)
			})
			if r.Level == verdict.Must && r.Evidence != Declared && r.Evidence != CommonPractice {
				assert.True(t, backed, "%s is a MUST, and all that is behind it is from memory or second-hand", id)
			}
		}
	}
}

// What a standard is the source of stands in the list of its duties.
func TestEveryRequirementOfAStandardChecksADuty(t *testing.T) {
	for _, r := range All() {
		if r.Evidence == Declared || r.Evidence == CommonPractice {
			continue
		}
		assert.NotEmpty(t, RowsOf(r.ID), "%s has a standard as its source (%s), and no row of rows.toml names it", r.ID, r.Source)
		if r.Evidence == Memory {
			assert.Equal(t, verdict.Should, r.Level, "%s is from memory", r.ID)
		}
	}
}

// TestTheRowsAreThoseOfTheListOfStandards reads the list itself, where it lies beside the project.
func TestTheRowsAreThoseOfTheListOfStandards(t *testing.T) {
	data, err := os.ReadFile(filepath.Join("..", "..", "..", "shared", "standards.md"))
	if err != nil {
		t.Skip("the list of the standards is not beside the project: ", err)
	}
	row, side := regexp.MustCompile(`^\| ([EBXCSFRO]\d+) \|`), regexp.MustCompile(`\b(CS|PS|all)\b`)
	binds := 0
	var ids []string
	for _, line := range strings.Split(string(data), "\n") {
		cells := strings.Split(strings.Trim(line, "| "), " | ")
		if strings.HasPrefix(line, "| id |") {
			binds = slices.Index(cells, "binds")
		}
		// A table without that column, as that of the CVs, is about decoders alone.
		if binds < 0 || !row.MatchString(line) || !side.MatchString(cells[binds]) {
			continue
		}
		ids = append(ids, cells[0])
		i := slices.IndexFunc(rows, func(r Row) bool { return r.ID == cells[0] })
		if !assert.GreaterOrEqual(t, i, 0, "%s is not in rows.toml", cells[0]) {
			continue
		}
		assert.Equal(t, cells[binds], rows[i].Binds, cells[0])
		word := map[Evidence]string{Text: "SEEN", Transcription: "SEEN-T|ABSENT", Derived: "DERIVED", Secondary: "SECONDARY",
			Memory: "MEMORY", NotSeen: "NOT SEEN|not remember|ABSENT"}[rows[i].Evidence]
		require.NotEmpty(t, word, cells[0])
		assert.Regexp(t, word, cells[len(cells)-1], "%s: how well it is known", cells[0])
	}
	assert.Equal(t, bound, ids)
}

func TestAFaultyRowSaysWhatIsWrong(t *testing.T) {
	good := "[[row]]\nid = \"E2\"\nbinds = \"CS\"\nfact = \"f\"\nsource = \"s\"\nevidence = \"text\"\n"
	_, err := parseRows("rows.toml", []byte(good+`requirements = ["SIG-001"]`))
	require.NoError(t, err)
	_, err = parseRows("rows.toml", []byte(good+"explained = \"e\"\ninstrument = \"none\""))
	require.NoError(t, err)
	for text, want := range map[string]string{
		good: "neither requirements nor explained",
		good + "requirements = [\"SIG-001\"]\nexplained = \"e\"\ninstrument = \"i\"": "requirements and explained",
		good + "explained = \"e\"":                                                      "without an instrument",
		strings.Replace(good, "E2", "Q2", 1):                                            "wanted a letter",
		strings.Replace(good, `"f"`, `""`, 1):                                           "binds, fact and source",
		strings.Replace(good, `"text"`, `"hearsay"`, 1):                                 "hearsay",
		good + "requirements = [\"SIG-001\"]\n" + good + "requirements = [\"SIG-001\"]": "stands twice",
		good + "colour = 1":                                                             "colour",
	} {
		_, err := parseRows("rows.toml", []byte(text))
		assert.ErrorContains(t, err, want)
	}
}
