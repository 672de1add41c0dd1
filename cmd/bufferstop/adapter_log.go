package main

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"sync"

	"bufferstop/harness/report"
)

// said passes on what another program says, line by line and harmless.
type said struct {
	out    io.Writer
	before string
}

func (s *said) Write(text []byte) (int, error) {
	for line := range strings.Lines(string(text)) {
		if _, err := fmt.Fprintf(s.out, "%s%s\n", s.before, harmless(strings.TrimRight(line, "\r\n"))); err != nil {
			return 0, err
		}
	}
	return len(text), nil
}

// ofAdapter stands before each line that an adapter says on its standard error.
const ofAdapter = "adapter: "

// adapterLogBytes is how much is kept of what an adapter says. Our own choice.
const adapterLogBytes = 1 << 20

// An adapterLog passes on what an adapter says on its standard error, and keeps it. The adapter's link writes from a
// goroutine of its own.
type adapterLog struct {
	said
	mu   sync.Mutex
	kept bytes.Buffer
	lost int // bytes that came beyond
}

// newAdapterLog passes on to a screen, on which a progress may show a line.
func newAdapterLog(out io.Writer, live bool) *adapterLog {
	l := &adapterLog{said: said{out: out, before: ofAdapter}}
	if live {
		l.before = report.Erase + ofAdapter
	}
	return l
}

// Write takes what the adapter says. That it cannot be passed on is no reason not to keep it.
func (l *adapterLog) Write(text []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if room := adapterLogBytes - l.kept.Len(); l.lost == 0 && len(text) <= room {
		l.kept.Write(text)
	} else {
		l.lost += len(text) // all that follows, so that there is no hole
	}
	return l.said.Write(text)
}

// text is what was kept.
func (l *adapterLog) text() []byte {
	l.mu.Lock()
	defer l.mu.Unlock()
	text := bytes.Clone(l.kept.Bytes())
	if l.lost > 0 {
		text = fmt.Appendf(text, "... and %d bytes more\n", l.lost)
	}
	return text
}
