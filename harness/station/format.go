package station

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"bufferstop/harness/written"
)

// A format is how a number is written in a message: the text after the colon in {cv:x2}. The zero value writes it in
// decimal as it is, or in a binary dialect as one byte.
type format struct {
	text   string // as the file has it
	base   int    // of digits: 10 or 16; 0 for the number as it is
	width  int    // digits, or bytes in a binary dialect
	upper  bool
	binary bool
	little bool // the byte of the lowest value comes first
	signed bool // two's complement
}

// The widths are bounded by our own choice; no value of an operation needs more.
var (
	textFormat   = regexp.MustCompile(`\A([xX]?)([1-8])\z`)
	binaryFormat = regexp.MustCompile(`\A([1-4])(i?)(le)?\z`)
)

// The formats that a file may write, for errors.
const (
	textFormats   = `a format: "4" for four decimal digits, "x2" or "X2" for two hexadecimal ones`
	binaryFormats = `a format: "1" to "4" bytes, then "i" for two's complement, then "le" for the low byte first`
)

func parseFormat(text string, binary bool) (format, bool) {
	if binary {
		m := binaryFormat.FindStringSubmatch(text)
		if m == nil {
			return format{}, false
		}
		return format{text: text, width: int(m[1][0] - '0'), binary: true, signed: m[2] != "", little: m[3] != ""}, true
	}
	m := textFormat.FindStringSubmatch(text)
	if m == nil {
		return format{}, false
	}
	f := format{text: text, base: 10, width: int(m[2][0] - '0'), upper: m[1] == "X"}
	if m[1] != "" {
		f.base = 16
	}
	return f, true
}

// plainFormat is what a place without a format has.
func plainFormat(binary bool) format {
	if binary {
		return format{width: 1, binary: true}
	}
	return format{}
}

// write is the number as the format has it. Errors say what does not fit.
func (f format) write(number string) (string, error) {
	if f.base == 0 && !f.binary {
		return number, nil
	}
	n, err := strconv.ParseInt(number, 10, 64)
	if err != nil {
		return "", fmt.Errorf("%s is no whole number", written.Quote(number))
	}
	if f.binary {
		return f.writeBytes(n)
	}
	text := strconv.FormatInt(n, f.base)
	if n < 0 || len(text) > f.width {
		return "", fmt.Errorf("%d does not fit into %d digits of base %d", n, f.width, f.base)
	}
	if f.upper {
		text = strings.ToUpper(text)
	}
	return strings.Repeat("0", f.width-len(text)) + text, nil
}

func (f format) writeBytes(n int64) (string, error) {
	bits := 8 * f.width
	low, high := int64(0), int64(1)<<bits-1
	if f.signed {
		low, high = -int64(1)<<(bits-1), int64(1)<<(bits-1)-1
	}
	if n < low || n > high {
		return "", fmt.Errorf("%d does not fit into %d bytes (%d to %d)", n, f.width, low, high)
	}
	p := make([]byte, f.width)
	for i := range p {
		at := len(p) - 1 - i
		if f.little {
			at = i
		}
		p[at] = byte(n >> (8 * i))
	}
	return hexText(p), nil
}

// read is the number in decimal.
func (f format) read(text string) (string, bool) {
	switch {
	case f.binary:
		p, err := hexBytes(text)
		if err != nil || len(p) == 0 || len(p) > 4 || f.text != "" && len(p) != f.width {
			return "", false
		}
		return f.readBytes(p), true
	case f.base == 0:
		return text, true
	}
	n, err := strconv.ParseUint(text, f.base, 32)
	if err != nil || len(text) != f.width {
		return "", false
	}
	return strconv.FormatUint(n, 10), true
}

// readBytes reads up to four bytes. Without a format, they are as many as there are.
func (f format) readBytes(p []byte) string {
	var n int64
	for i := range p {
		at := i
		if f.little {
			at = len(p) - 1 - i
		}
		n = n<<8 | int64(p[at])
	}
	if f.signed && n >= 1<<(8*len(p)-1) {
		n -= 1 << (8 * len(p))
	}
	return strconv.FormatInt(n, 10)
}

// expression matches what write makes; in a binary dialect without the spaces between bytes.
func (f format) expression() string {
	switch {
	case f.binary:
		return fmt.Sprintf("[0-9A-F]{%d}", 2*f.width)
	case f.base == 0:
		return "-?[0-9]+"
	case f.base == 10:
		return fmt.Sprintf("[0-9]{%d}", f.width)
	}
	return fmt.Sprintf("[0-9A-Fa-f]{%d}", f.width)
}
