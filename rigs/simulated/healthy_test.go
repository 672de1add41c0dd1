package simulated

import (
	"context"
	"fmt"
	"hash/fnv"
	"testing"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness/current"
	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// drive has a station do a little of everything on both tracks.
func drive(b *bench) {
	b.powerUp()
	for _, command := range []string{
		"LOCO:SPE 3,10,FORW,128", "LOCO:SPE 1000,28,REV,28", "LOCO:SPE 127,1,FORW,28", "LOCO:SPE 128,126,FORW",
		"LOCO:FUNC 3,0,ON", "LOCO:FUNC 3,7,ON", "LOCO:FUNC 3,9,ON", "LOCO:FUNC 1000,28,ON", "ACC:OUTP 1,ON;OUTP 1,OFF",
		"ACC:ASP 7,4", "POM:WRIT 1000,29,6", "LOCO:STOP 127", "LOCO:REL 128",
	} {
		b.do(command)
		b.wait(50 * time.Millisecond)
	}
	require.Equal(b.t, `6;0,"No error"`, b.ask("CV:READ? 29;:SYST:ERR?"))
	b.do("CV:WRIT 3,200")
	b.do("LOCO:STOP ALL")
	b.wait(100 * time.Millisecond)
	b.do("TRAC:POW MAIN,OFF")
	b.wait(5 * time.Millisecond)
}

func TestAHealthyStationKeepsTheLimitsWithEverySeed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := newBench(t, Options{Seed: rapid.Int64().Draw(t, "seed")}, true)
		d := b.fit(fakedecoder.Default())
		drive(b)
		assert.EqualValues(t, 200, d.CV(3))
		for name, e := range map[string]*ear{"main": b.main, "programming": b.programming} {
			s := e.receiver.Statistics()
			assert.Empty(t, e.faults(), name)
			assert.Positive(t, s.OneHalf.Count, name)
			for what, outside := range map[string]int64{
				"one half-bits": s.OneHalf.Outside, "halves of a one": s.OneDifference.Outside,
				"zero half-bits": s.ZeroHalf.Outside, "whole zeros": s.ZeroTotal.Outside,
				"preamble": s.Preamble.Outside, "invalid packets": s.Invalid,
			} {
				assert.Zero(t, outside, "%s on the %s track", what, name)
			}
		}
		s := b.main.receiver.Statistics()
		assert.Zero(t, s.Interval.Outside, "interval: at most %v", time.Duration(s.Interval.Max))
		// NEM 671 section 5.1 (2014): more than 5 ms between packets to the same decoder.
		assert.Zero(t, s.SameAddress.Outside, "same address: at least %v", time.Duration(s.SameAddress.Min))
		// S-9.2.3 E (July 2012).
		assert.GreaterOrEqual(t, b.programming.receiver.Statistics().Preamble.Min, int64(20))
	})
}

func TestSeedsDiffer(t *testing.T) {
	means := map[string]bool{}
	for seed := range int64(10) {
		b := newBench(t, Options{Seed: seed}, false)
		b.powerUp()
		s := b.main.receiver.Statistics()
		means[fmt.Sprintf("%.2f %.2f %v", s.OneHalf.Mean()/1000, s.ZeroHalf.Mean()/1000, s.Preamble.Min)] = true
	}
	require.Greater(t, len(means), 8)
}

// fingerprint sums up every edge and sample of a run.
func fingerprint(b *bench) uint64 {
	h := fnv.New64a()
	for _, e := range []*ear{b.main, b.programming} {
		e.sum(h)
	}
	fmt.Fprint(h, b.Now())
	return h.Sum64()
}

func TestTheSameSeedGivesTheSameEdges(t *testing.T) {
	run := func(seed int64) uint64 {
		b := newBench(t, Options{Seed: seed}, true)
		b.fit(fakedecoder.Default())
		drive(b)
		return fingerprint(b)
	}
	require.Equal(t, run(7), run(7))
	require.NotEqual(t, run(7), run(8))
}

func TestHowAWaitIsDividedDoesNotMatter(t *testing.T) {
	run := func(pieces int) uint64 {
		b := newBench(t, Options{Seed: 3}, true)
		b.fit(fakedecoder.Default())
		b.say("TRAC:POW MAIN,ON;:LOCO:SPE 3,10,FORW,128;:CV:READ? 8")
		const whole = 2_100_000 * time.Microsecond
		for range pieces {
			b.wait(whole / time.Duration(pieces))
		}
		return fingerprint(b)
	}
	require.Equal(t, run(1), run(3000))
}

func TestPowerUpBeginsWithResetsAndIdles(t *testing.T) {
	b := newBench(t, Options{Nominal: true}, true)
	b.do("LOCO:SPE 3,5,FORW,128")
	b.powerUp()
	// RP-9.2.4 A: 20 resets and 10 idles before anything else.
	require.Greater(t, len(b.main.packets), 31)
	for i, p := range b.main.packets[:31] {
		switch {
		case i < 20:
			assert.True(t, p.Bytes.IsReset(), "packet %d", i)
		case i < 30:
			assert.True(t, p.Bytes.IsIdle(), "packet %d", i)
		default:
			assert.Equal(t, packet(dcc.Speed{Address: dcc.Short(3), Steps: 128, Direction: dcc.Forward, Step: 5}, nil), p.Bytes)
		}
	}
	// Off and on again: the station knows the state now.
	b.do("TRAC:POW MAIN,OFF")
	b.main.clear()
	b.wait(100 * time.Millisecond)
	assert.Empty(t, b.main.packets)
	b.do("TRAC:POW MAIN,ON")
	b.wait(100 * time.Millisecond)
	assert.Zero(t, b.main.count(packet(dcc.Reset{}, nil)))
	// A restart makes it forget.
	b.main.clear()
	require.NoError(t, b.Restart(context.Background()))
	assert.Equal(t, "OFF", b.ask("TRAC:POW? MAIN"))
	b.powerUp()
	assert.Equal(t, 20, b.main.count(packet(dcc.Reset{}, nil)))
	assert.Zero(t, b.main.count(packet(dcc.Speed{Address: dcc.Short(3), Steps: 128, Direction: dcc.Forward, Step: 5}, nil)))
}

func TestPowerGoesOffBetweenPacketsOnly(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := newBench(t, Options{Seed: rapid.Int64().Draw(t, "seed")}, true)
		b.powerUp()
		b.wait(time.Duration(rapid.IntRange(0, 20000).Draw(t, "µs")) * time.Microsecond)
		b.do("TRAC:POW MAIN,OFF")
		assert.Empty(t, b.main.faults())
		last := b.main.edges[len(b.main.edges)-1]
		assert.Equal(t, signal.Off, last.Level)
		// S-9.2 footnote 3 (July 2004): the stream goes on for at least 26 µs after the packet end bit.
		end := b.main.packets[len(b.main.packets)-1].End
		assert.GreaterOrEqual(t, last.Time-end, 26*time.Microsecond)
		assert.Less(t, last.Time-end, time.Millisecond)
	})
}

func TestAContextThatEndsStopsTheTime(t *testing.T) {
	b := newBench(t, Options{}, false)
	ctx, cancel := context.WithCancel(context.Background())
	b.Track(station.Main).Listen(cancelling{cancel})
	b.say("TRAC:POW MAIN,ON")
	require.ErrorIs(t, b.Wait(ctx, time.Hour), context.Canceled)
	require.Less(t, b.Now(), time.Minute)
	now := b.Now()
	require.ErrorIs(t, b.Wait(ctx, time.Second), context.Canceled)
	_, err := b.Link().Read(ctx, make([]byte, 1), time.Second)
	require.ErrorIs(t, err, context.Canceled)
	require.Equal(t, now, b.Now())
	require.NoError(t, b.Safe())
	require.NoError(t, b.Close())
	require.NoError(t, b.Close())
	require.Error(t, b.Wait(context.Background(), 1))
}

// cancelling ends a context when it has seen some edges.
type cancelling struct{ cancel context.CancelFunc }

func (c cancelling) Edges(edges []signal.Edge) {
	if len(edges) > 100 {
		c.cancel()
	}
}

func (c cancelling) Samples([]current.Sample) {}
