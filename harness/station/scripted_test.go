package station_test

import (
	"errors"
	"os"
	"strings"
	"testing"
	"time"

	"bufferstop/harness/link"
	"bufferstop/harness/station"

	"github.com/stretchr/testify/require"
)

// says is what a scripted station puts on the line, some time after it was asked. The line end has to be in the text.
type says struct {
	after time.Duration
	text  string
}

// at is one line, ended.
func at(after time.Duration, text string) says { return says{after, text + "\n"} }

// scripted is a station that answers from a table. It runs in the goroutine of the driver.
type scripted struct {
	t     *testing.T
	clock *link.VirtualClock
	near  *link.PipeEnd
	far   *link.PipeEnd
	heard []string
	rest  string
	// answers holds what is said to a line: each time the first of the list, the last one for ever.
	answers map[string][][]says
}

// answering returns a station that takes a millisecond for each line and knows only how to come into step.
func answering(t *testing.T) *scripted {
	s := &scripted{t: t, clock: new(link.VirtualClock), answers: map[string][][]says{}}
	s.near, s.far = link.Pipe(s.clock, time.Millisecond)
	s.far.OnArrival(s.listen)
	s.to("*CLS;*IDN?", at(0, "maker,model,1,2"))
	return s
}

// to lays down what is said the next time that the line is heard.
func (s *scripted) to(line string, replies ...says) {
	s.answers[line] = append(s.answers[line], replies)
}

func (s *scripted) listen() {
	p := make([]byte, 4096)
	n, err := s.far.Read(s.t.Context(), p, 0)
	if err != nil {
		// Two writes may arrive at one instant: the first call has taken both.
		require.True(s.t, errors.Is(err, link.ErrTimeout) || errors.Is(err, link.ErrClosed), "%v", err)
		return
	}
	s.rest += string(p[:n])
	for {
		line, rest, found := strings.Cut(s.rest, "\n")
		if !found {
			return
		}
		s.rest = rest
		s.heard = append(s.heard, line)
		table := s.answers[line]
		if len(table) == 0 {
			continue
		}
		if len(table) > 1 {
			s.answers[line] = table[1:]
		}
		for _, r := range table[0] {
			s.clock.At(s.clock.Now()+r.after, func() {
				_, err := s.far.Write(s.t.Context(), []byte(r.text), 0)
				require.NoError(s.t, err)
			})
		}
	}
}

// commands is what was heard, without the coming into step.
func (s *scripted) commands() []string {
	var all []string
	for _, line := range s.heard {
		if line != "*CLS;*IDN?" {
			all = append(all, line)
		}
	}
	return all
}

func reference(t testing.TB) *station.Dialect {
	t.Helper()
	data, err := os.ReadFile("../../rigs/reference.dialect.toml")
	require.NoError(t, err)
	d, err := station.ParseDialect("reference.dialect.toml", data)
	require.NoError(t, err)
	return d
}

func (s *scripted) driver(options ...station.Option) *station.Driver {
	return station.NewDriver(reference(s.t), s.near, s.clock, options...)
}
