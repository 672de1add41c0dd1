package replay

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"bufferstop/harness/link"
	"bufferstop/harness/probe"
	"bufferstop/harness/probe/analyser"
	"bufferstop/harness/signal"
)

const (
	chunk = 256 << 10
	// unpackLimit is how long sigrok-cli may take for the next samples of a file. Our own choice.
	unpackLimit = 30 * time.Second
)

// A session reads the tracks of a session file, which sigrok-cli unpacks for it.
type session struct {
	path    string
	program link.Link
	sampler *analyser.Sampler
	buf     []byte
	pending [][]signal.Edge // of each track, not told yet
	tell    func(track int, e signal.Edge)
	over    bool
}

func openSession(ctx context.Context, a Address, o Options) (*session, probe.Hello, error) {
	about, err := analyser.Show(ctx, o.Command, a.Path)
	if err != nil {
		return nil, probe.Hello{}, fmt.Errorf("%s: %w", a.Path, err)
	}
	tracks, err := chooseTracks(a.Tracks, about.Channels)
	if err != nil {
		return nil, probe.Hello{}, fmt.Errorf("%s: %w", a.Path, err)
	}
	for i := range tracks { // which a dump would take without being told
		if tracks[i].Sign == "" && tracks[i].Positive == "" {
			if len(about.Channels) != 1 {
				return nil, probe.Hello{}, fmt.Errorf("%s: channel of track %s: got none, want one of %+q", a.Path, trackNames[tracks[i].Track], about.Channels)
			}
			tracks[i].Sign = about.Channels[0]
		}
	}
	layout, err := about.Layout(tracks, a.OffAfter)
	if err != nil {
		return nil, probe.Hello{}, fmt.Errorf("%s: %w", a.Path, err)
	}
	s := &session{path: a.Path, buf: make([]byte, chunk), pending: make([][]signal.Edge, len(tracks))}
	s.sampler, err = analyser.NewSampler(layout, func(track int, e signal.Edge) { s.pending[track] = append(s.pending[track], e) })
	if err != nil {
		return nil, probe.Hello{}, err
	}
	command := o.Command
	if len(command) == 0 {
		command = []string{analyser.Program}
	}
	s.program, err = link.OpenProcess(ctx, link.ProcessConfig{Chunk: chunk, Grace: time.Millisecond,
		Command: append(command[:len(command):len(command)], "--input-file", a.Path, "--output-format", "binary")})
	if err != nil {
		return nil, probe.Hello{}, err
	}
	return s, analyser.Hello("capture file", layout, tracks), nil
}

// read tells all edges before until. At the end of the file it returns when that is, and io.EOF.
func (s *session) read(ctx context.Context, until time.Duration) (time.Duration, error) {
	for !s.over && s.sampler.Settled() < until {
		n, err := s.program.Read(ctx, s.buf, unpackLimit)
		s.sampler.Feed(s.buf[:n])
		switch {
		case err == nil:
		case errors.Is(err, link.ErrClosed) && strings.Contains(err.Error(), "exit status 0"):
			s.over = true
			s.sampler.Finish()
		case errors.Is(err, link.ErrTimeout):
			return 0, fmt.Errorf("%s: %s has said nothing for %v", s.path, analyser.Program, unpackLimit)
		case ctx.Err() != nil:
			return 0, ctx.Err()
		default:
			return 0, fmt.Errorf("%s: %w", s.path, err)
		}
	}
	settled := min(until, s.sampler.Settled())
	if s.over {
		settled = until
	}
	left := false
	for i, edges := range s.pending {
		n := 0
		for n < len(edges) && edges[n].Time < settled {
			s.tell(i, edges[n])
			n++
		}
		s.pending[i] = edges[:copy(edges, edges[n:])]
		left = left || len(s.pending[i]) > 0
	}
	if s.over && !left && s.sampler.Now() <= until {
		return s.sampler.Now(), io.EOF
	}
	return settled, nil
}

func (s *session) close() error { return s.program.Close() }

// isSession reports whether a file that begins so is a session file: a ZIP archive (its local file header's signature).
func isSession(raw []byte) bool { return strings.HasPrefix(string(raw), "PK\x03\x04") }
