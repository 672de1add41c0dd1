package main

import (
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"bufferstop/harness/signal"
	"bufferstop/harness/verdict"
)

// A recorder writes what is seen to a VCD file. A nil one writes nothing. The tracks hand over their edges one after the
// other; they are put in order of time when all of them are known.
type recorder struct {
	name    string
	file    *os.File
	packed  *gzip.Writer // nil for a plain file
	vcd     *signal.VCDWriter
	waiting []taken
	written time.Duration
	flushed time.Time
	late    int64 // edges that came after later ones were written, and are left out
	err     error
}

// taken is an edge of one of the tracks.
type taken struct {
	signal.Edge
	track int
}

// openRecord makes the file of --record, if there is to be one.
func (w *watchCommand) openRecord(args, names []string) (*recorder, error) {
	if w.record == "" {
		return nil, nil
	}
	unusable := func(got, want string) error {
		return &mistake{What: "cannot record", Where: "--record", Got: quote(w.record) + ", " + got, Want: want}
	}
	if len(names) == 0 {
		return nil, unusable("a rig that sees no track", "one that does")
	}
	if there, err := os.Stat(w.record); err == nil {
		if !there.Mode().IsRegular() {
			return nil, unusable("which is no file", "the name of a file")
		}
		if w.reads(there) {
			return nil, unusable("a file of the rig", "another file")
		}
		if len(args) == 1 && args[0] != "-" {
			if shown, err := os.Stat(args[0]); err == nil && os.SameFile(there, shown) {
				return nil, unusable("the capture itself", "another file")
			}
		}
	}
	file, err := os.Create(w.record)
	if err != nil {
		return nil, unusable(reason(err), "a file that can be written")
	}
	r := &recorder{name: w.record, file: file, flushed: time.Now()}
	var out io.Writer = file
	if strings.HasSuffix(w.record, ".gz") {
		r.packed = gzip.NewWriter(file)
		out = r.packed
	}
	r.vcd = signal.NewVCDWriter(out, names...)
	return r, nil
}

// add takes edges of a track.
func (r *recorder) add(track int, edges ...signal.Edge) {
	if r == nil || r.err != nil {
		return
	}
	for _, e := range edges {
		r.waiting = append(r.waiting, taken{e, track})
	}
}

// flushEvery is how often what is recorded reaches the file, so that a kill loses little.
const flushEvery = time.Second

// write writes what was seen until a time; all of it is known.
func (r *recorder) write(until time.Duration) error {
	if r == nil || r.err != nil {
		return nil // it is said once
	}
	slices.SortStableFunc(r.waiting, func(a, b taken) int { return int(min(max(a.Time-b.Time, -1), 1)) })
	n := 0
	for ; n < len(r.waiting) && r.waiting[n].Time <= until; n++ {
		e := r.waiting[n]
		if e.Time < r.written {
			r.late++
			continue
		}
		r.written = e.Time
		r.fail(r.vcd.Edge(e.track, e.Edge))
	}
	r.waiting = r.waiting[:copy(r.waiting, r.waiting[n:])]
	if time.Since(r.flushed) >= flushEvery {
		r.flushed = time.Now()
		r.fail(r.vcd.Close()) // which flushes
	}
	return r.fault()
}

func (r *recorder) fail(err error) {
	if r.err == nil {
		r.err = err
	}
}

func (r *recorder) fault() error {
	if r.err == nil {
		return nil
	}
	return exit{verdict.ExitFault, fmt.Errorf("cannot write the recording %q: %w", r.name, r.err)}
}

// close writes the rest, until when nothing more has happened, and closes the file.
func (r *recorder) close(end time.Duration) error {
	if r == nil || r.file == nil {
		return nil
	}
	already := r.err
	_ = r.write(end)
	r.fail(r.vcd.End(max(end, r.written)))
	r.fail(r.vcd.Close())
	if r.packed != nil {
		r.fail(r.packed.Close())
	}
	r.fail(r.file.Close())
	r.file = nil
	if already != nil {
		return nil // it is said
	}
	var late error
	if r.late > 0 {
		late = exit{verdict.ExitFault, fmt.Errorf("the recording %q lacks %d edges that came too late", r.name, r.late)}
	}
	return errors.Join(r.fault(), late)
}
