package link_test

import (
	"errors"
	"strings"
	"testing"
	"time"
	"unicode"

	"bufferstop/harness/link"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestAddressNamesDeviceAndSettings(t *testing.T) {
	address, err := link.ParseAddress("serial:/dev/ttyX0?baud=19200&parity=even&stop=2&dtr=off&rts=hold&settle=2s&await=go%2B&limit=3s")
	require.NoError(t, err)
	got := *address.Serial
	require.NotNil(t, got.Await)
	assert.Equal(t, "go+", got.Await.String())
	got.Await = nil
	assert.Equal(t, link.SerialConfig{Device: "/dev/ttyX0", Baud: 19200, Parity: link.ParityEven, StopBits: 2,
		DTR: link.LineRelease, RTS: link.LineHold, Settle: 2 * time.Second, AwaitLimit: 3 * time.Second}, got)

	address, err = link.ParseAddress("serial:COM3")
	require.NoError(t, err)
	assert.Equal(t, link.Address{Serial: &link.SerialConfig{Device: "COM3"}}, address)

	for _, where := range []string{"host:1", "192.0.2.7:65535", "[::1]:2560"} {
		address, err = link.ParseAddress("tcp://" + where)
		require.NoError(t, err)
		assert.Equal(t, link.Address{TCP: where}, address)
	}
}

func TestAddressErrorsSayWhatWasGotAndWanted(t *testing.T) {
	for text, want := range map[string]string{
		"":                            `address: got "", want serial: or tcp://`,
		"/dev/ttyX":                   `address: got "/dev/ttyX", want serial: or tcp://`,
		"serial:":                     `serial device: got "", want its path or name`,
		"serial://dev/x":              `serial device: got "//dev/x"`,
		"serial:x?baud=fast":          `baud: got "fast", want 1 to 10000000`,
		"serial:x?baud=-1":            `baud: got "-1"`,
		"serial:x?parity=mark":        `parity: got "mark", want none, even, odd`,
		"serial:x?stop=3":             `stop: got "3", want 1, 2`,
		"serial:x?dtr=yes":            `dtr: got "yes", want on, off, hold`,
		"serial:x?settle=2":           `settle: got "2", want a duration from 0s to 5m (such as 500ms or 2s)`,
		"serial:x?settle=1h":          `settle: got "1h"`,
		"serial:x?await=(":            `await: got "(", want a regular expression`,
		"serial:x?bits=8":             `serial setting: got "bits", want baud,`,
		"serial:x?baud=1&baud=2":      `serial setting "baud": got "1, 2", want one value`,
		"serial:x?await=%zz":          `serial settings: got "await=%zz"`,
		"tcp:host:1":                  `want tcp://host:port`,
		"tcp://host":                  `want tcp://host:port`,
		"tcp://:1":                    `want tcp://host:port`,
		"tcp://host:0":                `got "0", want 1 to 65535`,
		"tcp://host:name":             `got "name", want 1 to 65535`,
		"tcp://\x1b[2J:1/":            `\x1b`,
		"serial:x?\x1b[2J\u202e=1":    `got "\x1b[2J\u202e"`,
		"serial:x?baud=1&BAUD=115200": `serial setting: got "BAUD"`,
	} {
		_, err := link.ParseAddress(text)
		var wrong *link.AddressError
		require.ErrorAs(t, err, &wrong, text)
		assert.ErrorContains(t, err, want)
	}
}

func TestSerialConfigIsCheckedBeforeThePortIsOpened(t *testing.T) {
	for _, config := range []link.SerialConfig{{Parity: "mark"}, {StopBits: 3}, {RTS: "maybe"}} {
		_, err := link.OpenSerial(config)
		var wrong *link.AddressError
		require.ErrorAs(t, err, &wrong)
	}
}

func FuzzAddress(f *testing.F) {
	for _, seed := range []string{"", "serial:/dev/ttyX?baud=115200&parity=even&dtr=off&settle=2s", "serial:COM3?await=a%2B&limit=1s",
		"tcp://host:1", "tcp://[::1]:2560", "serial:x?stop=2&rts=on;", "serial:?\x00"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		address, err := link.ParseAddress(text)
		if err != nil {
			var wrong *link.AddressError
			require.True(t, errors.As(err, &wrong))
			assert.Equal(t, link.Address{}, address)
			assert.Equal(t, -1, strings.IndexFunc(err.Error(), func(r rune) bool { return r > unicode.MaxASCII || unicode.IsControl(r) }),
				"an error harms no terminal")
			return
		}
		require.NotEqual(t, address.Serial == nil, address.TCP == "", "one of the two is set")
		if c := address.Serial; c != nil {
			assert.NotEmpty(t, c.Device)
			assert.GreaterOrEqual(t, c.Baud, 0)
			assert.GreaterOrEqual(t, c.Settle, time.Duration(0))
		}
	})
}
