package report

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Lengths, in bytes, to which text from outside is cut where it is shown. The record keeps more.
const (
	shortText = 300  // in a table or a line
	longText  = 4000 // in a block of its own
)

// visible makes text from outside safe to show in one line: what does not print, such as control characters, escape
// sequences and marks that turn the direction of writing, appears as an escape, and text longer than limit bytes is cut
// with a note that says how much is left out.
func visible(text string, limit int) string {
	left := ""
	if len(text) > limit {
		cut := limit
		for cut > 0 && cut > limit-utf8.UTFMax && !utf8.RuneStart(text[cut]) {
			cut--
		}
		left = fmt.Sprintf(" … (%d more bytes in the record)", len(text)-cut)
		text = text[:cut]
	}
	var b strings.Builder
	for len(text) > 0 {
		r, size := utf8.DecodeRuneInString(text)
		switch {
		case r == utf8.RuneError && size == 1:
			fmt.Fprintf(&b, `\x%02x`, text[0])
		case r == '\n':
			b.WriteString(`\n`)
		case r == '\r':
			b.WriteString(`\r`)
		case r == '\t':
			b.WriteString(`\t`)
		case r < 0x20 || r == 0x7f:
			fmt.Fprintf(&b, `\x%02x`, r)
		case !unicode.IsPrint(r) && r <= 0xffff:
			fmt.Fprintf(&b, `\u%04x`, r)
		case !unicode.IsPrint(r):
			fmt.Fprintf(&b, `\U%08x`, r)
		default:
			b.WriteString(text[:size])
		}
		text = text[size:]
	}
	return b.String() + left
}
