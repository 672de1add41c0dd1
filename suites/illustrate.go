package suites

import (
	"math"
	"slices"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/record"
	"bufferstop/harness/signal"
	"bufferstop/harness/verdict"
	"bufferstop/suites/catalogue"
	"bufferstop/suites/conformance"
)

// illustrate gives the record its figures: how the half-bits of each track are spread, and one packet of the main
// track as it was. They come from the traffic that the conformance suite watched; without it there are none.
func illustrate(run *record.Record, s *harness.Session) {
	for track, w := range conformance.Traffic(s) {
		if !looked(run, string(track)) {
			continue
		}
		statistics := w.Statistics()
		run.Histograms = append(run.Histograms, HalfBits(string(track), statistics)...)
		if waveform, ok := onePacket(w, string(track)); ok && len(run.Waveforms) == 0 {
			run.Waveforms = append(run.Waveforms, waveform)
		}
	}
}

// HalfBits are the figures of how the half-bits of a track are spread.
func HalfBits(track string, s *signal.Statistics) []record.Histogram {
	return []record.Histogram{histogram("one half-bit", "SIG-001", track, &s.OneHalf), histogram("zero half-bit", "SIG-003", track, &s.ZeroHalf)}
}

// looked reports whether the run has a requirement on the track for which its traffic was made. What is judged throughout a run has some
// made where there was none, in every part of one that is divided, and the figures would be there as often.
func looked(run *record.Record, track string) bool {
	return slices.ContainsFunc(run.Results, func(r record.Result) bool {
		q, _ := catalogue.Find(r.ID)
		return r.Track == track && !q.Throughout && len(q.Exercises) > 0
	})
}

// histogram copies a distribution, with the limits of the requirement that judges it.
func histogram(name, id, track string, d *signal.Distribution) record.Histogram {
	h := record.Histogram{
		Name: name, Track: track, Unit: verdict.Nanoseconds,
		Count: d.Count, Min: float64(d.Min), Mean: d.Mean(), Max: float64(d.Max),
		Bins: []record.Bin{},
	}
	if r, ok := catalogue.Find(id); ok {
		l, _ := r.Limit(name)
		h.Limit = l.Bounds(0)
	}
	for bin := range d.Bins() {
		low, high := float64(bin.Low), float64(bin.High)
		if bin.Low == math.MinInt64 {
			low = float64(d.Min) // the open bins end where the values do
		}
		if bin.High == math.MaxInt64 {
			high = float64(d.Max) + 1
		}
		h.Bins = append(h.Bins, record.Bin{Low: low, High: high, Count: bin.Count})
	}
	return h
}

// onePacket finds a packet that the recording still holds whole, an instruction rather than an idle packet if there is
// one, and marks its parts.
func onePacket(w *harness.Watch, track string) (record.Waveform, bool) {
	var best record.Waveform
	found := false
	for _, h := range w.Packets {
		if h.Fault != signal.None || found && h.Bytes.IsIdle() {
			continue
		}
		preamble := h.Preamble
		start := h.Start
		edges := w.Tape().Between(start-time.Nanosecond, h.End)
		if len(edges) < 2 {
			continue
		}
		edges = edges[1:]
		// The watch counts the end bit of the packet before as one of the preamble; the drawing starts after it.
		if excess := 2*(preamble+9*len(h.Bytes)+1) + 1 - len(edges); excess == 2 {
			preamble--
		}
		drawn := make([]record.Edge, len(edges))
		for i, e := range edges {
			drawn[i] = record.Edge{At: e.Time, Level: int(e.Level)}
		}
		waveform, err := record.PacketWaveform(h.Meaning.String(), track, drawn, preamble, h.Bytes)
		if err != nil {
			continue
		}
		best, found = waveform, true
		if !h.Bytes.IsIdle() {
			return best, true
		}
	}
	return best, found
}
