package report

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"bufferstop/harness/record"
	"bufferstop/harness/uncertainty"
	"bufferstop/harness/verdict"
)

// sample is a run as a bench might record it: three suites, every verdict, figures of both kinds.
func sample(t testing.TB) *record.Record {
	t.Helper()
	r := record.New("v0.1.0", time.Date(2026, 5, 17, 9, 41, 7, 0, time.UTC))
	r.Tool.Go, r.Tool.OS, r.Tool.Arch = "go1.26.0", "linux", "amd64"
	r.LinkLog = "captures/link.log.gz"
	r.Repeat = "bufferstop run --station my.station.toml --seed 7 --build firmware.hex --out run"
	r.Build = record.Build{Maker: "home", Model: "two track station", Serial: "0042", Version: "1.4.0-rc2", Image: "firmware.hex",
		ImageSHA256: "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08", ImageSize: 28672, SourceRevision: "3c1f0b7"}
	r.Rig = record.Rig{Name: "simulated bench", Kind: "simulated", File: "rigs/simulated.rig.toml", Seed: 7,
		Tracks:          map[string][]string{"main": {"edges", "current", "short", "load"}, "programming": {"edges", "current", "decoder"}},
		EdgeUncertainty: 50 * time.Nanosecond, SampleInterval: 100 * time.Microsecond, CurrentUncertainty: 2.5,
		Calibration:  &record.Calibration{Date: time.Date(2025, 3, 1, 10, 0, 0, 0, time.UTC), Probe: "two-track probe", Serial: 7, ValidDays: 365, Tool: "v0.1.0"},
		Observations: []string{"the calibration of 2025-03-01 is out of date: it was valid for 365 days"}}
	model := uncertainty.Edges{Period: 20, Clock: "clock of the probe's time stamps", WholeNanoseconds: true,
		Scatter: 19, Observations: 9000, ScatterSource: "calibration of 2025-03-01",
		Threshold: 12, ThresholdSource: "hysteresis of 30 mV at 2.5 V/µs (S-9.1)", Delay: 20, DelaySource: "common comparators, from memory of data sheets",
		Drift: []uncertainty.Component{uncertainty.Deviation("frequency of the clock", 28e-6, "calibration of 2025-03-01").Proportional()}}
	for _, track := range []string{"main", "programming"} {
		for _, b := range []uncertainty.Budget{uncertainty.EdgeTimes(model), uncertainty.HalfDifferences(model)} {
			b.Track = track
			r.Rig.Budgets = append(r.Rig.Budgets, record.BudgetOf(b))
		}
	}
	r.Rig.Budgets = append(r.Rig.Budgets, record.BudgetOf(uncertainty.Currents(uncertainty.Samples{Track: "main", Step: 2, StepSource: "converter",
		Noise: 1.1, Observations: 4000, NoiseSource: "calibration of 2025-03-01", More: []uncertainty.Component{
			uncertainty.HalfWidth("gain", 0.07, "not calibrated: reference 5 %, resistors 1 % each, our own choice").Proportional()}})),
		record.BudgetOf(uncertainty.CurrentTimes(500e3, 0, model.Drift)), record.BudgetOf(uncertainty.AnswerTimes(0)))
	r.Station = record.Station{Name: "two track station", File: "my.station.toml", Dialect: "reference.dialect.toml",
		Claims: map[string]any{"speed_steps": []any{28, 128}, "programming_on_main": true, "cutout": false, "long_addresses": "128..10239"},
		Declares: map[string]any{"supply_voltage": "16V", "main": map[string]any{"trip_current": "3A", "trip_time": "100ms", "no_trip_current": "2.5A"},
			"read_time": "1s"}}

	result := func(id, title, suite, track, sentence, source string, level verdict.Level, begin time.Duration) record.Result {
		return record.Result{ID: id, Title: title, Level: level, Sentence: sentence, Source: source, Suite: suite, Track: track,
			Start: begin, End: begin + 2*time.Second, WallTime: 4 * time.Millisecond}
	}
	add := func(x record.Result) { r.Results = append(r.Results, x) }

	x := result("SIG-001", "one half-bits", "conformance", "main", "Both halves of a one last 55 to 61 µs.", "S-9.1 A (2020)", verdict.Must, time.Second)
	x.Measure(verdict.Distribution("one half-bit", verdict.Nanoseconds, verdict.Spread{Count: 1048576, Min: 56_900, Mean: 58_010.4,
		Max: 59_150, MinAt: 1200 * time.Millisecond, MaxAt: 1734512300}, verdict.Between(55e3, 61e3, "S-9.1 A (2020)"), 50))
	add(x)
	x = result("SIG-003", "zero half-bits", "conformance", "main", "Each half of a zero lasts 95 to 9900 µs.", "S-9.1 A (2020)", verdict.Must, 3*time.Second)
	x.Measure(verdict.Distribution("zero half-bit", verdict.Nanoseconds, verdict.Spread{Count: 431207, Min: 93_250, Mean: 100_020,
		Max: 101_100, MinAt: 3_512_345_678, MaxAt: 3_100_000_000}, verdict.Between(95e3, 9.9e6, "S-9.1 A (2020)"), 50))
	x.Failures = []record.Failure{{What: "a half of a zero is too short", Expected: "95 µs to 9.9 ms", Actual: "93.25 µs",
		At: 3_512_345_678, Evidence: "captures/SIG-003-main.vcd.gz"}}
	add(x)
	x = result("SIG-004", "whole zeros", "conformance", "main", "A whole zero lasts no longer than 12000 µs.", "S-9.1 A (2020)", verdict.Must, 4*time.Second)
	x.Measure(verdict.Distribution("whole zero", verdict.Nanoseconds, verdict.Spread{Count: 215603, Min: 186_500, Mean: 200_040,
		Max: 202_200, MaxAt: 4_400_000_000}, verdict.AtMost(12e6, "S-9.1 A (2020)"), 50))
	add(x)
	x = result("PKT-001", "preamble", "conformance", "main", "Every packet has a preamble of at least 14 ones.", "S-9.2 A (2004)", verdict.Must, 5*time.Second)
	x.Measure(verdict.Distribution("preamble bits", verdict.Count, verdict.Spread{Count: 10211, Min: 14, Mean: 15.1, Max: 16,
		MinAt: 5_100_000_000}, verdict.AtLeast(14, "S-9.2 A (2004)"), 0))
	add(x)
	x = result("PKT-004", "packet length", "conformance", "main", "Packets have 3 to 6 bytes, the error byte included.", "S-9.2.1 A (2012)", verdict.Must, 5*time.Second)
	x.Measure(verdict.Distribution("bytes", verdict.Count, verdict.Spread{Count: 10211, Min: 3, Mean: 3.4, Max: 5}, verdict.Between(3, 6, "S-9.2.1 A (2012)"), 0))
	add(x)
	x = result("RATE-002", "refresh", "conformance", "main", "Every active locomotive is told its speed again and again.",
		"common practice, no source", verdict.Should, 6*time.Second)
	x.Measure(verdict.Duration("longest silence towards one locomotive", 1210*time.Millisecond, 6_900_000_000, verdict.AtMost(1e9, "common practice, no source"), time.Microsecond))
	add(x)
	x = result("OPS-008", "stop one", "conformance", "main", "Stopping one locomotive reaches the track in the declared time.", "declared by the station", verdict.Must, 7*time.Second)
	x.Measure(verdict.Duration("latency of the stop", 99_960*time.Microsecond, 7_300_000_000, verdict.AtMost(100e6, "declared by the station"), 100*time.Microsecond))
	x.Measure(verdict.Number("stop packets sent", 10, 7_300_000_000, verdict.AtLeast(1, "S-9.2.1 C (2012)")))
	add(x)
	x = result("BID-001", "cutout", "conformance", "main", "The cutout keeps its times.", "S-9.3.2 (2012)", verdict.Must, 8*time.Second)
	x.Verdict, x.Reason = verdict.NotClaimed, "the station claims no cutout"
	add(x)

	x = result("SRV-006", "read back", "programming", "programming", "Every value 0 to 255 of a CV is read back as written.", "S-9.2.3 E (2012)", verdict.Must, 9*time.Second)
	x.Measure(verdict.Number("values read back right", 256, 11*time.Second, verdict.Exactly(256, "")))
	x.Measure(verdict.Distribution("time of one reading", verdict.Nanoseconds, verdict.Spread{Count: 256, Min: 412e6, Mean: 640e6, Max: 803e6,
		MinAt: 9e9, MaxAt: 10e9}, verdict.AtMost(1e9, "declared by the station"), 1e5))
	add(x)
	x = result("ACK-005", "noise before the window", "programming", "programming", "A pulse before the verify packets is not taken for an acknowledge.", "S-9.2.3 D (2012)", verdict.Must, 12*time.Second)
	x.Verdict, x.Reason = verdict.Inconclusive, "the noise pulse never reached the track"
	add(x)
	x = result("SRV-011", "bit write", "programming", "programming", "A bit is written by bit manipulation.", "S-9.2.3 E (2012)", verdict.Must, 13*time.Second)
	x.Verdict, x.Reason = verdict.Excluded, "left out by the selection"
	add(x)

	x = result("OVL-001", "dead short", "shortcircuit", "main", "A dead short takes the track voltage away within the declared time.", "declared by the station", verdict.Must, 14*time.Second)
	x.Measure(verdict.Duration("time to the trip", 104200*time.Microsecond, 14_104_200_000, verdict.AtMost(100e6, "declared by the station"), 100*time.Microsecond))
	x.Failures = []record.Failure{{What: "the track kept its voltage with 0.1 Ω across the rails", Expected: "off within 100 ms",
		Actual: "off after 104.2 ms", At: 14_104_200_000, Evidence: "captures/OVL-001-main.vcd.gz"}}
	x.Notes = []string{"The current before the trip was 9.7 A."}
	add(x)
	x = result("CUR-001", "reported current", "shortcircuit", "programming", "The reported current is right within the declared accuracy.", "declared by the station", verdict.Must, 16*time.Second)
	x.Verdict, x.Reason = verdict.NotFitted, "the rig has no load on the programming track"
	add(x)
	x = result("REC-001", "recovery", "shortcircuit", "main", "Track voltage is back in the declared time after the short is gone.", "declared by the station", verdict.Must, 17*time.Second)
	x.Verdict, x.Reason = verdict.Error, "the probe lost 3.2 ms of the capture"
	add(x)

	r.Histograms = []record.Histogram{
		bell("one half-bit", "main", verdict.Between(55e3, 61e3, "S-9.1 A (2020)"), 56_900, 59_150, 58_010, 350, 1048576),
		bell("zero half-bit", "main", verdict.Between(95e3, 9.9e6, "S-9.1 A (2020)"), 93_250, 101_100, 100_020, 320, 431207),
		bell("one half-bit", "programming", verdict.Between(55e3, 61e3, "S-9.1 A (2020)"), 57_900, 58_100, 58_000, 40, 22000),
		{Name: "zero half-bit", Track: "programming", Unit: verdict.Nanoseconds, Limit: verdict.Between(95e3, 9.9e6, "S-9.1 A (2020)"),
			Count: 5120, Min: 99_900, Mean: 230_000, Max: 4_000_100,
			Bins: []record.Bin{{Low: 99_800, High: 100_000, Count: 3000}, {Low: 100_000, High: 100_200, Count: 2000}, {Low: 4_000_000, High: 4_000_200, Count: 120}}},
	}
	w, err := record.PacketWaveform("locomotive 3: forward, step 10 of 28", "main", packetEdges(1_500_000_000, 14, []byte{3, 0x75, 0x76}), 14, []byte{3, 0x75, 0x76})
	require.NoError(t, err)
	r.Waveforms = []record.Waveform{w}
	for i := range r.Results {
		for k := range r.Results[i].Measurements {
			if m := &r.Results[i].Measurements[k]; m.Uncertainty == 50 {
				m.Budget = uncertainty.EdgeTime
			} else if m.Uncertainty > 50 {
				m.Budget = uncertainty.CurrentTime
			}
		}
	}
	r.Conclude(19*time.Second, 87*time.Millisecond, false)
	return r
}

// bell is a histogram of the shape that jitter has, with one value at each end.
func bell(name, track string, limit verdict.Limit, low, high, mean, deviation float64, count int64) record.Histogram {
	h := record.Histogram{Name: name, Track: track, Unit: verdict.Nanoseconds, Limit: limit, Count: count, Min: low, Mean: mean, Max: high}
	const width = 50.0
	for at := math.Floor(low/width) * width; at <= high; at += width {
		z := (at + width/2 - mean) / deviation
		n := int64(float64(count) * width / deviation * 0.4 * math.Exp(-z*z/2))
		if low >= at && low < at+width || high >= at && high < at+width {
			n = max(n, 1)
		}
		if n > 0 {
			h.Bins = append(h.Bins, record.Bin{Low: at, High: at + width, Count: n})
		}
	}
	return h
}

// packetEdges are the reversals of one packet with halves of 58 and 100 µs.
func packetEdges(at time.Duration, preamble int, packet []byte) []record.Edge {
	var bits []byte
	for range preamble {
		bits = append(bits, 1)
	}
	for _, b := range packet {
		bits = append(bits, 0)
		for i := range 8 {
			bits = append(bits, b>>(7-i)&1)
		}
	}
	bits = append(bits, 1)
	level, edges := 1, []record.Edge{{At: at, Level: 1}}
	for _, bit := range bits {
		half := 100 * time.Microsecond
		if bit == 1 {
			half = 58 * time.Microsecond
		}
		for range 2 {
			at, level = at+half, -level
			edges = append(edges, record.Edge{At: at, Level: level})
		}
	}
	return edges
}
