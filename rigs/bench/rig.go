package bench

import (
	"errors"

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
	return d
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
