package harness

import (
	"context"
	"errors"

	"bufferstop/harness/station"
)

// A Session is one examination of a station: the rig that holds it, the driver that talks to it, and what its file
// promises. Suites work with nothing else.
type Session struct {
	Rig     Rig
	Station *station.Driver
	File    *station.File

	tapes   map[station.Track]*Tape
	stops   []func()
	results map[string]any
}

// NewSession starts a session and its tapes, one for each track the rig reaches. Close ends it.
func NewSession(rig Rig, file *station.File) *Session {
	s := &Session{
		Rig:     rig,
		Station: file.Driver(rig.Link(), rig),
		File:    file,
		tapes:   map[station.Track]*Tape{},
		results: map[string]any{},
	}
	for _, name := range []station.Track{station.Main, station.Programming} {
		if t := rig.Track(name); t != nil {
			tape := new(Tape)
			s.tapes[name] = tape
			s.stops = append(s.stops, t.Listen(tape))
		}
	}
	return s
}

// Tape returns the recording of the last seconds of a track, or nil when the rig does not reach it.
func (s *Session) Tape(track station.Track) *Tape { return s.tapes[track] }

// Shared returns what an exercise of the station gave, done once for all the requirements that look at it. An exercise
// that panics, as a failed expectation does, is done again when it is next asked for.
func Shared[T any](s *Session, name string, exercise func() T) T {
	if done, ok := s.results[name]; ok {
		return done.(T)
	}
	result := exercise()
	s.results[name] = result
	return result
}

// Done returns what an exercise gave, if it was done.
func Done[T any](s *Session, name string) (result T, done bool) {
	result, done = s.results[name].(T)
	return result, done
}

// Safe opens every short, takes off every load and decoder, then asks the station to switch both tracks off. It does
// all of it even when a part fails, also when ctx has ended, and returns what failed.
func (s *Session) Safe(ctx context.Context) error {
	errs := []error{s.Rig.Safe()}
	ctx = context.WithoutCancel(ctx)
	for _, track := range s.File.Claims.Tracks {
		errs = append(errs, s.Station.SetPower(ctx, track, false))
	}
	return errors.Join(errs...)
}

// Close makes everything safe and stops the tapes. The rig stays open: it is its owner's.
func (s *Session) Close(ctx context.Context) error {
	err := s.Safe(ctx)
	for _, stop := range s.stops {
		stop()
	}
	s.stops = nil
	return err
}
