package analyser

import (
	"testing"
	"time"

	"bufferstop/harness/probe"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestAnAddressIsRead(t *testing.T) {
	for text, want := range map[string]Address{
		"sigrok:driver=demo,channel=D0": {Driver: "demo", Rate: 8e6, OffAfter: 10 * time.Microsecond,
			Tracks: []Channels{{Track: probe.Main, Sign: "D0"}}},
		"sigrok:driver=demo,channel=D0,channel=D1,samplerate=24m": {Driver: "demo", Rate: 24e6, OffAfter: 10 * time.Microsecond,
			Tracks: []Channels{{Track: probe.Main, Sign: "D0"}, {Track: probe.Programming, Sign: "D1"}}},
		"sigrok:driver=x,conn=/dev/tty1,serialcomm=9600/8n1,samplerate=1.5MHz,threshold=1.4-1.4,off=20us,ppm=-2.5,set=filter=on," +
			"track=programming,positive=D4,negative=D5,active=low,channel=A,absent=B": {Driver: "x", Conn: "/dev/tty1",
			SerialComm: "9600/8n1", Rate: 1.5e6, Threshold: "1.4-1.4", OffAfter: 20 * time.Microsecond, PPM: -2.5,
			Settings: []Setting{{"filter", "on"}}, Tracks: []Channels{
				{Track: probe.Programming, Positive: "D4", Negative: "D5", Low: true}, {Track: probe.Main, Sign: "A", Absent: "B"}}},
	} {
		got, err := ParseAddress(text)
		require.NoError(t, err, text)
		assert.Equal(t, want, got)
		again, err := ParseAddress(got.String())
		require.NoError(t, err, got.String())
		assert.Equal(t, want, again)
	}
}

func TestAWrongAddressSaysWhereAndWhatIsWanted(t *testing.T) {
	for text, want := range map[string]string{
		"serial:x":             `byte 1: address: got "serial:x", want sigrok:driver=NAME`,
		"sigrok:":              `byte 8: setting: got "", want KEY=VALUE`,
		"sigrok:driver=demo":   `byte 19: channels: got "", want channel=NAME`,
		"sigrok:channel=D0":    `byte 18: driver: got "", want driver=NAME`,
		"sigrok:driver=demo,D": `byte 20: setting: got "D", want KEY=VALUE`,
		"sigrok:driver=demo,rate=1MHz,channel=D0":                   `byte 20: key: got "rate", want driver, conn`,
		"sigrok:driver=a,driver=b,channel=D0":                       `byte 17: a second driver: got "b", want one`,
		"sigrok:driver=demo,samplerate=fast,channel=D0":             `byte 20: samplerate: got "fast", want 1Hz to 1GHz`,
		"sigrok:driver=demo,samplerate=2GHz,channel=D0":             `samplerate: got "2GHz"`,
		"sigrok:driver=demo,samplerate=0,channel=D0":                `samplerate: got "0"`,
		"sigrok:driver=demo,channel=D0,channel=D0":                  `a channel that is used once`,
		"sigrok:driver=demo,channel=a,channel=b,channel=c":          `a second track main`,
		"sigrok:driver=demo,track=yard,channel=a":                   `byte 20: track: got "yard", want main or programming`,
		"sigrok:driver=demo,track=main":                             `channels: got ""`,
		"sigrok:driver=demo,track=main,track=programming,channel=a": `track main: got "no channel"`,
		"sigrok:driver=demo,positive=a":                             `track main: got "positive=a", want negative= as well`,
		"sigrok:driver=demo,negative=a":                             `byte 20: negative: got "a", want it behind the channel`,
		"sigrok:driver=demo,channel=a,negative=b":                   `negative: got "b", want it behind`,
		"sigrok:driver=demo,positive=a,absent=b":                    `absent: got "b", want it behind`,
		"sigrok:driver=demo,channel=a,absent=b,absent=c":            `a second absent of the track`,
		"sigrok:driver=demo,active=low,channel=a":                   `active: got "low", want it behind`,
		"sigrok:driver=demo,channel=a,active=maybe":                 `active: got "maybe", want low or high`,
		"sigrok:driver=demo,channel=a,ppm=NaN":                      `ppm: got "NaN", want -10000 to 10000`,
		"sigrok:driver=demo,channel=a,ppm=2e4":                      `ppm: got "2e4"`,
		"sigrok:driver=demo,channel=a,off=1s":                       `off: got "1s", want a duration of 0s to 1ms`,
		"sigrok:driver=demo,channel=a,conn=b:c":                     `setting: got "conn=b:c", want KEY=VALUE, the value printable and without a colon`,
		"sigrok:driver=demo,channel=a,set=x":                        `set: got "x", want KEY=VALUE`,
		"sigrok:driver=demo,channel=a,set=limit_time=5":             `set: got "limit_time", want another setting`,
		"sigrok:driver=-o,channel=a":                                `driver: got "-o", want the name of a driver`,
		"sigrok:driver=demo,channel=a=b":                            `channel: got "a=b", want the name of a channel`,
		"sigrok:driver=\x1b[2J,channel=a":                           `got "driver=\x1b[2J"`,
	} {
		_, err := ParseAddress(text)
		var wrong *probe.AddressError
		require.ErrorAs(t, err, &wrong, text)
		assert.ErrorContains(t, err, want, text)
	}
}

func FuzzParseAddress(f *testing.F) {
	f.Add("sigrok:driver=demo,channel=D0,samplerate=8MHz")
	f.Add("sigrok:driver=x,conn=y,serialcomm=z,track=programming,positive=a,negative=b,active=low,off=1us,set=k=v,threshold=t")
	f.Add("sigrok:driver=demo,track=main,channel=D0,absent=D1,channel=D2")
	f.Fuzz(func(t *testing.T, text string) {
		a, err := ParseAddress(text)
		if err != nil {
			var wrong *probe.AddressError
			require.ErrorAs(t, err, &wrong)
			require.GreaterOrEqual(t, wrong.At, 0)
			require.LessOrEqual(t, wrong.At, len(text))
			return
		}
		again, err := ParseAddress(a.String())
		require.NoError(t, err, a.String())
		require.Equal(t, a, again)
		for _, argument := range a.arguments(a.channels()) {
			require.NotEmpty(t, argument)
		}
	})
}
