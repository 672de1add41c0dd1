package bench

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/link"
)

// Rig is a bench with a station on it. It implements harness.Rig and is used by one goroutine at a time.
type Rig struct {
	side
	name   string
	line   link.Link
	far    link.Link // the end of the station inside, or nil
	closed bool
}

var _ harness.Rig = (*Rig)(nil)

// Describe says what the rig is and what it can do.
func (r *Rig) Describe() harness.Description {
	d := r.side.Describe()
	d.Name, d.Kind = r.name, "bench"
	if r.reopens() != nil {
		for name, has := range d.Tracks {
			if !slices.Contains(has, harness.ReopenLink) {
				d.Tracks[name] = append(has, harness.ReopenLink)
			}
		}
	}
	return d
}

// reopens is what can close the link and open it again, or nil. An adapter's cannot: it is the adapter that has the port.
func (r *Rig) reopens() func(ctx context.Context, closed time.Duration) error {
	switch line := r.line.(type) {
	case *link.ReopeningLink:
		return line.Reopen
	case *probedLine:
		if near, can := line.near.(*link.ReopeningLink); can {
			return func(ctx context.Context, closed time.Duration) error {
				if err := near.Reopen(ctx, closed); err != nil {
					return err
				}
				return line.side.Wait(ctx, 0) // the rig's time has gone on meanwhile
			}
		}
	}
	if inside, can := r.side.(harness.Reopener); can {
		return inside.ReopenLink
	}
	return nil
}

// ReopenLink follows the rules of harness.Reopener. The line of a station inside lies still for the while; what it is carried
// over stays open.
func (r *Rig) ReopenLink(ctx context.Context, closed time.Duration) error {
	reopen := r.reopens()
	if reopen == nil {
		return fmt.Errorf("bench rig: the link cannot be opened anew: %w", harness.ErrBeyond)
	}
	return reopen(ctx, closed)
}

// Link is the byte link to the station, or to the adapter that speaks with it.
func (r *Rig) Link() link.Link { return r.line }

// Close makes the rig safe and frees it, and whatever it has served. A second Close does nothing.
func (r *Rig) Close() error {
	if r.closed {
		return nil
	}
	r.closed = true
	err := errors.Join(r.side.Close(), r.line.Close())
	if r.far != nil {
		err = errors.Join(err, r.far.Close())
	}
	return err
}
