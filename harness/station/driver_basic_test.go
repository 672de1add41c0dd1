package station_test

import (
	"testing"

	"bufferstop/harness/station"
)

// basic is a dialect with a query that brings into step, and whatever more is wanted of it.
func basic(t testing.TB, more string) *station.Dialect {
	t.Helper()
	return parsed(t, `
name = "plain"
[time]
answer = "500ms"
busy_pause = "30ms"
quiet = "50ms"
[resynchronise]
send = "there?"
pattern = "here"
timeout = "3s"
[[answers.common]]
means = "done"
pattern = "ok"
[[answers.common]]
means = "refused"
pattern = "no (?P<code>[0-9]+)"
[[answers.common]]
means = "no acknowledge"
pattern = "nobody"
[operation.identify]
send = "who"
[[operation.identify.answer]]
means = "value"
pattern = "(?P<maker>[a-z]+) (?P<version>[0-9.]+)"
[operation.reset]
send = "anew"
[operation.stop_all]
send = "halt"
[operation.read_cv]
send = "cv {cv}"
fixed = { method = "paged" }
[[operation.read_cv.answer]]
means = "value"
pattern = "(?P<value>[0-9]+)"
`+more)
}

// speaking returns a station that answers what brings it into step, who it is, and a halt.
func speaking(t *testing.T) *scripted {
	s := answering(t)
	s.to("there?", at(0, "here"))
	s.to("who", at(0, "mine 1.0"))
	s.to("halt", at(0, "ok"))
	return s
}
