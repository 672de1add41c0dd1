package probe

import (
	"bytes"
	"encoding/binary"
	"fmt"
)

// The sizes of a frame. MaxFrame counts from the type to the CRC, before stuffing; MaxPayload is what stands between
// sequence number and CRC; MaxEncoded is all that goes over the line, delimiter included.
const (
	MaxFrame   = 254
	MaxPayload = MaxFrame - frameOverhead
	MaxEncoded = MaxFrame + 2

	frameOverhead = 4 // type, sequence number, CRC
)

// A Type says what a frame holds. Types from 0x80 on come from the probe.
type Type uint8

// The types of frames, as README.md has them.
const (
	TypeAskHello  Type = 0x01
	TypeStart     Type = 0x02
	TypeStop      Type = 0x03
	TypeAlive     Type = 0x04
	TypeAskSync   Type = 0x05
	TypeAskStatus Type = 0x06
	TypeLoad      Type = 0x07
	TypeShort     Type = 0x08
	TypeSupply    Type = 0x09
	TypeAskMark   Type = 0x0a
	TypeReflex    Type = 0x0b
	TypeSafe      Type = 0x0d

	TypeHello   Type = 0x81
	TypeStretch Type = 0x82
	TypeDone    Type = 0x83
	TypeRefused Type = 0x84
	TypeSync    Type = 0x85
	TypeStatus  Type = 0x86
	TypeEvent   Type = 0x87
	TypeMark    Type = 0x88
)

var typeNames = map[Type]string{
	TypeAskHello: "HELLO", TypeStart: "START", TypeStop: "STOP", TypeAlive: "ALIVE", TypeAskSync: "SYNC",
	TypeAskStatus: "STATUS", TypeLoad: "LOAD", TypeShort: "SHORT", TypeSupply: "SUPPLY", TypeAskMark: "MARK",
	TypeReflex: "REFLEX", TypeSafe: "SAFE",
	TypeHello: "HELLO", TypeStretch: "STRETCH", TypeDone: "DONE", TypeRefused: "REFUSED", TypeSync: "SYNC",
	TypeStatus: "STATUS", TypeEvent: "EVENT", TypeMark: "MARK",
}

// FromProbe reports whether the probe sends frames of this type.
func (t Type) FromProbe() bool { return t&0x80 != 0 }

// String is the name that README.md has for the type.
func (t Type) String() string {
	if name, ok := typeNames[t]; ok {
		return name
	}
	return fmt.Sprintf("type %#02x", uint8(t))
}

// A Frame is what a frame of the line holds.
type Frame struct {
	Type Type
	// Seq counts the frames of one direction modulo 256.
	Seq uint8
	// Payload belongs to the framer that found it and is valid until it looks for the next.
	Payload []byte
}

// AppendFrame appends a frame as it goes over the line, delimiter included. It panics when the payload is longer than
// MaxPayload, which no message of ours is.
func AppendFrame(dst []byte, t Type, seq uint8, payload []byte) []byte {
	if len(payload) > MaxPayload {
		panic(fmt.Sprintf("probe: payload of %d bytes, at most %d", len(payload), MaxPayload))
	}
	var plain [MaxFrame]byte
	p := append(plain[:0], byte(t), seq)
	p = append(p, payload...)
	p = binary.LittleEndian.AppendUint16(p, checksum(p))
	return append(appendStuffed(dst, p), 0)
}

// Broken counts what a framer could not use.
type Broken struct {
	// Stuffing: bytes before a delimiter that are not stuffed. Checksum: a wrong CRC. Length: shorter or longer than any
	// frame.
	Stuffing, Checksum, Length uint64
}

// Total is the sum of all kinds.
func (b Broken) Total() uint64 { return b.Stuffing + b.Checksum + b.Length }

// A Framer finds frames in a stream of bytes. It allocates nothing, needs the same memory for a stream of any length, and
// after noise goes on with the frame after the next delimiter. The zero value is ready for use.
type Framer struct {
	held   [MaxFrame + 1]byte // the beginning of a frame that is not whole yet, still stuffed
	n      int
	long   bool // and too long: to be thrown away up to the delimiter
	plain  [MaxFrame + 1]byte
	broken Broken
}

// Broken tells what could not be used so far.
func (f *Framer) Broken() Broken { return f.broken }

// Reset forgets the beginning of a frame. The counts stay.
func (f *Framer) Reset() { f.n, f.long = 0, false }

// Next takes bytes from p up to the end of the next good frame and returns that and the rest of p. It is false when p
// ended before: the beginning of a frame is kept for the next call.
func (f *Framer) Next(p []byte) (frame Frame, rest []byte, ok bool) {
	for {
		end := bytes.IndexByte(p, 0)
		if end < 0 {
			f.keep(p)
			return Frame{}, nil, false
		}
		stuffed := p[:end]
		if f.n > 0 || f.long {
			f.keep(stuffed)
			stuffed = f.held[:f.n]
		}
		p = p[end+1:]
		long := f.long || len(stuffed) > len(f.held)
		f.Reset()
		if long {
			f.broken.Length++
			continue
		}
		if frame, ok := f.open(stuffed); ok {
			return frame, p, true
		}
	}
}

// keep keeps the beginning of a frame.
func (f *Framer) keep(p []byte) {
	if len(p) > len(f.held)-f.n {
		f.n, f.long = 0, true
	}
	if !f.long {
		f.n += copy(f.held[f.n:], p)
	}
}

// open takes the frame out of its stuffing and checks it.
func (f *Framer) open(stuffed []byte) (Frame, bool) {
	if len(stuffed) == 0 {
		return Frame{}, false // two delimiters in a row: how a sender makes sure that what follows is a new frame
	}
	n, ok := unstuff(f.plain[:], stuffed)
	if !ok {
		f.broken.Stuffing++
		return Frame{}, false
	}
	if n < frameOverhead || n > MaxFrame {
		f.broken.Length++
		return Frame{}, false
	}
	body := f.plain[:n-2]
	if checksum(body) != binary.LittleEndian.Uint16(f.plain[n-2:]) {
		f.broken.Checksum++
		return Frame{}, false
	}
	return Frame{Type: Type(body[0]), Seq: body[1], Payload: body[2:]}, true
}
