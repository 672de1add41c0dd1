package link

import (
	"encoding/binary"
	"fmt"
	"strconv"
)

// The commands of the COM port control option (RFC 2217, section 3, and 4 for the flow control). A server answers with
// the number of the command plus comPortAnswer.
const (
	comPortBaudRate       = 1
	comPortDataSize       = 2
	comPortParity         = 3
	comPortStopSize       = 4
	comPortControl        = 5
	comPortSuspend        = 8
	comPortResume         = 9
	comPortLineStateMask  = 10
	comPortModemStateMask = 11
	comPortPurge          = 12
	comPortAnswer         = 100
)

// The values of the commands (RFC 2217, section 3).
const (
	comPortParityNone = 1
	comPortParityOdd  = 2
	comPortParityEven = 3

	comPortNoFlowControl = 1
	comPortAssertDTR     = 8
	comPortReleaseDTR    = 9
	comPortAssertRTS     = 11
	comPortReleaseRTS    = 12

	comPortPurgeReceived    = 1
	comPortPurgeTransmitted = 2
	comPortPurgeBoth        = 3
)

// A comPortRequest is one thing that we ask of the server, and what became of it.
type comPortRequest struct {
	command byte
	value   uint32
	name    string                    // as in an address
	show    func(value uint32) string // in words
	// about are the values that speak of the same thing, where a command is for several.
	about     func(value uint32) bool
	hint      string
	confirmed bool
}

// comPortRequests are all that it takes to set a line. The lines come last: they may restart the board, and what that says
// then must not be purged.
func comPortRequests(line SerialConfig) []comPortRequest {
	baud := line.Baud
	if baud == 0 {
		baud = defaultBaud
	}
	parity := uint32(comPortParityNone)
	switch line.Parity {
	case ParityOdd:
		parity = comPortParityOdd
	case ParityEven:
		parity = comPortParityEven
	}
	requests := []comPortRequest{
		{command: comPortBaudRate, value: uint32(baud), name: "baud", hint: "is there a rate that both the server and the station can?"},
		{command: comPortDataSize, value: 8, name: "data bits", hint: "the harness needs all eight"},
		{command: comPortParity, value: parity, name: "parity", show: showParity},
		{command: comPortStopSize, value: uint32(max(line.StopBits, 1)), name: "stop", show: showStopSize},
		{command: comPortControl, value: comPortNoFlowControl, name: "flow control", show: showControl,
			about: func(v uint32) bool { return v >= 1 && v <= 3 || v == 17 || v == 19 }},
		{command: comPortPurge, value: purged(line), name: "purge"},
	}
	if decided(line.DTR) {
		requests = append(requests, comPortRequest{command: comPortControl, name: "dtr", show: showControl,
			value: either(line.DTR, comPortAssertDTR, comPortReleaseDTR),
			about: func(v uint32) bool { return v == comPortAssertDTR || v == comPortReleaseDTR },
			hint:  "a port without control lines wants dtr=hold"})
	}
	if decided(line.RTS) {
		requests = append(requests, comPortRequest{command: comPortControl, name: "rts", show: showControl,
			value: either(line.RTS, comPortAssertRTS, comPortReleaseRTS),
			about: func(v uint32) bool { return v == comPortAssertRTS || v == comPortReleaseRTS },
			hint:  "a port without control lines wants rts=hold"})
	}
	return requests
}

// purged says what is thrown away at first: what older sessions have left. When a start is awaited, the word for it may
// have come already, from a board that restarted when the server opened its port.
func purged(line SerialConfig) uint32 {
	if line.Await != nil {
		return comPortPurgeTransmitted
	}
	return comPortPurgeBoth
}

func either(p LinePolicy, assert, release uint32) uint32 {
	if p == LineAssert {
		return assert
	}
	return release
}

// width is how many bytes the value of a command has.
func (r *comPortRequest) width() int {
	if r.command == comPortBaudRate {
		return 4
	}
	return 1
}

// append appends the request as it goes to the server.
func (r *comPortRequest) append(to []byte) []byte {
	content := binary.BigEndian.AppendUint32([]byte{r.command}, r.value)
	if r.width() == 1 {
		content = append(content[:1], byte(r.value))
	}
	return appendSubnegotiation(to, telnetComPort, content...)
}

// hear takes an answer of the server. It reports whether that was one to this request, and an error when the server does
// something else than it was asked for.
func (r *comPortRequest) hear(content []byte) (mine bool, err error) {
	if len(content) == 0 || content[0] != r.command+comPortAnswer {
		return false, nil
	}
	value, ok := r.decode(content[1:])
	if !ok {
		return true, fmt.Errorf("the server confirms %s=%s with the bytes % X, which are not the %d of RFC 2217",
			r.name, r.text(r.value), content[1:], r.width())
	}
	if r.about != nil && !r.about(value) {
		return false, nil
	}
	if value != r.value && r.command != comPortPurge {
		return true, fmt.Errorf("asked for %s=%s, the server sets %s%s", r.name, r.text(r.value), r.text(value), hinted(r.hint))
	}
	r.confirmed = true
	return true, nil
}

func (r *comPortRequest) decode(value []byte) (uint32, bool) {
	switch {
	case len(value) != r.width():
		return 0, false
	case len(value) == 1:
		return uint32(value[0]), true
	default:
		return binary.BigEndian.Uint32(value), true
	}
}

func (r *comPortRequest) text(value uint32) string {
	if r.show == nil {
		return strconv.FormatUint(uint64(value), 10)
	}
	return r.show(value)
}

func showParity(value uint32) string {
	return named(value, map[uint32]string{comPortParityNone: "none", comPortParityOdd: "odd", comPortParityEven: "even",
		4: "mark", 5: "space"})
}

func showStopSize(value uint32) string {
	return named(value, map[uint32]string{1: "1", 2: "2", 3: "1.5"})
}

func showControl(value uint32) string {
	return named(value, map[uint32]string{comPortNoFlowControl: "none", 2: "XON/XOFF", 3: "RTS/CTS",
		comPortAssertDTR: "on", comPortReleaseDTR: "off", comPortAssertRTS: "on", comPortReleaseRTS: "off",
		17: "DCD", 19: "DSR"})
}

func named(value uint32, names map[uint32]string) string {
	if name, ok := names[value]; ok {
		return name
	}
	return fmt.Sprintf("a value (%d) that RFC 2217 does not have", value)
}

func hinted(hint string) string {
	if hint == "" {
		return ""
	}
	return " (" + hint + ")"
}
