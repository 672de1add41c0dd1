package link

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"strconv"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"
)

// How much of a program's standard error is passed on. Our own choices.
const (
	stderrLine = 4096    // bytes of one line
	stderrAll  = 1 << 20 // bytes of all lines
)

// A stderrLog passes a program's standard error on, line by line, and reads it to its end whatever comes.
type stderrLog struct {
	to   io.Writer
	left int   // bytes that may still be passed on
	lost int64 // bytes that were not, once left is used up

	mu   sync.Mutex
	last string
}

func newStderrLog(to io.Writer) *stderrLog {
	if to == nil {
		to = io.Discard
	}
	return &stderrLog{to: to, left: stderrAll}
}

// lastLine is the latest line that was not empty.
func (s *stderrLog) lastLine() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.last
}

// copy passes lines on until there are no more.
func (s *stderrLog) copy(from io.Reader) {
	reader := bufio.NewReaderSize(from, stderrLine)
	for {
		line, err := reader.ReadSlice('\n')
		cut := int64(0)
		start := line
		if err == bufio.ErrBufferFull {
			start = append([]byte(nil), line...)
			for err == bufio.ErrBufferFull {
				line, err = reader.ReadSlice('\n')
				cut += int64(len(line))
			}
		}
		if len(start) > 0 {
			s.pass(start, cut)
		}
		if err != nil {
			break
		}
	}
	if s.lost > 0 {
		_, _ = fmt.Fprintf(s.to, "... and %d bytes more\n", s.lost)
	}
}

func (s *stderrLog) pass(line []byte, cut int64) {
	if len(line) > s.left {
		s.left = 0 // or a short line would come after the hole
		s.lost += int64(len(line)) + cut
		return
	}
	s.left -= len(line)
	text := harmless(bytes.TrimRight(line, "\r\n"))
	if cut > 0 {
		text += fmt.Sprintf(" ... and %d bytes more", cut)
	}
	if text != "" {
		s.mu.Lock()
		s.last = text[:min(len(text), 200)]
		s.mu.Unlock()
	}
	// What is lost because the writer fails must not hold up the program.
	_, _ = io.WriteString(s.to, text+"\n")
}

// harmless escapes what is not printable text.
func harmless(line []byte) string {
	var b strings.Builder
	for len(line) > 0 {
		r, size := utf8.DecodeRune(line)
		switch {
		case r == utf8.RuneError && size == 1:
			fmt.Fprintf(&b, `\x%02x`, line[0])
		case unicode.IsPrint(r):
			b.WriteRune(r)
		default:
			quoted := strconv.QuoteRuneToASCII(r)
			b.WriteString(quoted[1 : len(quoted)-1])
		}
		line = line[size:]
	}
	return b.String()
}
