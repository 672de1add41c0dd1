package link

import (
	"context"
	"fmt"
	"maps"
	"net"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

const (
	dialLimit   = 10 * time.Second
	longest     = 5 * time.Minute // settling or waiting; more is a slip of the pen
	fastestBaud = 10_000_000
	usbPrefix   = "usb="
	schemes     = "serial:, tcp:// or rfc2217://"
	addressHint = "such as serial:/dev/ttyACM0?baud=115200 or tcp://host:port"
)

// An AddressError says what of an address is wrong.
type AddressError struct {
	What, Got, Want, Hint string
}

// Quoted is what was got, as in: baud "fast".
func (e *AddressError) Quoted() string { return fmt.Sprintf("%s %+q", e.What, e.Got) }

// Error shows what was got and what was wanted, then the hint.
func (e *AddressError) Error() string {
	text := fmt.Sprintf("link: %s: got %+q, want %s", e.What, e.Got, e.Want)
	if e.Hint != "" {
		text += " (" + e.Hint + ")"
	}
	return text
}

// An Address is where a station is reached: one of its fields is set.
type Address struct {
	Serial  *SerialConfig
	TCP     string // host:port
	RFC2217 *RFC2217Config
}

// Open opens the link that the text names: see ParseAddress.
func Open(ctx context.Context, text string) (Link, error) {
	address, err := ParseAddress(text)
	if err != nil {
		return nil, err
	}
	return address.Open(ctx)
}

// Open opens the link. A USB identity is looked for among what is connected now.
func (a Address) Open(ctx context.Context) (Link, error) {
	switch {
	case a.Serial != nil:
		return openSerial(ctx, *a.Serial)
	case a.RFC2217 != nil:
		return DialRFC2217(ctx, *a.RFC2217)
	case a.TCP != "":
		return DialTCP(ctx, a.TCP, dialLimit)
	}
	return nil, &AddressError{What: "address", Want: schemes, Hint: addressHint}
}

// ParseAddress reads one of
//
//	serial:DEVICE?key=value&...          a serial port by its path or name; In says what a relative path starts from
//	serial:usb=VVVV:PPPP?key=value&...   the serial port of a USB device, by vendor and product in hexadecimal digits
//	tcp://host:port                      a serial server, or a station that is one
//	rfc2217://host:port?key=value&...    a serial server whose line can be set (RFC 2217)
//
// The keys are baud, parity (none, even, odd), stop (1, 2), dtr and rts (on, off, hold), settle (a duration), await (a
// pattern, escaped as in a URL) and limit (how long to wait for it); with usb= also serial, the serial number of the device.
func ParseAddress(text string) (Address, error) {
	scheme, rest, _ := strings.Cut(text, ":")
	switch scheme {
	case "serial":
		config, err := parseSerial(rest)
		return Address{Serial: config}, err
	case "tcp":
		address, err := parseHost(text, scheme, rest)
		return Address{TCP: address}, err
	case "rfc2217":
		return parseRFC2217(text, rest)
	}
	return Address{}, &AddressError{What: "address", Got: text, Want: schemes, Hint: addressHint}
}

func parseRFC2217(text, rest string) (Address, error) {
	where, query, _ := strings.Cut(rest, "?")
	address, err := parseHost(text, "rfc2217", where)
	if err != nil {
		return Address{}, err
	}
	config := &RFC2217Config{Address: address}
	if err := config.Line.setAll(query); err != nil {
		return Address{}, err
	}
	return Address{RFC2217: config}, nil
}

func parseHost(text, scheme, rest string) (string, error) {
	wrong := &AddressError{What: "address", Got: text, Want: scheme + "://host:port", Hint: "an IPv6 address goes in brackets"}
	address, ok := strings.CutPrefix(rest, "//")
	host, port, err := net.SplitHostPort(address)
	if !ok || err != nil || host == "" || strings.ContainsAny(host, "/?#@ ") || strings.ContainsFunc(host, unprintable) {
		return "", wrong
	}
	if n, err := strconv.ParseUint(port, 10, 16); err != nil || n == 0 {
		return "", &AddressError{What: "port of address " + strconv.QuoteToASCII(text), Got: port, Want: "1 to 65535"}
	}
	return address, nil
}

func unprintable(r rune) bool { return !unicode.IsPrint(r) || r == utf8.RuneError }

func parseSerial(rest string) (*SerialConfig, error) {
	device, query, _ := strings.Cut(rest, "?")
	if device == "" || strings.HasPrefix(device, "//") || strings.ContainsRune(device, 0) {
		return nil, &AddressError{What: "serial device", Got: device, Want: "its path or name", Hint: addressHint}
	}
	config := &SerialConfig{Device: device}
	if identity, ok := strings.CutPrefix(device, usbPrefix); ok {
		usb, err := parseUSB(identity)
		if err != nil {
			return nil, err
		}
		config.Device, config.USB = "", usb
	}
	if err := config.setAll(query); err != nil {
		return nil, err
	}
	return config, nil
}

// setAll sets what a query says.
func (c *SerialConfig) setAll(query string) error {
	values, err := url.ParseQuery(query)
	if err != nil {
		return &AddressError{What: "serial settings", Got: query, Want: "key=value&key=value",
			Hint: "write %25 for a percent sign, %26 for &, %2B for +, %3B for a semicolon"}
	}
	for _, key := range slices.Sorted(maps.Keys(values)) { // in order, so that the same text has the same error
		all := values[key]
		if len(all) != 1 {
			return &AddressError{What: "serial setting " + strconv.QuoteToASCII(key), Got: strings.Join(all, ", "), Want: "one value"}
		}
		if err := c.set(key, all[0]); err != nil {
			return err
		}
	}
	return nil
}

func (c *SerialConfig) set(key, value string) (err error) {
	switch key {
	case "baud":
		c.Baud, err = strconv.Atoi(value)
		if err != nil || c.Baud <= 0 || c.Baud > fastestBaud {
			return &AddressError{What: "baud", Got: value, Want: "1 to 10000000", Hint: "115200 unless the station says otherwise"}
		}
	case "parity":
		c.Parity = Parity(value)
		return oneOf(key, value, "none", "even", "odd")
	case "stop":
		c.StopBits = 1
		if value == "2" {
			c.StopBits = 2
		}
		return oneOf(key, value, "1", "2")
	case "dtr":
		c.DTR = LinePolicy(value)
		return oneOf(key, value, "on", "off", "hold")
	case "rts":
		c.RTS = LinePolicy(value)
		return oneOf(key, value, "on", "off", "hold")
	case "settle":
		c.Settle, err = span(key, value)
	case "limit":
		c.AwaitLimit, err = span(key, value)
	case "await":
		c.Await, err = regexp.Compile(value)
		if err != nil || value == "" {
			return &AddressError{What: "await", Got: value, Want: "a regular expression", Hint: "a plus sign is written %2B"}
		}
	case "serial":
		c.USB.SerialNumber = value
		switch {
		case c.USB.VID == "":
			return &AddressError{What: "serial setting", Got: key, Want: "it only with serial:" + usbPrefix + "VVVV:PPPP"}
		case value == "" || len(value) > longestSerialNumber:
			return &AddressError{What: "serial number", Got: value, Want: "that of the USB device, as bufferstop ports shows it"}
		}
	default:
		return &AddressError{What: "serial setting", Got: key,
			Want: "baud, parity, stop, dtr, rts, settle, await or limit"}
	}
	return err
}

func oneOf(key, value string, allowed ...string) error {
	for _, a := range allowed {
		if value == a {
			return nil
		}
	}
	return &AddressError{What: key, Got: value, Want: strings.Join(allowed, ", ")}
}

func span(key, value string) (time.Duration, error) {
	d, err := time.ParseDuration(value)
	if err != nil || d < 0 || d > longest {
		return 0, &AddressError{What: key, Got: value, Want: "a duration from 0s to 5m", Hint: "such as 500ms or 2s"}
	}
	return d, nil
}
