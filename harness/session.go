package harness

import (
	"context"
	"errors"
	"fmt"
	"time"

	"bufferstop/harness/link"
	"bufferstop/harness/station"
)

// A Session is one examination of a station: the rig that holds it, the driver that talks to it, and what its file
// promises. Suites work with nothing else.
type Session struct {
	Rig     Rig
	Station *station.Driver
	File    *station.File

	wire    *link.Recorder
	tapes   map[station.Track]*Tape
	stops   []func()
	results map[string]any
	former  map[string]any // those that are to be done again
}

// logLimit is how many bytes of the link a session keeps: a run of all suites takes some hundred kilobytes. Our own choice.
const logLimit = 16 << 20

// NewSession starts a session, its log of the link, and its tapes, one for each track the rig reaches. Close ends it. The
// options are those of its driver.
func NewSession(rig Rig, file *station.File, options ...station.Option) *Session {
	wire := link.Record(rig.Link(), rig)
	wire.SetLimit(logLimit)
	s := &Session{
		Rig:     rig,
		Station: file.Driver(wire, rig, options...),
		File:    file,
		wire:    wire,
		tapes:   map[station.Track]*Tape{},
		results: map[string]any{},
		former:  map[string]any{},
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

// Log returns every byte that the link to the station has carried until now, up to a limit. It is the session's own.
func (s *Session) Log() *link.Log { return s.wire.Log() }

// Wait lets d of the rig's time pass. A station that wants to hear something every now and then hears it meanwhile; when it
// does not answer that, the wait ends with an error that is station.ErrKeepAlive, as late as the answer may take. Other
// errors are the rig's, or that of ctx.
func (s *Session) Wait(ctx context.Context, d time.Duration) error {
	for end := s.Rig.Now() + d; ; {
		left := max(end-s.Rig.Now(), 0)
		due, needed := s.Station.NextKeepAlive()
		if !needed || due >= left {
			return s.Rig.Wait(ctx, left)
		}
		if err := s.Rig.Wait(ctx, due); err != nil {
			return err
		}
		if err := s.Station.KeepAlive(ctx); err != nil {
			return err
		}
	}
}

// Restart takes the station's supply away and gives it back, and brings driver and station into step again. The link may
// go with the supply, and come back with it, as that of a board does which is a USB device.
func (s *Session) Restart(ctx context.Context) error {
	s.Station.ExpectRestart()
	if err := s.Rig.Restart(ctx); err != nil {
		return fmt.Errorf("restarting the station: %w", err)
	}
	// That the link was closed meanwhile is told once. What else is amiss the next operation tells.
	if err := s.Station.Resynchronise(ctx); errors.Is(err, link.ErrClosed) {
		_ = s.Station.Resynchronise(ctx)
	}
	return ctx.Err()
}

// Reopen closes the link to the station and opens it again after a while, and brings driver and station into step. A rig
// that cannot do it gives an error that is ErrBeyond.
func (s *Session) Reopen(ctx context.Context, closed time.Duration) error {
	rig, can := s.Rig.(Reopener)
	if !can {
		return fmt.Errorf("closing and opening the link: %w", ErrBeyond)
	}
	s.Station.ExpectRestart()
	if err := rig.ReopenLink(ctx, closed); err != nil {
		return fmt.Errorf("closing and opening the link: %w", err)
	}
	// As after Restart.
	if err := s.Station.Resynchronise(ctx); errors.Is(err, link.ErrClosed) {
		_ = s.Station.Resynchronise(ctx)
	}
	return ctx.Err()
}

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

// Forget has every exercise done again when it is next asked for.
func (s *Session) Forget() {
	for name, result := range s.results {
		s.former[name] = result
	}
	clear(s.results)
}

// Done returns what an exercise gave, if it was done: the newest, also when it is to be done again.
func Done[T any](s *Session, name string) (result T, done bool) {
	if result, done = s.results[name].(T); !done {
		result, done = s.former[name].(T)
	}
	return result, done
}

// Safe opens every short, takes off every load and decoder, then asks the station to switch both tracks off. It does
// all of it even when a part fails, also when ctx has ended, and returns what failed. A station that cannot be talked to
// for the one track is not asked again for the other.
func (s *Session) Safe(ctx context.Context) error {
	errs := []error{s.Rig.Safe()}
	ctx = context.WithoutCancel(ctx)
	for _, track := range s.File.Claims.Tracks {
		err := s.Station.SetPower(ctx, track, false)
		errs = append(errs, err)
		if errors.Is(err, station.ErrSilent) || errors.Is(err, station.ErrNotTaken) {
			break
		}
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
