package station_test

import (
	"strings"
	"testing"

	"bufferstop/rigs"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestShippedDialectsHaveNoRemarks(t *testing.T) {
	for name, d := range shippedDialects(t) {
		var remarks []string
		for _, r := range d.Review() {
			remarks = append(remarks, r.String())
		}
		if name == "reference.dialect.toml" {
			// Instruments say nothing by themselves.
			assert.Equal(t, []string{"reference.dialect.toml: no event with restart = true: a station that restarts by itself only seems to be silent"}, remarks)
			continue
		}
		assert.Empty(t, remarks, name)
	}
}

func TestUnwiseDialectsAreRemarkedOn(t *testing.T) {
	data, err := rigs.Files.ReadFile("new.dialect.toml")
	require.NoError(t, err)
	wise := string(data)
	for _, c := range []struct{ name, old, new, want string }{
		{"no question", "[resynchronise]\nsend = \"hello\"\npattern = \"hello\"\ntimeout = \"6s\"\nsay = \"hello\"", "", "no [resynchronise]"},
		{"question with the answer of an operation", "pattern = \"hello\"\ntimeout", "pattern = \".*\"\ntimeout", "also is an answer to"},
		{"short question", "timeout = \"6s\"\nsay = \"hello\"", "timeout = \"1s\"\nsay = \"hello\"", "1s is shorter than the 6s that the answer to read_cv may take"},
		{"keep-alive that is due too soon", "[[event]]", "[keep_alive]\nevery = \"2s\"\ntimeout = \"3s\"\nsend = \"hey\"\npattern = \"hey\"\nsay = \"hey\"\n[[event]]", "2s is shorter than the 6s"},
		{"keep-alive that lasts", "[[event]]", "[keep_alive]\nevery = \"2s\"\ntimeout = \"3s\"\nsend = \"hey\"\npattern = \"hey\"\nsay = \"hey\"\n[[event]]", "3s is no shorter than the 2s"},
		{"pattern that hides another", "pattern = \"ok\"\nsay = \"ok\"", "pattern = \"[a-z ]*\"\nsay = \"ok\"", "it is never reached"},
		{"pattern that hides some", "pattern = \"ok\"\nsay = \"ok\"", "pattern = \"ok|value .\"\nsay = \"ok\"", ""},
		{"pattern that takes some", "pattern = \"ok\"\nsay", "pattern = \"ok|error 7 .*\"\nsay", "some of what means \"refused\""},
		{"pattern of everything", "pattern = \"ok\"\nsay = \"ok\"", "pattern = \".*\"\nsay = \"ok\"", "it matches everything"},
		{"event that is an answer", "pattern = \"ready\"\nsay = \"ready\"", "pattern = \"ok\"\nsay = \"ok\"", "is taken for an answer that means \"done\""},
		{"event that is another", "[[event]]", "[[event]]\nname = \"any\"\npattern = \"rea.*\"\n[[event]]", "is the event \"any\""},
		{"no restart", "restart = true\npattern", "pattern", "no event with restart = true"},
		{"no refusal", "means = \"refused\"", "means = \"busy\"", "no answer that means \"refused\""},
		{"words for nothing", "[words.state]", "[words.kind]\nshort = \"s\"\nlong = \"l\"\n[words.state]", "no template or answer uses these words"},
		{"field for nothing", "[[event]]", "[fields.f]\nvalue = \"cv\"\n[[event]]", "no template uses this field"},
		{"list for nothing", "[[event]]", "[[answers.spare]]\nmeans = \"done\"\npattern = \"x\"\n[[event]]", "no operation uses this list"},
		{"no example", "operation = \"reset\"\nsend = \"reset\"", "operation = \"reset\"", "no [[example]] of reset with send"},
		{"no example of an event", "means = \"event started\"", "means = \"event\"", "no [[example]] that means \"event started\""},
		{"no simulated station", "say = \"current {value}\"", "", "no simulated station can speak it: got no answer that means \"value\" with a say"},
		{"silence and events", "tolerant = true ", "answer_gap = \"20ms\" ", "a silence ends an answer, and there are events"},
	} {
		t.Run(c.name, func(t *testing.T) {
			require.Equal(t, 1, strings.Count(wise, c.old))
			d := parsed(t, strings.Replace(wise, c.old, c.new, 1))
			var all []string
			line := 0
			for _, r := range d.Review() {
				all = append(all, r.String())
				assert.True(t, r.Line == 0 || r.Line >= line, "in the order of the file")
				line = r.Line
			}
			if c.want == "" {
				assert.Empty(t, all)
				return
			}
			assert.Contains(t, strings.Join(all, "\n"), c.want)
			assert.Less(t, len(all), 7, "no flood: %q", all)
		})
	}
	unchecked := "name = \"x\"\n[frame]\nstart = \"A5\"\nlength = \"1\"\n[operation.stop_all]\nsend = \"10\"\n[[answers.common]]\nmeans = \"done\"\npattern = \"80\"\n"
	var all []string
	for _, r := range parsed(t, unchecked).Review() {
		all = append(all, r.What)
	}
	assert.Contains(t, strings.Join(all, "\n"), "frames without a checksum")
}
