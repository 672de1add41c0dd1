package link

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"regexp"
	"time"

	"go.bug.st/serial"
)

// Parity is the parity bit of a serial line.
type Parity string

// The parities. The empty one is ParityNone.
const (
	ParityNone Parity = "none"
	ParityEven Parity = "even"
	ParityOdd  Parity = "odd"
)

// A LinePolicy says what is done with a control line (DTR, RTS) on opening. Many boards restart when one of them changes.
type LinePolicy string

// The policies. The empty one is LineHold. Systems that assert the lines on every open (Linux does) do so before we can
// release them, so LineRelease leaves a pulse of some milliseconds.
const (
	LineHold    LinePolicy = "hold" // as the system leaves it
	LineAssert  LinePolicy = "on"
	LineRelease LinePolicy = "off"
)

const (
	defaultBaud       = 115200
	defaultAwaitLimit = 5 * time.Second
)

// A SerialConfig says how to open a serial port. Characters have eight data bits. The zero values are useful for all but
// Device or USB.
type SerialConfig struct {
	Device   string         // path or name of the port
	USB      USBIdentity    // if it is set, the port is that of this device, and Device is not used
	Baud     int            // 0 is 115200
	Parity   Parity         // "" is none
	StopBits int            // 1 or 2; 0 is 1
	DTR, RTS LinePolicy     // "" holds
	Await    *regexp.Regexp // if set, opening waits until this has arrived and discards all up to its end
	// AwaitLimit is how long it may take; 0 is five seconds.
	AwaitLimit time.Duration
	// Settle is how long after that all that arrives is discarded.
	Settle time.Duration
	// Ports lists what is connected, to find a USB identity in; nil asks the system. It is here for tests.
	Ports func() ([]PortInfo, error)
}

// OpenSerial opens a port and waits until the station has started, as the configuration says.
func OpenSerial(config SerialConfig) (Link, error) {
	return openSerial(context.Background(), config)
}

func openSerial(ctx context.Context, config SerialConfig) (Link, error) {
	return openSerialBy(ctx, config, openOutlet)
}

func openSerialBy(ctx context.Context, config SerialConfig, openOutlet func(string, serial.Mode) outlet) (Link, error) {
	mode, err := config.mode()
	if err != nil {
		return nil, err
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if config.Device, err = config.device(); err != nil {
		return nil, err
	}
	out := openOutlet(config.Device, *mode)
	port, err := openPort(config.Device, mode)
	if err != nil {
		out.end()
		return nil, openError(config.Device, err)
	}
	if err := setLines(port, config); err != nil {
		out.end()
		_ = port.Close()
		return nil, err
	}
	l := newSerialLink(port, out)
	if err := l.start(ctx, config); err != nil {
		_ = l.Close()
		return nil, err
	}
	return l, nil
}

// openOutlet finds the best way to write to a device that is about to be opened.
func openOutlet(device string, mode serial.Mode) outlet {
	if direct := openDirect(device); direct != nil {
		return direct
	}
	return &goroutineOutlet{mode: mode}
}

func (c SerialConfig) mode() (*serial.Mode, error) {
	mode := &serial.Mode{BaudRate: c.Baud, DataBits: 8}
	if c.Baud == 0 {
		mode.BaudRate = defaultBaud
	}
	switch c.Parity {
	case "", ParityNone:
	case ParityEven:
		mode.Parity = serial.EvenParity
	case ParityOdd:
		mode.Parity = serial.OddParity
	default:
		return nil, &AddressError{What: "parity", Got: string(c.Parity), Want: "none, even or odd"}
	}
	switch c.StopBits {
	case 0, 1:
	case 2:
		mode.StopBits = serial.TwoStopBits
	default:
		return nil, &AddressError{What: "stop bits", Got: fmt.Sprint(c.StopBits), Want: "1 or 2"}
	}
	for _, policy := range []LinePolicy{c.DTR, c.RTS} {
		switch policy {
		case "", LineHold, LineAssert, LineRelease:
		default:
			return nil, &AddressError{What: "control line", Got: string(policy), Want: "on, off or hold"}
		}
	}
	if decided(c.DTR) && decided(c.RTS) {
		mode.InitialStatusBits = &serial.ModemOutputBits{DTR: c.DTR == LineAssert, RTS: c.RTS == LineAssert}
	}
	return mode, nil
}

func decided(p LinePolicy) bool { return p == LineAssert || p == LineRelease }

// setLines sets a line that is decided while the other is held; the library can only open with both or none.
func setLines(port serial.Port, c SerialConfig) error {
	if decided(c.DTR) == decided(c.RTS) {
		return nil
	}
	set, policy, name := port.SetDTR, c.DTR, "dtr"
	if decided(c.RTS) {
		set, policy, name = port.SetRTS, c.RTS, "rts"
	}
	if err := set(policy == LineAssert); err != nil {
		return fmt.Errorf("link: serial port %s: setting %s=%s: %w; a port without control lines wants %s=hold",
			c.Device, name, policy, err, name)
	}
	return nil
}

// connectedHint says how to find a port.
const connectedHint = "bufferstop ports lists what is connected"

// openError says what to do about a port that does not open.
func openError(device string, err error) error {
	hint := connectedHint
	var port *serial.PortError
	switch {
	case errors.As(err, &port):
		switch port.Code() {
		case serial.PortBusy:
			hint = "another program has it open: end that first"
		case serial.PermissionDenied:
			hint = "become a member of the group that owns the device, and log in again"
		case serial.InvalidSerialPort:
			hint = "it may be no serial port, or have no control lines: then hold dtr and rts"
		}
	case errors.Is(err, fs.ErrNotExist):
		hint = "is it plugged in? Its name may have changed; " + connectedHint
	}
	return fmt.Errorf("link: serial port %s does not open: %w (%s)", device, err, hint)
}
