package signal

import (
	"compress/flate"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
)

// longestToken is the most bytes that a VCD token may have. The buffer is as long, so that memory is bounded.
const longestToken = 256 << 10

const hintTruncated = "the file may have been cut short or damaged in transfer"

// tokens splits a stream at white space and counts lines.
type tokens struct {
	r        io.Reader
	buf      []byte
	pos, end int // buf[pos:end] is unread
	line     int // of the token returned last
	err      error
}

func newTokens(r io.Reader) *tokens {
	return &tokens{r: r, buf: make([]byte, longestToken), line: 1}
}

// isSpace: blank, tab, newline, vertical tab, form feed, carriage return.
func isSpace(c byte) bool { return c == ' ' || c-'\t' < 5 }

// next returns the next token, valid until the call after, or io.EOF.
func (t *tokens) next() ([]byte, error) {
	buf, pos, end := t.buf, t.pos, t.end
	for {
		for pos < end && isSpace(buf[pos]) {
			if buf[pos] == '\n' {
				t.line++
			}
			pos++
		}
		if pos < end {
			break
		}
		t.pos = pos
		if err := t.fill(); err != nil {
			return nil, err
		}
		pos, end = t.pos, t.end
	}
	i := pos
	for {
		for i < end && (buf[i] > ' ' || !isSpace(buf[i])) {
			i++
		}
		if i < end {
			break
		}
		t.pos = pos
		err := t.fill()
		i -= pos - t.pos
		pos, end = t.pos, t.end
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, err
		}
	}
	t.pos = i
	return buf[pos:i], nil
}

// fill reads more behind what is unread, which it moves to the front of the buffer.
func (t *tokens) fill() error {
	if t.err != nil {
		return t.err
	}
	if t.pos > 0 {
		copy(t.buf, t.buf[t.pos:t.end])
		t.end -= t.pos
		t.pos = 0
	}
	if t.end == len(t.buf) {
		t.err = &SyntaxError{Line: t.line, What: fmt.Sprintf("a word of more than %d bytes", longestToken),
			Got: string(t.buf[:64]), Hint: hintNotVCD}
		return t.err
	}
	const patience = 100 // reads that bring nothing and no error
	for range patience {
		n, err := t.r.Read(t.buf[t.end:])
		t.end += n
		if err != nil {
			t.err = t.readError(err)
		}
		if n > 0 {
			return nil
		}
		if err != nil {
			return t.err
		}
	}
	t.err = fmt.Errorf("line %d: %w", t.line, io.ErrNoProgress)
	return t.err
}

// readError gives an error of the stream beneath its line. A damaged compression is a fault of the file.
func (t *tokens) readError(err error) error {
	var corrupt flate.CorruptInputError
	switch {
	case err == io.EOF:
		return io.EOF
	case errors.Is(err, io.ErrUnexpectedEOF):
		return &SyntaxError{Line: t.line, What: "the compressed file ends in the middle", Hint: hintTruncated, cause: err}
	case errors.Is(err, gzip.ErrChecksum), errors.Is(err, gzip.ErrHeader), errors.As(err, &corrupt):
		return &SyntaxError{Line: t.line, What: "the compression is damaged", Hint: hintTruncated, cause: err}
	}
	return fmt.Errorf("line %d: %w", t.line, err)
}
