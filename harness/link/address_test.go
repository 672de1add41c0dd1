package link_test

import (
	"errors"
	"path/filepath"
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

func TestAddressNamesAUSBDevice(t *testing.T) {
	address, err := link.ParseAddress("serial:usb=1209:aBcD?serial=A%26B+1&baud=9600")
	require.NoError(t, err)
	assert.Equal(t, link.Address{Serial: &link.SerialConfig{Baud: 9600,
		USB: link.USBIdentity{VID: "1209", PID: "ABCD", SerialNumber: "A&B 1"}}}, address)
	assert.Equal(t, "serial:usb=1209:ABCD?baud=9600&serial=A%26B+1", address.String())
}

func TestAddressNamesASerialServer(t *testing.T) {
	address, err := link.ParseAddress("rfc2217://server:2560?baud=57600&dtr=off")
	require.NoError(t, err)
	assert.Equal(t, link.Address{RFC2217: &link.RFC2217Config{Address: "server:2560",
		Line: link.SerialConfig{Baud: 57600, DTR: link.LineRelease}}}, address)
	assert.Equal(t, "rfc2217://server:2560?baud=57600&dtr=off", address.String())
}

func TestAddressOfARelativePathStartsFromADirectory(t *testing.T) {
	directory := t.TempDir()
	for text, want := range map[string]string{
		"serial:station.tty?baud=9600": "serial:" + filepath.Join(directory, "station.tty") + "?baud=9600",
		"serial:../a/b":                "serial:" + filepath.Join(filepath.Dir(directory), "a", "b"),
		"serial:usb=1209:0001":         "serial:usb=1209:0001",
		"tcp://host:1":                 "tcp://host:1",
		"rfc2217://host:1?stop=2":      "rfc2217://host:1?stop=2",
		"serial:" + directory + "/x":   "serial:" + directory + "/x",
	} {
		address, err := link.ParseAddress(text)
		require.NoError(t, err)
		before := address.String()
		assert.Equal(t, want, address.In(directory).String())
		assert.Equal(t, before, address.String(), "the address itself stays")
	}
}

func TestAddressIdentityOfANetworkAddressIsHostAndPort(t *testing.T) {
	for text, want := range map[string]string{
		"tcp://Host:02560":                 "host:2560",
		"rfc2217://HOST:2560?baud=1":       "host:2560",
		"tcp://[0:0::1]:7":                 "[::1]:7",
		"rfc2217://[::1]:7":                "[::1]:7",
		"tcp://[FE80::1%25]:7":             "[fe80::1%25]:7",
		"tcp://192.0.2.1:65535":            "192.0.2.1:65535",
		"rfc2217://h:1?await=a&settle=10s": "h:1",
	} {
		address, err := link.ParseAddress(text)
		require.NoError(t, err)
		assert.Equal(t, want, address.Identity())
	}
	assert.Empty(t, link.Address{}.Identity())
	assert.Empty(t, link.Address{}.String())
	_, err := link.Address{}.Open(t.Context())
	require.ErrorContains(t, err, `want serial:, tcp:// or rfc2217://`)
}

func TestAddressErrorsSayWhatWasGotAndWanted(t *testing.T) {
	for text, want := range map[string]string{
		"":                             `address: got "", want serial:, tcp:// or rfc2217://`,
		"/dev/ttyX":                    `address: got "/dev/ttyX", want serial:, tcp:// or rfc2217://`,
		"serial:":                      `serial device: got "", want its path or name`,
		"serial://dev/x":               `serial device: got "//dev/x"`,
		"serial:x?baud=fast":           `baud: got "fast", want 1 to 10000000`,
		"serial:x?baud=-1":             `baud: got "-1"`,
		"serial:x?parity=mark":         `parity: got "mark", want none, even, odd`,
		"serial:x?stop=3":              `stop: got "3", want 1, 2`,
		"serial:x?dtr=yes":             `dtr: got "yes", want on, off, hold`,
		"serial:x?settle=2":            `settle: got "2", want a duration from 0s to 5m (such as 500ms or 2s)`,
		"serial:x?settle=1h":           `settle: got "1h"`,
		"serial:x?await=(":             `await: got "(", want a regular expression`,
		"serial:x?bits=8":              `serial setting: got "bits", want baud,`,
		"serial:x?baud=1&baud=2":       `serial setting "baud": got "1, 2", want one value`,
		"serial:x?await=%zz":           `serial settings: got "await=%zz"`,
		"serial:usb=":                  `USB identity: got "", want VVVV:PPPP`,
		"serial:usb=1209":              `USB identity: got "1209", want VVVV:PPPP`,
		"serial:usb=1209:00x1":         `USB identity: got "1209:00x1"`,
		"serial:usb=1209:1?serial=x":   `USB identity: got "1209:1"`,
		"serial:usb=1209:0001?serial=": `serial number: got "", want that of the USB device`,
		"serial:/dev/x?serial=A":       `serial setting: got "serial", want it only with serial:usb=VVVV:PPPP`,
		"rfc2217://h:1?serial=A":       `serial setting: got "serial", want it only with`,
		"rfc2217:h:1":                  `want rfc2217://host:port`,
		"rfc2217://h?baud=1":           `want rfc2217://host:port`,
		"rfc2217://h:1/?baud=1":        `got "1/", want 1 to 65535`,
		"rfc2217://h:1?baud=x":         `baud: got "x"`,
		"tcp://a\u202eb:1":             `got "tcp://a\u202eb:1", want tcp://host:port`,
		"tcp:host:1":                   `want tcp://host:port`,
		"tcp://host":                   `want tcp://host:port`,
		"tcp://:1":                     `want tcp://host:port`,
		"tcp://host:0":                 `got "0", want 1 to 65535`,
		"tcp://host:name":              `got "name", want 1 to 65535`,
		"tcp://\x1b[2J:1/":             `\x1b`,
		"serial:x?\x1b[2J\u202e=1":     `got "\x1b[2J\u202e"`,
		"serial:x?baud=1&BAUD=115200":  `serial setting: got "BAUD"`,
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
		"tcp://host:1", "tcp://[::1]:2560", "serial:usb=1209:0001?serial=A%26&baud=9600", "rfc2217://h:1?baud=9600&parity=odd&dtr=hold",
		"rfc2217://[::1]:2?await=%5B&settle=1us", "serial:a/../b?limit=0s", "serial:usb=12", "serial:x?stop=2&rts=on;", "serial:?\x00"} {
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
		set := 0
		for _, is := range []bool{address.Serial != nil, address.TCP != "", address.RFC2217 != nil} {
			if is {
				set++
			}
		}
		require.Equal(t, 1, set, "one of the three is set")
		if c := address.Serial; c != nil {
			assert.NotEqual(t, c.Device == "", c.USB.VID == "", "a device or a USB identity")
			assert.GreaterOrEqual(t, c.Baud, 0)
			assert.GreaterOrEqual(t, c.Settle, time.Duration(0))
		}
		again, err := link.ParseAddress(address.String())
		require.NoError(t, err)
		assert.Equal(t, address.String(), again.String())
		samePattern(t, address, again)
		assert.Equal(t, address, again, "what is printed reads back")
		if address.Serial == nil { // the identity of a serial port asks the system
			assert.NotEmpty(t, address.Identity())
		}
		assert.NotEmpty(t, address.In("/somewhere").String())
	})
}

// samePattern compares the patterns, which are equal by their text only, and removes them.
func samePattern(t *testing.T, a, b link.Address) {
	t.Helper()
	lines := func(x link.Address) *link.SerialConfig {
		if x.RFC2217 != nil {
			return &x.RFC2217.Line
		}
		return x.Serial
	}
	first, second := lines(a), lines(b)
	if first == nil || first.Await == nil {
		return
	}
	require.NotNil(t, second)
	require.NotNil(t, second.Await)
	assert.Equal(t, first.Await.String(), second.Await.String())
	first.Await, second.Await = nil, nil
}
