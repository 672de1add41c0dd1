package bench

import (
	"testing"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/dcc"
	"bufferstop/harness/probe"
	"bufferstop/harness/station"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
)

// No verify packet of direct mode is shorter than the one that the limit is reckoned with: the packets themselves say so.
func TestTheLimitOfTheLoopIsThatOfTheShortestVerifyPackets(t *testing.T) {
	assert.Equal(t, 6750*time.Microsecond, shortestVerify)
	assert.Equal(t, 13250*time.Microsecond, loopLimit)
	shortest := time.Hour
	for cv := 1; cv <= 1024; cv++ {
		for value := range 256 {
			packet, err := dcc.DirectVerify{CV: cv, Value: byte(value)}.Packet()
			require.NoError(t, err)
			shortest = min(shortest, packet.Duration(20, 55*time.Microsecond, 95*time.Microsecond))
		}
		for bit := range 8 {
			packet, err := dcc.DirectBit{CV: cv, Bit: bit, Value: 1}.Packet()
			require.NoError(t, err)
			shortest = min(shortest, packet.Duration(20, 55*time.Microsecond, 95*time.Microsecond))
		}
	}
	assert.GreaterOrEqual(t, shortest, shortestVerify)
	assert.Less(t, shortest, shortestVerify+time.Millisecond, "nor is the limit much too strict")
}

func TestADelayIsJudgedByTheLimit(t *testing.T) {
	assert.Empty(t, judgeLoop(loopLimit))
	assert.Contains(t, judgeLoop(loopLimit+1), "more than 13.25ms is too late")
	assert.Equal(t, easyLoop, ordinaryLoop(2*time.Millisecond, time.Millisecond))
	assert.Less(t, easyLoop, loopLimit)
	assert.Equal(t, 42*time.Millisecond, ordinaryLoop(40*time.Millisecond, time.Millisecond))
}

// hearing is a side whose probe has said something.
func hearing(hello probe.Hello, hands bool, lag time.Duration) *probed {
	p := &probed{hello: hello, sampleInterval: time.Millisecond, lag: lag, slow: judgeLoop(lag)}
	if hands {
		p.hands = (*probe.Client)(nil)
	}
	for _, t := range hello.Tracks {
		p.tracks[t.ID] = &probedTrack{rig: p, name: trackNames[t.ID], id: int(t.ID), rating: t}
	}
	return p
}

func TestWhatARigCanDoIsWhatItsProbeSays(t *testing.T) {
	all := boxHello()
	d := hearing(all, true, 8*time.Millisecond).Describe()
	for _, track := range trackNames {
		assert.ElementsMatch(t, []harness.Ability{harness.SeeEdges, harness.SeeCurrent, harness.LayShort, harness.LayLoad, harness.LayInrush,
			harness.FitDecoder, harness.CutSupply}, d.Tracks[track])
		assert.Contains(t, d.Reasons[track][harness.LayShort], "60m")
	}
	assert.Positive(t, d.EdgeUncertainty)
	assert.Positive(t, d.CurrentUncertainty)
	assert.NotEmpty(t, d.Observations, "it was never calibrated")

	// Eyes alone.
	looks := all
	looks.Features = probe.SeesEdges
	looks.Tracks = all.Tracks[:1]
	d = hearing(looks, false, 0).Describe()
	assert.Equal(t, []harness.Ability{harness.SeeEdges}, d.Tracks[station.Main])
	assert.NotContains(t, d.Tracks, station.Programming)
	assert.Contains(t, d.Reasons[station.Main][harness.SeeEdges], "does not tell a track without voltage")

	// A loop that is too slow: without reflexes there is no fake decoder, with them on a condition.
	slow := all
	slow.ReflexRules = reflexesForOne - 1
	d = hearing(slow, true, 40*time.Millisecond).Describe()
	assert.NotContains(t, d.Tracks[station.Programming], harness.FitDecoder)
	assert.Contains(t, d.Reasons[station.Programming][harness.FitDecoder], "the loop takes 40ms")
	d = hearing(all, true, 40*time.Millisecond).Describe()
	assert.Contains(t, d.Tracks[station.Programming], harness.FitDecoder)
	assert.Contains(t, d.Reasons[station.Programming][harness.FitDecoder], "the probe acknowledges in its stead")

	// A switch that is no dead short.
	weak := all
	weak.Tracks = []probe.TrackHello{all.Tracks[0]}
	weak.Tracks[0].ShortMilliohms = 1500
	d = hearing(weak, true, 0).Describe()
	assert.NotContains(t, d.Tracks[station.Main], harness.LayShort)
	assert.Contains(t, d.Reasons[station.Main][harness.LayShort], "no dead short")
}

func TestMoreThanTheRigCanDoIsNotFitted(t *testing.T) {
	rig, _ := boxed(t, Options{Seed: 1}, "")
	track := rig.Track(station.Programming)
	require.ErrorIs(t, track.Load(1100*physic.MilliAmpere), harness.ErrBeyond)
	require.ErrorIs(t, track.Inrush(4*physic.Ampere, time.Millisecond), harness.ErrBeyond)
	require.ErrorIs(t, track.Short(3*physic.Ohm), harness.ErrBeyond)
	require.NoError(t, track.Short(100*physic.MilliOhm))
	require.Error(t, track.Short(0))
	require.Error(t, track.Load(-1))
	require.NoError(t, track.Open())
	assert.LessOrEqual(t, harness.Changed(track, 0), rig.Now())
	assert.Positive(t, harness.Changed(track, 0))
}
