package catalogue

import (
	"testing"
	"testing/fstest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestEveryRequirementIsFoundByItsID(t *testing.T) {
	require.NotEmpty(t, All())
	for _, r := range All() {
		found, ok := Find(r.ID)
		require.True(t, ok)
		assert.Equal(t, r, found)
		assert.NotEmpty(t, r.Limits, "%s measures nothing", r.ID)
	}
}

func TestALimitHasTheSourceOfItsRequirementUnlessItNamesItsOwn(t *testing.T) {
	r, _ := Find("SIG-001")
	l, ok := r.Limit("one half-bit")
	require.True(t, ok)
	assert.Equal(t, r.Source, l.Source)
	_, ok = r.Limit("no such quantity")
	assert.False(t, ok)
}

func TestValueReadsDurationsCurrentsVoltagesSlewsAndCounts(t *testing.T) {
	for text, want := range map[string]float64{"55us": 55000, "30ms": 30e6, "50mA": 50, "14": 14, "0": 0, "8.5V": 8500, "2V": 2000,
		"250mV": 250, "2.4V/us": 2.4, "300%": 300} {
		got, err := Value(text)
		require.NoError(t, err)
		assert.Equal(t, want, got, text)
	}
	for _, text := range []string{"many", "V", "fastV/us", "3 V", "mA"} {
		_, err := Value(text)
		assert.ErrorContains(t, err, "wanted a duration", text)
	}
}

func TestAFaultyCatalogueSaysWhereAndWhat(t *testing.T) {
	good := `
[[requirement]]
id = "SIG-001"
title = "t"
level = "MUST"
sentence = "s"
source = "x"
evidence = "text"
tracks = ["main"]
`
	load := func(text string) error {
		files := fstest.MapFS{}
		for _, suite := range suites {
			for _, topic := range suite.topics {
				files[suite.name+"/"+topic+".toml"] = &fstest.MapFile{}
			}
		}
		files["conformance/signal.toml"].Data = []byte(text)
		_, _, err := Load(files)
		return err
	}
	require.NoError(t, load(good))
	assert.ErrorContains(t, load(good+`implies = ["SIG-002"]`), `implies "SIG-002"`)
	assert.ErrorContains(t, load(good+`implies = ["SIG-001"]`), "no other requirement")
	assert.ErrorContains(t, load(good+"colour = 3\n"), "colour")
	assert.ErrorContains(t, load(good+good), "stands twice")
	assert.ErrorContains(t, load(good+`limit = [{ quantity = "q", max = "lots" }]`), `"lots"`)
	assert.ErrorContains(t, load(good+`limit = [{ quantity = "q" }]`), "no bound")
	assert.ErrorContains(t, load(good+`takes = "long"`), `takes "long"`)
	assert.ErrorContains(t, load(good+`takes = "-1s"`), "wanted a duration")
	exercise := "[[exercise]]\nname = \"e\"\ntakes = \"2s\"\n"
	require.NoError(t, load(good+"exercises = [\"e\"]\n"+exercise))
	assert.ErrorContains(t, load(good+`exercises = ["f"]`), `exercise "f" has no`)
	assert.ErrorContains(t, load(exercise+exercise), `exercise "e" stands twice`)
	assert.ErrorContains(t, load("[[exercise]]\nname = \"e\""), "wanted a name and a duration")
	assert.ErrorContains(t, load("[[requirement]]\nid = 3"), "line 2")
}

func TestTheTimeOfARequirementIsWhatItsTableSays(t *testing.T) {
	assert.Equal(t, Usual, Requirement{}.Time())
	assert.Equal(t, time.Minute, Requirement{Takes: "1m"}.Time())
	assert.Zero(t, Requirement{Exercises: []string{"e"}}.Time(), "the exercise is all")
	assert.Equal(t, time.Second, Requirement{Exercises: []string{"e"}, Takes: "1s"}.Time())
	e, known := FindExercise("traffic on the main track")
	require.True(t, known)
	assert.Positive(t, e.Time())
	_, known = FindExercise("no such exercise")
	assert.False(t, known)
}
