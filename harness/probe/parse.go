package probe

import (
	"encoding/binary"
	"errors"
	"fmt"
)

// A MessageError says what of a payload is wrong, and where.
type MessageError struct {
	Type   Type
	Offset int // bytes from the start of the payload
	What   string
	Got    string
	Want   string
	length bool
}

// Error names the message, the place, what is there and what should be.
func (e *MessageError) Error() string {
	direction := "to the probe"
	if e.Type.FromProbe() {
		direction = "from the probe"
	}
	return fmt.Sprintf("probe: %s %s, byte %d: %s: got %s, want %s", e.Type, direction, e.Offset, e.What, e.Got, e.Want)
}

// reason is the one that a probe gives for refusing the message.
func reason(err error) Reason {
	var wrong *MessageError
	if errors.As(err, &wrong) && wrong.length {
		return ReasonLength
	}
	return ReasonRange
}

// fields takes a payload apart. The first thing that is wrong stays in err, and all that follows is zero.
type fields struct {
	t    Type
	p    []byte
	at   int
	err  *MessageError
	name string
}

func (f *fields) take(name string, n int) []byte {
	f.name = name
	if f.err != nil {
		return nil
	}
	if len(f.p)-f.at < n {
		f.err = &MessageError{Type: f.t, Offset: f.at, What: name, Got: fmt.Sprintf("%d bytes", len(f.p)-f.at),
			Want: fmt.Sprintf("%d", n), length: true}
		return nil
	}
	f.at += n
	return f.p[f.at-n : f.at]
}

func (f *fields) u8(name string) uint8 {
	if p := f.take(name, 1); p != nil {
		return p[0]
	}
	return 0
}

func (f *fields) u16(name string) uint16 {
	if p := f.take(name, 2); p != nil {
		return binary.LittleEndian.Uint16(p)
	}
	return 0
}

func (f *fields) u32(name string) uint32 {
	if p := f.take(name, 4); p != nil {
		return binary.LittleEndian.Uint32(p)
	}
	return 0
}

// must notes that the value taken last, of size bytes, is out of range unless ok.
func (f *fields) must(ok bool, size int, got any, want string) {
	if f.err == nil && !ok {
		f.err = &MessageError{Type: f.t, Offset: f.at - size, What: f.name, Got: fmt.Sprint(got), Want: want}
	}
}

// flag takes a byte that is 0 or 1.
func (f *fields) flag(name string) bool {
	v := f.u8(name)
	if v > 1 {
		f.must(false, 1, v, "0 or 1")
	}
	return v == 1
}

func (f *fields) track(name string) uint8 {
	v := f.u8(name)
	if v >= MaxTracks {
		f.must(false, 1, v, "0 (main) or 1 (programming)")
	}
	return v
}

// end notes what stands behind the last field. It returns error, not *MessageError, so that none is nil.
func (f *fields) end() error {
	if f.err == nil && f.at < len(f.p) {
		f.err = &MessageError{Type: f.t, Offset: f.at, What: "end", Got: fmt.Sprintf("%d bytes more", len(f.p)-f.at),
			Want: "none", length: true}
	}
	if f.err == nil {
		return nil
	}
	return f.err
}
