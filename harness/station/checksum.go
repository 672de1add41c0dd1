package station

import (
	"fmt"
	"maps"
	"math/bits"
	"slices"
	"strings"

	"bufferstop/harness/written"
)

// An algorithm makes the check value of a message.
type algorithm struct {
	bytes int // of the check value
	of    func(message []byte) uint16
}

// check is the check value of a message, the byte of the highest value first.
func (a algorithm) check(message []byte) []byte {
	v := a.of(message)
	if a.bytes == 1 {
		return []byte{byte(v)}
	}
	return []byte{byte(v >> 8), byte(v)}
}

// crc is a cyclic redundancy check of 8 or 16 bits in the usual parameters: polynomial without its highest term, register at
// the start, whether bytes go in and the register comes out with the lowest bit first, and what is added at the end.
type crc struct {
	width     int
	poly      uint16
	init      uint16
	reflected bool
	xorOut    uint16
}

func (c crc) of(message []byte) uint16 {
	top := uint16(1) << (c.width - 1)
	mask := top | (top - 1)
	register := c.init
	for _, b := range message {
		if c.reflected {
			b = bits.Reverse8(b)
		}
		register ^= uint16(b) << (c.width - 8)
		for range 8 {
			if register&top != 0 {
				register = register<<1 ^ c.poly
			} else {
				register <<= 1
			}
		}
		register &= mask
	}
	if c.reflected {
		register = bits.Reverse16(register) >> (16 - c.width)
	}
	return (register ^ c.xorOut) & mask
}

func (c crc) algorithm() algorithm { return algorithm{c.width / 8, c.of} }

// algorithms are those that [checksum] kind may name. The CRCs are known by these names, parameters and check values of
// "123456789" in the public catalogues of CRC algorithms; checksum_test.go has the check values.
var algorithms = map[string]algorithm{
	"xor": {1, func(message []byte) (v uint16) {
		for _, b := range message {
			v ^= uint16(b)
		}
		return v
	}},
	"sum": {1, func(message []byte) (v uint16) {
		for _, b := range message {
			v += uint16(b)
		}
		return v & 0xff
	}},
	"crc-8/smbus":     crc{8, 0x07, 0x00, false, 0x00}.algorithm(),
	"crc-8/rohc":      crc{8, 0x07, 0xff, true, 0x00}.algorithm(),
	"crc-8/autosar":   crc{8, 0x2f, 0xff, false, 0xff}.algorithm(),
	"crc-16/arc":      crc{16, 0x8005, 0x0000, true, 0x0000}.algorithm(),
	"crc-16/modbus":   crc{16, 0x8005, 0xffff, true, 0x0000}.algorithm(),
	"crc-16/xmodem":   crc{16, 0x1021, 0x0000, false, 0x0000}.algorithm(),
	"crc-16/kermit":   crc{16, 0x1021, 0x0000, true, 0x0000}.algorithm(),
	"crc-16/ibm-3740": crc{16, 0x1021, 0xffff, false, 0x0000}.algorithm(),
	"crc-16/ibm-sdlc": crc{16, 0x1021, 0xffff, true, 0xffff}.algorithm(),
}

// A checksum is what [checksum] says: a check value behind every message.
type checksum struct {
	algorithm
	kind   string
	before string // of lines: what stands before the digits
	little bool   // the byte of the lowest value comes first
	from   string // of frames: the piece with which the bytes checked begin
}

// value is the check value of a message as it stands behind it.
func (c *checksum) value(message []byte) []byte {
	v := c.check(message)
	if c.little {
		slices.Reverse(v)
	}
	return v
}

// digits is the check value of a line as text.
func (c *checksum) digits(line []byte) string { return fmt.Sprintf("%X", c.value(line)) }

// add is a line with its check value.
func (c *checksum) add(line string) string {
	if c == nil {
		return line
	}
	return line + c.before + c.digits([]byte(line))
}

// strip checks a line and takes its check value off.
func (c *checksum) strip(line []byte) ([]byte, error) {
	if c == nil {
		return line, nil
	}
	at := len(line) - 2*c.bytes - len(c.before)
	if at < 0 || string(line[at:at+len(c.before)]) != c.before {
		return nil, &GarbledMessage{What: "no checksum", Got: string(line),
			Want: fmt.Sprintf("%q and %d hexadecimal digits at the end (%s)", c.before, 2*c.bytes, c.kind)}
	}
	got, want := string(line[at+len(c.before):]), c.digits(line[:at])
	if !strings.EqualFold(got, want) {
		return nil, &GarbledMessage{What: "wrong checksum", Got: string(line), Want: fmt.Sprintf("%s%s at the end (%s)", c.before, want, c.kind)}
	}
	return line[:at], nil
}

type checksumFile struct {
	Kind   string  `toml:"kind"`
	Before *string `toml:"before"`
	Order  *string `toml:"order"`
	From   *string `toml:"from"`
}

// checksum reads [checksum].
func (p *dialectParser) checksum() *checksum {
	f := p.file.Checksum
	if f == nil {
		return nil
	}
	const at = "checksum."
	a, known := algorithms[strings.ToLower(f.Kind)]
	if !known {
		p.Fail(at+"kind", written.Quote(f.Kind), "one of "+strings.Join(slices.Sorted(maps.Keys(algorithms)), ", "), "")
		return nil
	}
	c := &checksum{algorithm: a, kind: strings.ToLower(f.Kind), from: pieceStart}
	if f.Before != nil {
		c.before = *f.Before
		if p.d.binary {
			p.Fail(at+"before", written.Quote(*f.Before), "no text before it: a frame has its checksum behind its payload", "")
		} else if len(c.before) > 8 || strings.ContainsFunc(c.before, isControl) {
			p.Fail(at+"before", written.Quote(*f.Before), "up to 8 bytes of text", "")
		}
	}
	if f.Order != nil {
		if *f.Order != "big" && *f.Order != "little" {
			p.Fail(at+"order", written.Quote(*f.Order), `"big" (the high byte first) or "little"`, "")
		}
		c.little = *f.Order == "little"
	}
	if f.From != nil {
		c.from = *f.From
		if !p.d.binary {
			p.Fail(at+"from", written.Quote(*f.From), "nothing: in a line all that stands before it is checked", "")
		} else if !slices.Contains([]string{pieceStart, pieceHead, pieceLength, pieceBody}, c.from) {
			p.Fail(at+"from", written.Quote(*f.From), `"start", "head", "length" or "body"`, "the part of the frame with which the checked bytes begin")
		}
	}
	return c
}
