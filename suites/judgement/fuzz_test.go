package judgement_test

import (
	"bytes"
	"errors"
	"testing"
	"time"

	"bufferstop/harness/record"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/suites/judgement"

	"github.com/stretchr/testify/require"
)

// Whatever is in a file, it is judged or refused at a line. What is judged has a verdict for each requirement, and every failure lies in
// the recording.
func FuzzJudge(f *testing.F) {
	f.Add(vcd(58*time.Microsecond, 100*time.Microsecond, traffic...), false, false)
	f.Add(withCutouts(29*time.Microsecond, 470*time.Microsecond, 15, 2), true, false)
	f.Add([]byte("$timescale 1 us $end\n$var wire 1 ! a $end\n$enddefinitions $end\n#0\n0!\n#58\n1!\n#116\n0!\n#90000\n1!\n#90058\nx!\n"), true, true)
	f.Fuzz(func(t *testing.T, data []byte, cutout, programming bool) {
		track := station.Main
		if programming {
			track = station.Programming
		}
		run, err := judgement.Judge(t.Context(), bytes.NewReader(data), judgement.Options{Track: track, Claims: station.Claims{Cutout: cutout}})
		var syntax *signal.SyntaxError
		var choice *signal.ChoiceError
		if errors.As(err, &syntax) || errors.As(err, &choice) {
			return
		}
		if err != nil { // a bad gzip stream is the library's to tell
			require.Nil(t, run)
			return
		}
		require.NotEqual(t, verdict.Faulted, run.Outcome, run.Statement)
		require.Len(t, run.Results, len(judgement.Requirements(track)))
		for _, r := range run.Results {
			require.NotEqual(t, verdict.Verdict(0), r.Verdict, r.ID)
			for _, failure := range r.Failures {
				require.True(t, inside(failure, run), "%s: %+v of %v", r.ID, failure, run.Rig.Capture.Length)
			}
		}
	})
}

func inside(f record.Failure, run *record.Record) bool {
	return f.At >= 0 && f.At <= run.Rig.Capture.Length
}
