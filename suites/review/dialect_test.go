package review_test

import (
	"strings"
	"testing"

	"bufferstop/harness/station"
	"bufferstop/rigs"
	"bufferstop/suites/review"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What a station claims and its dialect cannot say is told at the claim; what a station may lack is not.
func TestAClaimWithoutWordsForItIsToldAtItsLine(t *testing.T) {
	data, err := rigs.Files.ReadFile("words.station.toml")
	require.NoError(t, err)
	text := string(data)
	spoken, err := rigs.Files.ReadFile("words.dialect.toml")
	require.NoError(t, err)
	for name, c := range map[string]struct {
		lost                  string // operations that the dialect lacks, between spaces
		old, new              string // what is changed of the rest, if anything
		what, got, want, hint string // of the only problem; none if what is empty
	}{
		"power":       {lost: "set_power", what: "claims.tracks", got: "needs the operation set_power", want: "[operation.set_power] in the dialect"},
		"speed":       {lost: "set_speed", what: "claims.speed_steps", got: "needs the operation set_speed", want: "or no such claim"},
		"accessories": {lost: "set_accessory", what: "claims.accessories", got: `dialect "words" without it`, want: "[operation.set_accessory]"},
		"consist":     {lost: "clear_consist", what: "claims.consist", got: "clear_consist", want: "[operation.clear_consist]"},
		"spare":       {lost: "release stop stop_all reset power current verify_cv"},
		"no reading":  {lost: "read_cv"},
		"no writing":  {lost: "write_cv"},
		"neither":     {lost: "read_cv write_cv", what: "claims.service_methods", got: "the direct method", want: "[operation.read_cv] or [operation.write_cv]"},
		"no room": {old: "tell {kind} {address} to put {value:3} into", new: "tell {kind} {address} to put {value:2} into",
			what: "claims.programming_on_main", got: `what dialect "words" cannot say, "write main 1 1024 255"`, want: "has words for", hint: "2"},
		"no word": {old: "direct = \" directly\"\n", what: "claims.service_methods", got: "the direct method", want: "can", hint: "direct"},
		"time too short": {old: "send = \"get variable {cv}{method}\"\ntimeout = \"6s\"", new: "send = \"get variable {cv}{method}\"\ntimeout = \"2500ms\"",
			what: "declares.read_time", got: "3s", want: "less than the 2.5s", hint: "cut off"},
	} {
		t.Run(name, func(t *testing.T) {
			dialect := remaining(string(spoken), strings.Fields(c.lost))
			if c.old != c.new {
				require.Equal(t, 1, strings.Count(dialect, c.old))
				dialect = strings.Replace(dialect, c.old, c.new, 1)
			}
			f, err := station.ParseFile("my.station.toml", data, func(string) ([]byte, error) { return []byte(dialect), nil })
			require.NoError(t, err)
			all := problems(review.Station(f))
			if c.what == "" {
				assert.Empty(t, all)
				return
			}
			require.NotEmpty(t, all)
			p := all[0]
			assert.Equal(t, c.what, p.What)
			assert.Contains(t, p.Got, c.got)
			assert.Contains(t, p.Want, c.want)
			assert.Contains(t, p.Hint, c.hint)
			_, key, _ := strings.Cut(c.what, ".")
			assert.True(t, strings.HasPrefix(strings.Split(text, "\n")[p.Line-1], key), "line %d", p.Line)
		})
	}
}

// remaining is the dialect without operations and without its examples, which may need them.
func remaining(dialect string, lost []string) string {
	var kept strings.Builder
	for _, table := range strings.SplitAfter(dialect, "\n[") {
		left := strings.HasPrefix(table, "[example]]")
		for _, o := range lost {
			left = left || strings.HasPrefix(table, "operation."+o+"]") || strings.HasPrefix(table, "[operation."+o+".")
		}
		if !left {
			kept.WriteString(table)
		}
	}
	return strings.TrimSuffix(kept.String(), "\n[")
}
