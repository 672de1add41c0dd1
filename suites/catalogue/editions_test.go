package catalogue

import (
	"strings"
	"testing"

	"bufferstop/harness/verdict"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestTheEditionIsTheClaimedOneOrTheNewest(t *testing.T) {
	for topic, newest := range map[string]string{
		"first bytes": "S-9.2.1.1 (draft 2021)", "aspects": "RCN-213 (2015)", "functions": "RCN-212", "slew": "S-9.1 (2020)",
		"amplitude": "S-9.1 (2020)", "halves of a one": "S-9.1 (2020)", "packet length": "S-9.2.1.1 (draft 2021)",
		"after a reset": "both", "same address": "NEM 671 (2014)",
	} {
		assert.Equal(t, newest, Edition(topic, nil), topic)
		for _, other := range []string{"slew", "aspects"} {
			if other != topic {
				assert.Equal(t, newest, Edition(topic, map[string]string{other: "anything"}), topic)
			}
		}
	}
	assert.Equal(t, "S-9.1 (2004)", Edition("slew", map[string]string{"slew": "S-9.1 (2004)"}))
	assert.Panics(t, func() { Edition("colour", nil) })
	assert.Panics(t, func() { Edition("slew", map[string]string{"slew": "S-9.1 (1894)"}) })
}

// Every topic rests on rows: on those of rows.toml, or, of decoders, on others of the list.
func TestTheRowsOfTopicsAreThere(t *testing.T) {
	for _, topic := range Topics() {
		for _, row := range topic.Rows {
			found := false
			for _, r := range rows {
				found = found || r.ID == row
			}
			assert.True(t, found || topic.Decoder, "%s: no row %s", topic.Name, row)
		}
	}
}

func TestALimitIsThatOfTheEdition(t *testing.T) {
	r := Requirement{Source: "s", Limits: []Limit{
		{Quantity: "q", Min: "2", Topic: "slew", Edition: "S-9.1 (2004)"},
		{Quantity: "q", Min: "3", Topic: "slew", Edition: "S-9.1 (2020)"},
		{Quantity: "only now", Min: "4", Topic: "slew", Edition: "S-9.1 (2020)"},
	}, Editions: []string{"functions"}}
	old := map[string]string{"slew": "S-9.1 (2004)"}
	l, ok := r.Limit("q")
	require.True(t, ok)
	assert.Equal(t, "3", l.Min)
	assert.Equal(t, "s", l.Source)
	l, _ = r.LimitBy("q", old)
	assert.Equal(t, "2", l.Min)
	_, ok = r.LimitBy("only now", old)
	assert.False(t, ok)
	assert.True(t, r.Binds(old), "it has a limit on q")
	assert.Equal(t, []string{"slew", "functions"}, r.Topics())
	assert.Equal(t, []string{"slew: S-9.1 (2004)", "functions: RCN-212"}, r.EditionsBy(old))

	halves, _ := Find("SIG-002")
	assert.True(t, halves.Binds(nil))
	assert.False(t, halves.Binds(map[string]string{"halves of a one": "S-9.1 (2006)"}), "that edition has no figure")
}

func TestAFaultyTopicSaysWhatIsWrong(t *testing.T) {
	edition := "[[topic.edition]]\nname = \"old\"\nsource = \"s\"\nevidence = \"text\"\nfollows = \"f\"\n"
	newer := strings.Replace(edition, "old", "new", 1)
	head := "[[topic]]\nname = \"t\"\nabout = \"a\"\nrows = [\"E2\"]\n"
	good := head + edition + newer + "default = true\n"
	_, err := parseTopics("editions.toml", []byte(good))
	require.NoError(t, err)
	for text, want := range map[string]string{
		head + edition + "default = true\n":             "1 editions: wanted two",
		head + edition + newer:                          "0 editions are the default",
		head + edition + edition + "default = true\n":   "stands twice",
		strings.Replace(good, `about = "a"`, "", 1):     "name, about and rows",
		strings.Replace(good, `follows = "f"`, "", 1):   "without name, source or follows",
		strings.Replace(good, `"text"`, `"hearsay"`, 1): "hearsay",
		good + good:           "stands twice",
		good + "colour = 1\n": "colour",
	} {
		_, err := parseTopics("editions.toml", []byte(text))
		assert.ErrorContains(t, err, want)
	}
	for _, l := range []Limit{
		{Quantity: "q", Min: "1", Topic: "slew"},
		{Quantity: "q", Min: "1", Topic: "colour", Edition: "x"},
		{Quantity: "q", Min: "1", Topic: "CV 28", Edition: "RCN-217"},
		{Quantity: "q", Min: "1", Topic: "slew", Edition: "S-9.1 (1894)"},
	} {
		assert.Error(t, l.checkEdition(), "%v", l)
	}
}

func TestAFaultyFeatureSaysWhatIsWrong(t *testing.T) {
	good := "[[feature]]\nname = \"n\"\nwhen = \"w\"\nduty = \"d\"\nsource = \"s\"\nevidence = \"text\"\nrows = [\"E2\"]\nclaim = \"c\"\n"
	_, err := parseFeatures("features.toml", []byte(good))
	require.NoError(t, err)
	for text, want := range map[string]string{
		good + good: "stands twice",
		strings.Replace(good, `"text"`, `"hearsay"`, 1): "hearsay",
		strings.Replace(good, `claim = "c"`, "", 1):     "must be given",
		good + "colour = 1\n":                           "colour",
	} {
		_, err := parseFeatures("features.toml", []byte(text))
		assert.ErrorContains(t, err, want)
	}
}

// A quantity is bounded by the same edition in every requirement: a station that keeps to an older text is not failed by a newer one
// under load or while it is busy.
func TestAQuantityHasItsEditionsInEveryRequirement(t *testing.T) {
	topics := map[string]string{}
	for _, r := range All() {
		for _, l := range r.Limits {
			topics[l.Quantity] = max(topics[l.Quantity], l.Topic)
		}
	}
	assert.Equal(t, "halves of a one", topics["difference of the halves of a one"])
	for _, r := range All() {
		for _, l := range r.Limits {
			assert.Equal(t, topics[l.Quantity], l.Topic, "%s: %s", r.ID, l.Quantity)
		}
	}
	loaded, _ := Find("SIG-019")
	old := map[string]string{"halves of a one": "S-9.1 (2006)"}
	assert.True(t, loaded.Unlimited("difference of the halves of a one", old))
	assert.False(t, loaded.Unlimited("difference of the halves of a one", nil))
	assert.False(t, loaded.Unlimited("one half-bit", old))
	assert.False(t, loaded.Unlimited("no such quantity", old))
}

func TestWhatIsKnownFromMemoryIsNoMust(t *testing.T) {
	for _, r := range All() {
		for _, l := range r.Limits {
			claims := map[string]string{}
			if l.Topic != "" {
				claims[l.Topic] = l.Edition
			}
			if r.Evidence == Memory || l.Evidence() == Memory {
				assert.Equal(t, verdict.Should, r.LevelBy(claims), "%s: %s by %s", r.ID, l.Quantity, l.Edition)
			}
		}
		assert.Equal(t, r.Level, r.LevelBy(nil), "the default of every topic was read: %s", r.ID)
	}
}
