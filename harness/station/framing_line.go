package station

import (
	"bytes"
	"unicode"
	"unicode/utf8"

	"bufferstop/harness/written"
)

// lineFraming is messages of text with something at the end of each.
type lineFraming struct {
	end      string // empty: a silence ends a message
	tolerant bool   // CR, LF and CRLF all end a line, and there are no empty lines
	longest  int    // bytes of a line without its end
	anyText  bool   // lines may have bytes that are no text
	checksum *checksum
}

func (f *lineFraming) wrap(text string) []byte { return []byte(f.checksum.add(text) + f.end) }

func (f *lineFraming) limit() int { return f.longest + len(f.end) }

func (f *lineFraming) cut(pending []byte, silent bool) (n int, text []byte, err error) {
	switch {
	case f.tolerant:
		at := bytes.IndexAny(pending, "\r\n")
		if at < 0 {
			return 0, nil, nil
		}
		if at == 0 {
			return 1, nil, nil // an empty line, or the second half of CRLF
		}
		text, n = pending[:at], at+1
	case f.end == "":
		if !silent || len(pending) == 0 {
			return 0, nil, nil
		}
		text, n = pending, len(pending)
	default:
		at := bytes.Index(pending, []byte(f.end))
		if at < 0 {
			return 0, nil, nil
		}
		text, n = pending[:at], at+len(f.end)
	}
	text, err = f.unwrap(text)
	return n, text, err
}

// unwrap is the message in a line: it checks that it is text, and that the checksum is right, which it takes off.
func (f *lineFraming) unwrap(line []byte) ([]byte, error) {
	text, err := f.checksum.strip(line)
	if err != nil {
		return nil, err
	}
	if !f.anyText && !isText(text) {
		want := "printable characters only"
		if text[len(text)-1] == '\r' && isText(text[:len(text)-1]) {
			want += ", or does the station end its lines in another way than [line] says?"
		}
		return nil, &GarbledMessage{What: "bytes that are no text", Got: string(line), Want: want}
	}
	return append([]byte{}, text...), nil
}

func isControl(r rune) bool { return r != '\t' && unicode.IsControl(r) }

// isText reports whether there is nothing in a line but what can be printed.
func isText(line []byte) bool { return utf8.Valid(line) && !bytes.ContainsFunc(line, isControl) }

// lineEnd reads the text of a line end.
func (p *dialectParser) lineEnd(path string, end *string, otherwise string) string {
	if end == nil {
		return otherwise
	}
	if *end == "" || len(*end) > 8 {
		p.Fail(path, written.Quote(*end), "1 to 8 bytes", `"\n", "\r" and "\r\n" are usual`)
		return otherwise
	}
	return *end
}

// lines reads [line].
func (p *dialectParser) lines(check *checksum) {
	f := &p.file.Line
	sends := &lineFraming{end: p.lineEnd("line.end", f.End, defaultLineEnd), checksum: check}
	receives := &lineFraming{end: p.lineEnd("line.answer_end", f.AnswerEnd, sends.end), checksum: check,
		tolerant: f.Tolerant != nil && *f.Tolerant,
		longest:  p.Between("line.limit", f.Limit, 1, 1<<20, defaultLineLimit)}
	sends.longest = receives.longest
	if f.Text != nil {
		if *f.Text != "any" && *f.Text != "printable" {
			p.Fail("line.text", written.Quote(*f.Text), `"printable" or "any"`, "")
		}
		sends.anyText = *f.Text == "any"
		receives.anyText = sends.anyText
	}
	if f.AnswerGap != nil {
		p.d.gap = p.Positive("line.answer_gap", f.AnswerGap, defaultQuiet)
		if f.AnswerEnd != nil || receives.tolerant {
			p.Fail("line.answer_gap", written.Quote(*f.AnswerGap), "either a line end or a silence that ends an answer", "leave out answer_end and tolerant")
		}
		if f.Echo != nil && *f.Echo {
			p.Fail("line.answer_gap", written.Quote(*f.AnswerGap), "no echo, or an end: the echo and the answer come without a silence between them", "")
		}
		receives.end = ""
	}
	if receives.tolerant && f.AnswerEnd != nil && *f.AnswerEnd != "\n" && *f.AnswerEnd != "\r" && *f.AnswerEnd != "\r\n" {
		p.Fail("line.answer_end", written.Quote(*f.AnswerEnd), `CR, LF or CRLF, since tolerant = true`, "leave out one of the two")
	}
	p.d.sends, p.d.receives = sends, receives
}
