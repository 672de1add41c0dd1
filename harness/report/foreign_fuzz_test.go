package report

import (
	"bytes"
	"io"
	"testing"

	"github.com/stretchr/testify/require"

	"bufferstop/harness/record"
)

// Reports are made of records that others have written, as when parts are merged: whatever they say, there is a report.
func FuzzReportsOfForeignRecords(f *testing.F) {
	var b bytes.Buffer
	require.NoError(f, record.Write(&b, sample(f)))
	f.Add(b.Bytes())
	f.Add([]byte(`{"schema": "bufferstop-record/1", "histograms": [{"bins": [{"low": 1e308, "high": -1e308, "count": -1}]}],
"waveforms": [{"edges": [{"at_ns": 9, "level": 7}, {"at_ns": -9, "level": 0}], "end_ns": -1, "parts": [{"from_ns": 5, "to_ns": -5, "kind": "x"}]}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		r, err := record.Read(bytes.NewReader(data))
		if err != nil {
			return
		}
		r.Conclude(r.RigTime, r.WallTime, false)
		require.NoError(t, HTML(io.Discard, r))
		require.NoError(t, JUnit(io.Discard, r))
		require.NoError(t, Markdown(io.Discard, r))
		Console{}.Summary(r)
	})
}
