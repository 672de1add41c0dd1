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
)

const (
	dialLimit   = 10 * time.Second
	longest     = 5 * time.Minute // settling or waiting; more is a slip of the pen
	fastestBaud = 10_000_000
	addressHint = "such as serial:/dev/ttyACM0?baud=115200 or tcp://host:port"
)

// An AddressError says what of an address is wrong.
type AddressError struct {
	What, Got, Want, Hint string
}

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
	Serial *SerialConfig
	TCP    string // host:port
}

// Open opens the link that the text names: see ParseAddress.
func Open(ctx context.Context, text string) (Link, error) {
	address, err := ParseAddress(text)
	if err != nil {
		return nil, err
	}
	if address.Serial != nil {
		return openSerial(ctx, *address.Serial)
	}
	return DialTCP(ctx, address.TCP, dialLimit)
}

// ParseAddress reads serial:DEVICE?key=value&... or tcp://host:port. The keys are baud, parity (none, even, odd), stop
// (1, 2), dtr and rts (on, off, hold), settle (a duration), await (a pattern, escaped as in a URL) and limit (how long to
// wait for it).
func ParseAddress(text string) (Address, error) {
	scheme, rest, _ := strings.Cut(text, ":")
	switch scheme {
	case "serial":
		config, err := parseSerial(rest)
		return Address{Serial: config}, err
	case "tcp":
		address, err := parseTCP(text, rest)
		return Address{TCP: address}, err
	}
	return Address{}, &AddressError{What: "address", Got: text, Want: "serial: or tcp://", Hint: addressHint}
}

func parseTCP(text, rest string) (string, error) {
	wrong := &AddressError{What: "address", Got: text, Want: "tcp://host:port", Hint: "an IPv6 address goes in brackets"}
	address, ok := strings.CutPrefix(rest, "//")
	host, port, err := net.SplitHostPort(address)
	if !ok || err != nil || host == "" || strings.ContainsAny(host, "/?#@ \t\r\n\x00") {
		return "", wrong
	}
	if n, err := strconv.ParseUint(port, 10, 16); err != nil || n == 0 {
		return "", &AddressError{What: "port of address " + strconv.QuoteToASCII(text), Got: port, Want: "1 to 65535"}
	}
	return address, nil
}

func parseSerial(rest string) (*SerialConfig, error) {
	device, query, _ := strings.Cut(rest, "?")
	if device == "" || strings.HasPrefix(device, "//") || strings.ContainsRune(device, 0) {
		return nil, &AddressError{What: "serial device", Got: device, Want: "its path or name", Hint: addressHint}
	}
	values, err := url.ParseQuery(query)
	if err != nil {
		return nil, &AddressError{What: "serial settings", Got: query, Want: "key=value&key=value",
			Hint: "write %25 for a percent sign, %26 for &, %2B for +, %3B for a semicolon"}
	}
	config := &SerialConfig{Device: device}
	for _, key := range slices.Sorted(maps.Keys(values)) { // in order, so that the same text has the same error
		all := values[key]
		if len(all) != 1 {
			return nil, &AddressError{What: "serial setting " + strconv.QuoteToASCII(key), Got: strings.Join(all, ", "), Want: "one value"}
		}
		if err := config.set(key, all[0]); err != nil {
			return nil, err
		}
	}
	return config, nil
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
