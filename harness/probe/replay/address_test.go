package replay

import (
	"path/filepath"
	"testing"
	"time"

	"bufferstop/harness/probe"
	"bufferstop/harness/probe/analyser"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestAnAddressIsRead(t *testing.T) {
	us := time.Microsecond
	for text, want := range map[string]Address{
		"file:a b.vcd": {Path: "a b.vcd", OffAfter: 10 * us},
		"file:x.vcd.gz?track=programming&signal=top.D%261&pace=real": {Path: "x.vcd.gz", OffAfter: 10 * us, Pace: 1,
			Tracks: []analyser.Channels{{Track: probe.Programming, Sign: "top.D&1"}}},
		"file:/x.sr?positive=D0&negative=D1&active=low&off=5us&signal=D2&absent=D3&samplerate=8MHz&pace=2.5": {Path: "/x.sr",
			OffAfter: 5 * us, Pace: 2.5, Rate: 8e6, Tracks: []analyser.Channels{
				{Track: probe.Main, Positive: "D0", Negative: "D1", Low: true}, {Track: probe.Programming, Sign: "D2", Absent: "D3"}}},
		"file:x?track=programming": {Path: "x", OffAfter: 10 * us, Tracks: []analyser.Channels{{Track: probe.Programming}}},
	} {
		got, err := ParseAddress(text)
		require.NoError(t, err, text)
		assert.Equal(t, want, got)
		again, err := ParseAddress(got.String())
		require.NoError(t, err)
		assert.Equal(t, want, again)
	}
	a, err := ParseAddress("file:x.vcd")
	require.NoError(t, err)
	assert.Equal(t, filepath.Join("some", "x.vcd"), a.In("some").Path)
	assert.Equal(t, "-", Address{Path: "-"}.In("some").Path)
}

func TestAWrongAddressSaysWhereAndWhatIsWanted(t *testing.T) {
	for text, want := range map[string]string{
		"x.vcd":                               `byte 1: address: got "x.vcd", want file:PATH`,
		"file:":                               `byte 1: address: got "file:", want file:PATH`,
		"file:x?":                             `byte 8: setting: got "", want KEY=VALUE`,
		"file:x?signal=%zz":                   `byte 8: setting: got "signal=%zz"`,
		"file:x?signal=a&rate=1":              `byte 17: key: got "rate", want track`,
		"file:x?signal=a&signal=b&signal=c":   `byte 26: track: got "main", want each track once`,
		"file:x?track=yard":                   `byte 8: track: got "yard", want main or programming`,
		"file:x?track=main&track=programming": `track: got "no signal"`,
		"file:x?signal=a&track=programming":   `track: got "no signal"`,
		"file:x?positive=a":                   `want negative= as well`,
		"file:x?negative=a":                   `negative: got "a", want it behind the signal`,
		"file:x?active=low":                   `active: got "low", want it behind`,
		"file:x?signal=a&absent=b&absent=c":   `a second absent`,
		"file:x?pace=0":                       `pace: got "0", want fast, real or a factor`,
		"file:x?pace=NaN":                     `pace: got "NaN"`,
		"file:x?pace=real&pace=real":          `a second pace`,
		"file:x?off=1h":                       `off: got "1h"`,
		"file:x?samplerate=x":                 `samplerate: got "x"`,
	} {
		_, err := ParseAddress(text)
		var wrong *probe.AddressError
		require.ErrorAs(t, err, &wrong, text)
		assert.ErrorContains(t, err, want, text)
	}
}

func FuzzParseAddress(f *testing.F) {
	f.Add("file:x.vcd?track=main&signal=a&pace=real&off=1us")
	f.Add("file:x?positive=a&negative=b&active=low&track=programming&signal=%41&absent=c&samplerate=24m")
	f.Add("file:x?track=programming")
	f.Fuzz(func(t *testing.T, text string) {
		a, err := ParseAddress(text)
		if err != nil {
			var wrong *probe.AddressError
			require.ErrorAs(t, err, &wrong)
			require.LessOrEqual(t, wrong.At, len(text))
			return
		}
		again, err := ParseAddress(a.String())
		require.NoError(t, err, a.String())
		require.Equal(t, a, again)
	})
}
