package simulated

import (
	"context"
	"testing"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness/station"

	"github.com/stretchr/testify/require"
)

// BenchmarkSimulatedTrack runs the main track with one decoder on it, one locomotive in the refresh, and the probe
// listened to by a receiver that keeps its statistics. The metric is seconds of the rig's time in one second.
func BenchmarkSimulatedTrack(b *testing.B) {
	r, err := New(Options{Seed: 1})
	require.NoError(b, err)
	ctx := context.Background()
	_, err = r.Track(station.Main).Fit(fakedecoder.Default())
	require.NoError(b, err)
	e := newEar()
	r.Track(station.Main).Listen(e)
	_, err = r.Link().Write(ctx, []byte("TRAC:POW MAIN,ON;:LOCO:SPE 3,10,FORW,128;:LOCO:FUNC 3,0,ON\n"), time.Second)
	require.NoError(b, err)
	require.NoError(b, r.Wait(ctx, time.Second))
	b.ReportAllocs()
	for b.Loop() {
		if err := r.Wait(ctx, time.Second); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "rig-s/s")
	require.NoError(b, r.Close())
	require.Greater(b, e.receiver.Statistics().Packets, int64(100))
}
