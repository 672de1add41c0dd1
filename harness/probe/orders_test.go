package probe

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// An output is a change of what the probe does to the bench.
type output struct {
	what  string
	track int
	value uint16
	at    time.Duration
}

// outputs has the device keep what its outputs do.
func outputs(f *farEnd) *[]output {
	all := new([]output)
	c := &f.device.config
	c.OnLoad = func(track int, level uint16, t time.Duration) { *all = append(*all, output{"load", track, level, t}) }
	c.OnShort = func(track int, on bool, t time.Duration) {
		*all = append(*all, output{"short", track, uint16(bit(on)), t})
	}
	c.OnSupply = func(on bool, t time.Duration) { *all = append(*all, output{"supply", 0, uint16(bit(on)), t}) }
	return all
}

func TestCommandsAreCarriedOutAtTheirTime(t *testing.T) {
	f, w := newFarEnd(1, 5*mean, testHello()), newWitness()
	all := outputs(f)
	c := attach(t, f, Options{})
	ctx := t.Context()
	f.run(t, c, 50*time.Millisecond, w)
	offset := f.offset(c)

	asked := w.complete + 10*time.Millisecond
	at, err := c.Load(ctx, Main, LoadProfile{At: asked, Steps: []LoadStep{{5, 6 * time.Millisecond}, {2, 300 * time.Millisecond}}})
	require.NoError(t, err)
	assert.InDelta(t, asked, at, 63)
	f.run(t, c, 400*time.Millisecond, w)
	require.Len(t, *all, 3)
	for i, want := range []output{{"load", Main, 5, asked}, {"load", Main, 2, asked + 6*time.Millisecond},
		{"load", Main, 0, asked + 306*time.Millisecond}} {
		got := (*all)[i]
		assert.InDelta(t, want.at+offset, got.at, 125)
		got.at, want.at = 0, 0
		assert.Equal(t, want, got)
	}

	*all = nil
	at, err = c.Load(ctx, Programming, LoadProfile{At: w.complete - 20*time.Millisecond, Steps: []LoadStep{{9, time.Millisecond}}})
	require.NoError(t, err)
	assert.Greater(t, at, w.complete, "too late, so at once")
	f.run(t, c, 10*time.Millisecond, w)
	require.Len(t, *all, 2)
	assert.InDelta(t, time.Millisecond, (*all)[1].at-(*all)[0].at, 125, "and as long as asked")

	*all = nil
	at, err = c.Short(ctx, Main, true, 30*time.Millisecond)
	require.NoError(t, err)
	f.run(t, c, 100*time.Millisecond, w)
	require.Equal(t, []output{{"short", Main, 1, at + offset}, {"short", Main, 0, at + offset + 30*time.Millisecond}}, rounded(*all, at+offset))
	require.Equal(t, []Event{{Time: at + 30*time.Millisecond, What: ShortOpenedTime, Track: Main}}, w.events)

	*all = nil
	_, err = c.Supply(ctx, false)
	require.NoError(t, err)
	_, err = c.Load(ctx, Main, LoadProfile{Now: true, Steps: []LoadStep{{Level: 7}}})
	require.NoError(t, err)
	_, err = c.Safe(ctx)
	require.NoError(t, err)
	require.Len(t, *all, 4)
	assert.Equal(t, "supply", (*all)[3].what)
	assert.Equal(t, uint16(1), (*all)[3].value)

	at, err = c.Mark(ctx, 77)
	require.NoError(t, err)
	assert.InDelta(t, f.Now()-offset, at, 1e6)

	_, err = c.Load(ctx, Main, LoadProfile{Now: true, Steps: []LoadStep{{Level: 256}}})
	require.Equal(t, Refused{Of: err.(Refused).Of, Command: TypeLoad, Reason: ReasonRange}, err)
	require.EqualError(t, err, "probe: LOAD refused: out of range")
	_, err = c.Short(ctx, Main, true, time.Second)
	require.ErrorAs(t, err, new(Refused))
	_, err = c.Load(ctx, Main, LoadProfile{Steps: []LoadStep{{1, 0}, {1, 0}}})
	require.ErrorContains(t, err, "load step 1 of 2: hold is 0s")
	_, err = c.Load(ctx, Main, LoadProfile{Steps: []LoadStep{{1, time.Minute}}})
	require.ErrorContains(t, err, "more than 16 of at most 262.14ms")
	ended, cancel := context.WithCancel(ctx)
	cancel()
	_, err = c.Status(ended)
	require.ErrorIs(t, err, context.Canceled)
}

// rounded replaces times that are off by less than two ticks from what is wanted.
func rounded(all []output, at time.Duration) []output {
	for i := range all {
		for _, want := range []time.Duration{at, at + 30*time.Millisecond} {
			if d := all[i].at - want; d > -125 && d < 125 {
				all[i].at = want
			}
		}
	}
	return all
}

func TestAPostedLoadThatIsLateOrRefusedIsTold(t *testing.T) {
	f, w := newFarEnd(1, 5*mean, testHello()), newWitness()
	all := outputs(f)
	c := attach(t, f, Options{})
	f.run(t, c, 50*time.Millisecond, w)
	base := w.complete + 10*time.Millisecond
	for i := range 40 { // more than the probe's buffer holds: the rest waits its turn
		require.NoError(t, c.Post(Main, LoadProfile{At: base + time.Duration(i)*time.Millisecond, Behind: true,
			Steps: []LoadStep{{uint16(1 + i), time.Millisecond}}}))
		if i%8 == 7 {
			f.run(t, c, 8*time.Millisecond, w)
		}
	}
	f.run(t, c, 60*time.Millisecond, w)
	require.Len(t, *all, 41)
	h := c.Health()
	assert.Zero(t, h.Late+h.RefusedPosts+h.Unanswered)
	require.NoError(t, c.Post(Main, LoadProfile{At: w.complete - 3*time.Millisecond, Steps: []LoadStep{{1, time.Millisecond}}}))
	require.NoError(t, c.Post(Main, LoadProfile{Now: true, Steps: []LoadStep{{300, time.Millisecond}}}))
	f.run(t, c, 10*time.Millisecond, w)
	h = c.Health()
	assert.Equal(t, uint64(1), h.Late)
	assert.InDelta(t, 3*time.Millisecond, h.WorstLate, float64(2*time.Millisecond))
	assert.Equal(t, uint64(1), h.RefusedPosts)
	require.EqualError(t, h.LastRefusal, "probe: LOAD refused: out of range")
}

func TestPostAllocatesNothing(t *testing.T) {
	f := newFarEnd(1, 100*mean, testHello())
	c := attach(t, f, Options{})
	steps := []LoadStep{{1, time.Millisecond}}
	f.with(func() { f.limit = f.now }) // no stream meanwhile
	f.drop = func([]byte) []byte { return nil }
	assert.LessOrEqual(t, testing.AllocsPerRun(20, func() { _ = c.Post(Main, LoadProfile{Now: true, Steps: steps}) }), 0.)
}
