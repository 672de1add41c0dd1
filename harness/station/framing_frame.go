package station

import (
	"slices"
)

// The pieces of a frame, in their order.
const (
	pieceStart    = "start"
	pieceHead     = "head" // what of the payload stands before the length
	pieceLength   = "length"
	pieceBody     = "body" // the rest of the payload
	pieceChecksum = "checksum"
	pieceEnd      = "end"
)

// frameFraming is binary messages, each in a frame of bytes. The text of a message is its payload as hexText writes it.
type frameFraming struct {
	start    []byte
	head     int
	length   *format // nil: the frame goes on until its end
	counts   []string
	end      []byte
	escapes  bool
	escape   byte
	xor      byte
	longest  int // bytes of the payload
	checksum *checksum
}

// fixed is how many bytes the length counts beside the body.
func (f *frameFraming) fixed() int {
	sizes := map[string]int{pieceStart: len(f.start), pieceHead: f.head, pieceLength: f.lengthBytes(), pieceChecksum: f.checkBytes(), pieceEnd: len(f.end)}
	n := 0
	for _, piece := range f.counts {
		n += sizes[piece]
	}
	return n
}

func (f *frameFraming) lengthBytes() int {
	if f.length == nil {
		return 0
	}
	return f.length.width
}

func (f *frameFraming) checkBytes() int {
	if f.checksum == nil {
		return 0
	}
	return f.checksum.bytes
}

// limit is the length of the longest frame, with every byte inside escaped.
func (f *frameFraming) limit() int {
	inside := f.longest + f.lengthBytes() + f.checkBytes()
	if f.escapes {
		inside *= 2
	}
	return len(f.start) + inside + len(f.end)
}

func (f *frameFraming) wrap(text string) []byte {
	payload, err := hexBytes(text)
	if err != nil {
		return nil // the text of a message of this dialect always is hexadecimal
	}
	inside := f.inside(payload)
	if f.escapes {
		var stuffed []byte
		for _, b := range inside {
			if f.special(b) {
				stuffed = append(stuffed, f.escape, b^f.xor)
			} else {
				stuffed = append(stuffed, b)
			}
		}
		inside = stuffed
	}
	return slices.Concat(f.start, inside, f.end)
}

// inside is what stands between start and end, without escapes.
func (f *frameFraming) inside(payload []byte) []byte {
	head := payload[:min(f.head, len(payload))]
	body := payload[len(head):]
	var length []byte
	if f.length != nil {
		// A payload that is longer than the length can say is longer than the limit too, and is not sent.
		text, err := f.length.writeBytes(int64(len(body) + f.fixed()))
		if err == nil {
			length, _ = hexBytes(text)
		}
	}
	inside := slices.Concat(head, length, body)
	if f.checksum != nil {
		inside = append(inside, f.checksum.value(f.checked(inside))...)
	}
	return inside
}

// checked is the bytes that the checksum covers.
func (f *frameFraming) checked(inside []byte) []byte {
	switch f.checksum.from {
	case pieceHead:
		return inside
	case pieceLength:
		return inside[min(f.head, len(inside)):]
	case pieceBody:
		return inside[min(f.head+f.lengthBytes(), len(inside)):]
	}
	return slices.Concat(f.start, inside)
}

// special reports whether a byte inside a frame has to be escaped.
func (f *frameFraming) special(b byte) bool {
	return b == f.escape || b == f.start[0] || len(f.end) > 0 && b == f.end[0]
}
