package main

import (
	"context"
	"errors"
	"io"
	"path/filepath"
	"time"

	"bufferstop/harness/live"
	"bufferstop/harness/signal"
	"bufferstop/harness/verdict"
)

// A captureSource watches one or two signals of a capture.
type captureSource struct {
	*watching
	file  string
	reels []*reel
	now   time.Duration
	stop  context.CancelFunc // of the reading of standard input
}

// A reel is one signal of a capture, and what is read of it and not shown yet.
type reel struct {
	*signal.Capture
	edges  []signal.Edge // read and not shown yet
	buffer []signal.Edge
	over   bool
}

// reelEdges is how many edges are read at once: few, so that one can watch a probe that writes into a pipe.
const reelEdges = 256

// openCaptures opens the signals of a capture that are to be shown: those that are named, or all of a file that has no more
// than two. Each is read from an opening of its own, which standard input has only once.
func (w *watchCommand) openCaptures(ctx context.Context, file string, stdin io.Reader) (_ *watching, err error) {
	ctx, stop := context.WithCancel(ctx)
	defer func() {
		if ctx.Err() != nil {
			err = exit{code: verdict.ExitInterrupted}
		}
		if err != nil {
			stop()
		}
	}()
	if file == "-" {
		stdin = readPatiently(ctx, stdin)
	}
	first := ""
	if len(w.signals) > 0 {
		first = w.signals[0]
	}
	capture, err := openCapture(file, first, stdin)
	if err != nil {
		return nil, err
	}
	names := w.signals
	if len(names) == 0 {
		names = capture.Signals()
	}
	if len(names) > 2 || file == "-" || len(names) == 0 {
		names = names[:min(len(names), 1)] // reading will say when that is not clear
	}
	s := &captureSource{file: file, stop: stop, reels: []*reel{{Capture: capture, buffer: make([]signal.Edge, reelEdges)}}}
	if len(w.signals) == 2 && file == "-" {
		return nil, errors.Join(&mistake{What: "two signals of standard input", Where: "--signal", Got: "2", Want: "1",
			Hint: "a file can be read for each"}, s.letGo())
	}
	if len(names) == 2 {
		err := capture.Choose(names[0])
		if err == nil {
			capture, err = signal.OpenCapture(file, stdin)
		}
		if err == nil {
			s.reels = append(s.reels, &reel{Capture: capture, buffer: make([]signal.Edge, reelEdges)})
			err = capture.Choose(names[1])
		}
		if err != nil {
			return nil, errors.Join(captureMistake(file, err), s.letGo())
		}
	}
	for _, r := range s.reels { // so that what cannot be read is said before the screen is filled
		if err := r.fill(); err != nil {
			return nil, errors.Join(captureMistake(file, err), s.letGo())
		}
	}
	shown := make([]string, len(names))
	for i, name := range names {
		shown[i] = harmless(name)
	}
	if len(shown) == 0 {
		shown = []string{"track"}
	}
	about := "capture " + harmless(filepath.Base(file))
	if file == "-" {
		about = "capture from standard input"
	}
	s.watching = newWatching(s, about, shown, make([]live.Options, len(shown)))
	return s.watching, nil
}

// fill reads more when all is shown.
func (r *reel) fill() error {
	if len(r.edges) > 0 || r.over {
		return nil
	}
	n, err := r.Read(r.buffer)
	r.edges = r.buffer[:n]
	if errors.Is(err, io.EOF) {
		r.over = true
		return nil
	}
	return err
}

// unlessMistaken words what is wrong with a capture. That the watch has ended is nothing wrong.
func unlessMistaken(file string, err error) error {
	if errors.Is(err, context.Canceled) {
		return err
	}
	return captureMistake(file, err)
}

func (s *captureSource) begin(context.Context) error { return nil }

// step shows the next d of the capture.
func (s *captureSource) step(ctx context.Context, d time.Duration) (time.Duration, error) {
	to, end, over := s.now+d, time.Duration(0), true
	for i, r := range s.reels {
		for {
			if err := r.fill(); err != nil {
				if ctx.Err() != nil {
					err = ctx.Err()
				}
				return s.now, unlessMistaken(s.file, err)
			}
			n := 0
			for n < len(r.edges) && r.edges[n].Time <= to {
				n++
			}
			trackWatch{s.watching, i}.Edges(r.edges[:n])
			r.edges = r.edges[n:]
			if n == 0 || ctx.Err() != nil {
				break
			}
		}
		over = over && r.over && len(r.edges) == 0
		end = max(end, r.End())
	}
	if over && to >= end {
		s.now = end
		return end, io.EOF
	}
	s.now = to
	return to, ctx.Err()
}

func (s *captureSource) obey(context.Context, order) { s.say("a capture has no station to ask") }

func (s *captureSource) pauses() bool { return true }

func (s *captureSource) close(context.Context) error { return s.letGo() }

func (s *captureSource) letGo() error {
	s.stop()
	var all []error
	for _, r := range s.reels {
		all = append(all, r.Close())
	}
	return errors.Join(all...)
}
