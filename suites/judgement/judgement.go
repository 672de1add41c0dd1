// Package judgement judges a recording of a track, offline: by every requirement for which the signal alone is enough, with the same limits,
// the same rule of decision and the same record as a run.
package judgement

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"slices"
	"time"

	"bufferstop/harness/record"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/suites"
	"bufferstop/suites/audit"
	"bufferstop/suites/catalogue"
)

// Options say what the recording is of, and how it is judged.
type Options struct {
	// Name is that of the file, for the record.
	Name string
	// Track is the one that was recorded.
	Track station.Track
	// Signal names the signal of the file to judge; it may be empty where there is only one, or one that is named as the track is.
	Signal string
	// Uncertainty is the expanded uncertainty (k=2) of the time between two edges. Zero takes it from the grid of the file.
	Uncertainty time.Duration
	// Claims are those of the station; only Cutout and Editions matter to a recording.
	Claims station.Claims
	// Station is the name of the station and Stated are its claims as its file has them, for the record.
	Station string
	Stated  map[string]any
	// Version is the tool's own, for the record.
	Version string
}

// Requirements are those by which a recording of the track is judged.
func Requirements(track station.Track) (all []catalogue.Requirement) {
	for _, q := range catalogue.All() {
		for _, t := range q.Tracks {
			if q.Offline && t == string(track) {
				all = append(all, q)
			}
		}
	}
	return all
}

// Judge reads a value change dump, compressed with gzip or not, to its end, and returns the record of what came of it. Its memory does not depend
// on the length of the recording. When ctx ends, what was read until then is judged, and the record says that it was interrupted. An error is that
// of the recording, a *signal.SyntaxError or *signal.ChoiceError where it is about its contents, and then nothing is judged.
func Judge(ctx context.Context, source io.Reader, o Options) (*record.Record, error) {
	started := time.Now()
	sum := sha256.New()
	file := &counted{from: io.TeeReader(source, sum)}
	reader, err := signal.NewVCDReader(file)
	if err != nil {
		return nil, err
	}
	switch {
	case o.Signal != "":
		if err := reader.Choose(o.Signal); err != nil {
			return nil, err
		}
	case len(reader.Signals()) > 1 && reader.Choose(string(o.Track)) == nil: // else Read asks for a choice
		o.Signal = string(o.Track)
	}
	heard := audit.New(audit.Options{Track: o.Track, Cutout: o.Claims.Cutout, Editions: o.Claims.Editions})
	w := &wire{audit: heard, cutouts: o.Claims.Cutout}
	var grid signal.Grid
	if err := listen(ctx, reader, w, &grid); err != nil {
		return nil, err
	}
	heard.Finish(reader.End())
	if ctx.Err() == nil {
		if _, err := io.Copy(io.Discard, file); err != nil { // what the unpacked stream did not need, for the sum
			return nil, err
		}
	}

	run := record.New(o.Version, started)
	known := timesOf(o.Uncertainty, grid.Step())
	statistics := heard.Statistics()
	run.Rig = record.Rig{
		Name: "recording", Kind: "capture", File: o.Name,
		Tracks:          map[string][]string{string(o.Track): {"edges"}},
		EdgeUncertainty: known.expanded(),
		Capture: &record.Capture{SHA256: hex.EncodeToString(sum.Sum(nil)), Size: file.n, Track: string(o.Track), Signal: o.Signal,
			Edges: statistics.Edges, Packets: statistics.Packets, Length: reader.End(), Grid: known.grid},
	}
	run.Station.Name, run.Station.Claims = o.Station, o.Stated
	for _, b := range known.budgets {
		run.Rig.Budgets = append(run.Rig.Budgets, record.BudgetOf(b))
	}
	run.Notes = append(run.Notes, known.words(), "times count from the first time stamp of the file")
	if w.taken > 0 {
		run.Notes = append(run.Notes, fmt.Sprintf("the recording has two levels and none for off: %d times one stood after an end bit as long as a cutout, and was taken for one. When it ended such a wire does not tell", w.taken))
	}
	if w.stands > 0 {
		run.Notes = append(run.Notes, fmt.Sprintf("%d times a level stood for more than %v: the track was off, or had DC on it, which a wire of two levels does not tell apart. That is not judged",
			w.stands, noSignal))
	}
	for _, q := range Requirements(o.Track) {
		r := record.Result{ID: q.ID, Title: q.Title, Level: q.LevelBy(o.Claims.Editions), Sentence: q.Sentence, Source: q.Source, Suite: q.Suite,
			Track: string(o.Track), End: reader.End(), Editions: q.EditionsBy(o.Claims.Editions)}
		if !q.Binds(o.Claims.Editions) {
			r.Verdict, r.Reason = verdict.NotClaimed, "by the edition that the station claims this is no duty"
			run.Results = append(run.Results, r)
			continue
		}
		if slices.Contains(q.Claims, "cutout") && !o.Claims.Cutout {
			r.Verdict, r.Reason = verdict.NotClaimed, "it is for stations that claim cutouts"
			run.Results = append(run.Results, r)
			continue
		}
		heard.Report(q.ID).Into(&r, q, known.budget)
		run.Results = append(run.Results, r)
	}
	run.Histograms = suites.HalfBits(string(o.Track), statistics)
	run.Conclude(reader.End(), time.Since(started), ctx.Err() != nil)
	return run, nil
}

// listen sends the whole recording to an audit, by its wire, and to a grid.
func listen(ctx context.Context, reader *signal.VCDReader, heard *wire, grid *signal.Grid) error {
	edges := make([]signal.Edge, 4096)
	for ctx.Err() == nil {
		n, err := reader.Read(edges)
		heard.edges(edges[:n])
		grid.Edges(edges[:n])
		switch {
		case err == io.EOF:
			heard.end()
			return nil
		case err != nil:
			return err
		}
	}
	return nil
}

// counted counts what is read.
type counted struct {
	from io.Reader
	n    int64
}

func (c *counted) Read(buffer []byte) (int, error) {
	n, err := c.from.Read(buffer)
	c.n += int64(n)
	return n, err
}

// words says where U comes from.
func (t times) words() string {
	if t.grid == 0 {
		return fmt.Sprintf("the uncertainty of the time between two edges, U = %v, was given", t.expanded())
	}
	return fmt.Sprintf("all edges of the file lie on a grid of %v; from it comes the uncertainty of the time between two, U = 2·grid/√6 = %v (JCGM 100:2008 4.3.7, 5.1.2). How far the clock of the recorder is off is not known, and not in it",
		t.grid, t.expanded())
}
