package main

import (
	"bytes"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"bufferstop/harness"
	"bufferstop/harness/verdict"
	"bufferstop/suites/rigcheck"
)

// hostileText is what a station may say of itself.
const hostileText = "\x1b[2J<b>\r\n\x00\u202e"

func page(t *testing.T, r *rigcheck.Report, s screen) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, printRigReport(&b, r, s))
	return b.String()
}

func TestThePageOfARigFitsIntoEightyColumnsAndHarmsNoTerminal(t *testing.T) {
	r := &rigcheck.Report{
		Rig:         rigcheck.Rig{Name: hostileText, Kind: "bench"},
		Station:     rigcheck.Station{Name: hostileText, Dialect: hostileText},
		Identity:    &rigcheck.Said{Maker: hostileText, Model: hostileText, Version: hostileText, Text: hostileText},
		Before:      rigcheck.Stretch{Bytes: 99, Start: hostileText},
		RoundTrip:   rigcheck.RoundTrip{Question: "identify", Asked: 100, Answered: 97, Median: 4106 * time.Microsecond, P95: 20 * time.Millisecond, Max: 2 * time.Second, Shortened: true},
		LineEnds:    rigcheck.LineEnds{LF: 3, CRLF: 2, CR: 1},
		Unsolicited: rigcheck.Unsolicited{Lines: 1, First: hostileText, Over: time.Second},
		Tracks: []rigcheck.Track{
			{Name: "main", Claimed: true, Reached: true, Can: []harness.Ability{harness.SeeEdges}, Checks: 36, NotFitted: 20, NotClaimed: 1},
			{Name: "programming", Claimed: true, Checks: 26, NotFitted: 26},
		},
		Findings: []rigcheck.Finding{
			{Severity: rigcheck.Fault, What: "3 of 100 questions were not answered: " + hostileText, Hint: "try another cable, port or baud rate, until no question remains without an answer"},
			{Severity: rigcheck.Remark, What: "something"},
		},
	}
	text := page(t, r, screen{width: 200})
	for line := range strings.Lines(text) {
		assert.LessOrEqual(t, utf8.RuneCountInString(strings.TrimSuffix(line, "\n")), 80, line)
		assert.Equal(t, strings.TrimRight(line, " \n"), strings.TrimSuffix(line, "\n"), "no line ends in spaces")
	}
	for _, evil := range []string{"\x1b", "\r", "\x00", "\u202e"} {
		assert.NotContains(t, text, evil)
	}
	assert.Contains(t, text, "identify 100 times (all that the time allowed), answered 97: median")
	assert.Contains(t, text, "line ends   LF (3), CRLF (2), CR (1)\n")
	assert.Regexp(t, `(?m)^    can be checked +15 +0$`, text)
	assert.Regexp(t, `(?m)^  the rig sees the signal +yes +no$`, text)
	assert.True(t, strings.HasSuffix(text, "\nthe rig is not ready: it has a fault\n"))
	assert.Contains(t, page(t, r, screen{width: 80, colour: true}), "\x1b[31mfault")
}

func TestTheLastLineOfThePageAndTheExitCodeGoByTheWorstFinding(t *testing.T) {
	for severity, want := range map[rigcheck.Severity]struct {
		code int
		line string
	}{
		"":                     {verdict.ExitConforms, "the rig is ready\n"},
		rigcheck.Remark:        {verdict.ExitConforms, "the rig is ready, with 1 remark\n"},
		rigcheck.Configuration: {verdict.ExitUsage, "the rig is not ready: its files do not fit the station\n"},
		rigcheck.Fault:         {verdict.ExitFault, "the rig is not ready: it has a fault\n"},
	} {
		r := &rigcheck.Report{}
		if severity != "" {
			r.Findings = []rigcheck.Finding{{Severity: severity, What: "x", Hint: "y"}}
		}
		assert.True(t, strings.HasSuffix(page(t, r, screen{width: 80}), want.line), severity)
		assert.Equal(t, want.code, rigExitCode(r.Worst()), severity)
	}
}
