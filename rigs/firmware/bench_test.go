//go:build simavr

package firmware

import (
	"testing"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/current"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"

	"github.com/stretchr/testify/require"
)

// BenchmarkFirmwareLoop runs the reference firmware with both tracks on, on the rig with both probes listened to, and on the
// bare simulator with nothing attached, by turns, and reports the ratio of their speeds.
func BenchmarkFirmwareLoop(b *testing.B) {
	const commands = "TRAC:POW MAIN,ON\nTRAC:POW PROG,ON\nLOCO:SPE 3,10,FORW\n"
	const slice = 100 * time.Millisecond
	f := referenceFile(b)
	bare := referenceMachine(b, true)
	defer bare.Free()
	for i := range len(commands) {
		bare.RunBare(uint64(i+1) * 1600)
		bare.Receive(bare.Cycle(), commands[i])
	}
	rig, err := open(b.Context(), f, loaded(b, reference(b)), Options{})
	require.NoError(b, err)
	defer rig.Close()
	_, err = rig.Link().Write(b.Context(), []byte(commands), time.Second)
	require.NoError(b, err)
	for _, track := range []station.Track{station.Main, station.Programming} {
		defer rig.Track(track).Listen(new(listener))()
	}
	require.NoError(b, rig.Wait(b.Context(), time.Second))
	var withRig, without time.Duration
	for b.Loop() {
		start := time.Now()
		require.NoError(b, rig.Wait(b.Context(), slice))
		middle := time.Now()
		bare.RunBare(bare.Cycle() + uint64(slice.Seconds()*16e6))
		withRig += middle.Sub(start)
		without += time.Since(middle)
	}
	b.ReportMetric(float64(without)/float64(withRig), "ratio")
	b.ReportMetric(slice.Seconds()*float64(b.N)/withRig.Seconds(), "rig-s/s")
}

// listener takes what the probe sees, and does what a watch does with it: nothing that counts here.
type listener struct{ edges, samples int }

var _ harness.Listener = (*listener)(nil)

func (l *listener) Edges(e []signal.Edge)      { l.edges += len(e) }
func (l *listener) Samples(s []current.Sample) { l.samples += len(s) }
