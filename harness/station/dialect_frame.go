package station

import (
	"fmt"
	"slices"

	"bufferstop/harness/written"
)

type frameFile struct {
	Start     string    `toml:"start"`
	Length    *string   `toml:"length"`
	Head      *int      `toml:"head"`
	Counts    *[]string `toml:"counts"`
	End       *string   `toml:"end"`
	Escape    *string   `toml:"escape"`
	EscapeXor *string   `toml:"escape_xor"`
	Limit     *int      `toml:"limit"`
	Window    *int      `toml:"window"`
	Echo      *bool     `toml:"echo"`
}

// What [frame] may leave out.
const (
	defaultFrameLimit = 256
	// maxFrameLimit keeps the search for a frame among damaged ones short. Our own choice.
	maxFrameLimit = 2048
	// defaultEscapeXor is that of HDLC's octet stuffing (RFC 1662, 4.2).
	defaultEscapeXor = "20"
)

// frames reads [frame].
func (p *dialectParser) frames(check *checksum) {
	const at = "frame."
	file := p.file.Frame
	f := &frameFraming{
		start:    p.someBytes(at+"start", &file.Start, 1, 8),
		head:     p.Between(at+"head", file.Head, 0, 64, 0),
		end:      p.someBytes(at+"end", file.End, 1, 8),
		longest:  p.Between(at+"limit", file.Limit, 1, maxFrameLimit, defaultFrameLimit),
		checksum: check,
		counts:   []string{pieceBody},
	}
	p.d.sends, p.d.receives = f, f
	if f.start == nil {
		f.start = []byte{0} // told already
	}
	p.length(f)
	if file.Escape == nil {
		if file.EscapeXor != nil {
			p.Fail(at+"escape_xor", written.Quote(*file.EscapeXor), "an escape, or none of the two", `escape = "7D"`)
		}
	} else if escape := p.someBytes(at+"escape", file.Escape, 1, 1); escape != nil {
		f.escapes, f.escape = true, escape[0]
		xor := file.EscapeXor
		if xor == nil {
			xor = new(string)
			*xor = defaultEscapeXor
		}
		if bytes := p.someBytes(at+"escape_xor", xor, 1, 1); bytes != nil {
			f.xor = bytes[0]
		}
		p.escape(f)
	}
	if f.length == nil && (len(f.end) == 0 || !f.escapes) {
		p.Fail("frame", "no length", "a length, or an end and an escape", "how can one tell where a frame ends?")
	}
}

func (p *dialectParser) length(f *frameFraming) {
	const at = "frame."
	file := p.file.Frame
	if file.Length == nil {
		if file.Head != nil {
			p.Fail(at+"head", fmt.Sprint(*file.Head), "a length, before which it stands", "")
		}
		if file.Counts != nil {
			p.Fail(at+"counts", written.Quote(fmt.Sprint(*file.Counts)), "a length, which counts it", "")
		}
		return
	}
	length, ok := parseFormat(*file.Length, true)
	if !ok || length.signed {
		p.Fail(at+"length", written.Quote(*file.Length), `"1" to "4" bytes, with "le" for the low byte first`, "")
		length = plainFormat(true)
	}
	f.length = &length
	if file.Counts != nil {
		f.counts = *file.Counts
		pieces := []string{pieceStart, pieceHead, pieceLength, pieceBody, pieceChecksum, pieceEnd}
		for i, piece := range f.counts {
			if !slices.Contains(pieces, piece) || slices.Contains(f.counts[:i], piece) {
				p.Fail(fmt.Sprintf("%scounts[%d]", at, i), written.Quote(piece), "one of "+joined(pieces)+", each once", "")
			}
		}
		if !slices.Contains(f.counts, pieceBody) {
			p.Fail(at+"counts", "no body", "body, and what else it counts", "")
		}
	}
	if length.width < 4 && f.longest+f.fixed() > 1<<(8*length.width)-1 {
		f.longest = 1<<(8*length.width) - 1 - f.fixed()
		if p.file.Frame.Limit != nil {
			p.Fail(at+"limit", fmt.Sprint(*file.Limit), fmt.Sprintf("at most %d, which is what the length can say", f.longest), "")
		}
	}
	if f.head > f.longest {
		p.Fail(at+"head", fmt.Sprint(f.head), "no more than the limit", "")
	}
}

// escape sees that what is escaped does not have to be escaped again.
func (p *dialectParser) escape(f *frameFraming) {
	specials := []byte{f.escape, f.start[0]}
	if len(f.end) > 0 {
		specials = append(specials, f.end[0])
		if f.end[0] == f.escape {
			p.Fail("frame.escape", hexText([]byte{f.escape}), "another byte than that of the end", "")
		}
	}
	if f.start[0] == f.escape {
		p.Fail("frame.escape", hexText([]byte{f.escape}), "another byte than that of the start", "")
	}
	for _, b := range specials {
		if slices.Contains(specials, b^f.xor) {
			p.Fail("frame.escape_xor", hexText([]byte{f.xor}), "a byte that changes start, end and escape into others", "")
			return
		}
	}
}

// fits sees that a payload of so many bytes can be sent.
func (p *dialectParser) fits(path string, least, most int) {
	f, ok := p.d.sends.(*frameFraming)
	if !ok {
		return
	}
	if least < max(f.head, 1) {
		p.Fail(path, fmt.Sprintf("a payload of %d bytes", least), fmt.Sprintf("at least %d", max(f.head, 1)), "the head is part of it")
	}
	if most > f.longest {
		p.Fail(path, fmt.Sprintf("a payload of %d bytes", most), fmt.Sprintf("at most %d", f.longest), "see [frame] limit")
	}
}

// payload is how many bytes a template makes.
func (d *Dialect) payload(t template) (least, most int) {
	for _, p := range t.parts {
		words := d.words[p.name]
		switch {
		case p.name == "":
			n := byteCount(p.text)
			least, most = least+n, most+n
		case words != nil && p.field == nil:
			low, high := -1, 0
			for _, word := range words {
				n := byteCount(word)
				if low < 0 || n < low {
					low = n
				}
				high = max(high, n)
			}
			least, most = least+max(low, 0), most+high
		default:
			least, most = least+p.format.width, most+p.format.width
		}
	}
	return least, most
}

// byteCount is how many bytes a text of hexText has.
func byteCount(text string) int { return (len(text) + 1) / 3 }

// someBytes reads so many bytes in hexadecimal.
func (p *dialectParser) someBytes(path string, text *string, least, most int) []byte {
	if text == nil {
		return nil
	}
	b, err := hexBytes(*text)
	if err != nil || len(b) < least || len(b) > most {
		want := fmt.Sprintf("%d to %d bytes in hexadecimal, as in \"A5\"", least, most)
		if least == most {
			want = "one byte in hexadecimal, as in \"7D\""
		}
		p.Fail(path, written.Quote(*text), want, "")
		return nil
	}
	return b
}
