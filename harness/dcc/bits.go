package dcc

import (
	"fmt"
	"strings"
)

// AppendBits appends the packet as it goes over the track, one 0 or 1 for each bit: the preamble's ones, a zero before
// each byte, the bytes with the most significant bit first, and the end bit, a one (S-9.2 A, July 2004).
func (p Packet) AppendBits(dst []byte, preamble int) []byte {
	for range preamble {
		dst = append(dst, 1)
	}
	for _, b := range p {
		dst = append(dst, 0, b>>7, b>>6&1, b>>5&1, b>>4&1, b>>3&1, b>>2&1, b>>1&1, b&1)
	}
	return append(dst, 1)
}

// BitString writes the packet as the standards print one: 11111111111111 0 00000011 0 01110100 0 01110111 1.
func (p Packet) BitString(preamble int) string {
	var s strings.Builder
	s.WriteString(strings.Repeat("1", preamble))
	for _, b := range p {
		fmt.Fprintf(&s, " 0 %08b", b)
	}
	s.WriteString(" 1")
	return s.String()
}

// A BitError says where a row of bits stops being a packet.
type BitError struct {
	Bit       int // how many bits were read before, spaces not counted
	Got, Want string
}

func (e *BitError) Error() string {
	return fmt.Sprintf("dcc: bits: after bit %d: got %s, want %s", e.Bit, e.Got, e.Want)
}

// FromBits reads one packet from bits of one 0 or 1 each, which must hold it exactly, from the first preamble bit to the
// end bit, and tells the length of the preamble. It checks the framing and not the error byte.
func FromBits(bits []byte) (p Packet, preamble int, err error) {
	for preamble < len(bits) && bits[preamble] == 1 {
		preamble++
	}
	at := preamble
	for at < len(bits) && bits[at] == 0 {
		if len(bits) < at+9 {
			return nil, 0, &BitError{len(bits), "the end of the bits", "the rest of a byte"}
		}
		var b byte
		for n, bit := range bits[at+1 : at+9] {
			if bit > 1 {
				return nil, 0, &BitError{at + 1 + n, fmt.Sprint(bit), "0 or 1"}
			}
			b = b<<1 | bit
		}
		p = append(p, b)
		at += 9
	}
	switch {
	case at == len(bits):
		return nil, 0, &BitError{at, "the end of the bits", "a start bit or the end bit"}
	case bits[at] != 1:
		return nil, 0, &BitError{at, fmt.Sprint(bits[at]), "0 or 1"}
	case at+1 < len(bits):
		return nil, 0, &BitError{at + 1, "more bits", "none after the end bit"}
	}
	return p, preamble, nil
}

// ParseBits reads a packet that is written as BitString writes it, or with the bits in any other groups.
func ParseBits(s string) (p Packet, preamble int, err error) {
	bits := make([]byte, 0, len(s))
	for _, c := range s {
		switch c {
		case '0', '1':
			bits = append(bits, byte(c-'0'))
		case ' ', '\t', '\n', '-':
		default:
			return nil, 0, &BitError{len(bits), fmt.Sprintf("%q", c), "0, 1 or a space"}
		}
	}
	return FromBits(bits)
}
