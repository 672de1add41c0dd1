package probe

import (
	"bytes"
	"context"
	"errors"
	"runtime"
	"sync"
	"testing"
	"time"

	"bufferstop/harness/link"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestALinkThatComesBackIsGreetedAnew(t *testing.T) {
	f, w := newFarEnd(1, mean, testHello()), newWitness()
	c := attach(t, f, Options{})
	f.run(t, c, 300*time.Millisecond, w)
	before := f.offset(c)
	f.with(func() { f.pulled = 1; f.out = nil; f.device.Sent(); f.device.Reset(f.now, 12345) })
	f.run(t, c, 700*time.Millisecond, w)
	require.Equal(t, 1, c.Health().Reconnects)
	assert.Zero(t, c.Health().Restarts)
	require.Empty(t, w.faults)
	for i := range w.tracks {
		require.Len(t, w.tracks[i].lost, 1)
		lost := w.tracks[i].lost[0]
		assert.InDelta(t, 300*time.Millisecond, lost[0]+before, 25e6)
		// The host's clock says how long the probe was gone.
		after := f.device.timeOf(f.device.zero+int64(c.epoch.Tick-12345)) - c.epoch.At
		assert.InDelta(t, before, after, 2e6)
		edges := len(w.tracks[i].edges)
		assert.Greater(t, w.tracks[i].edges[edges-1].Time, 900*time.Millisecond)
		// What came after is at its time, too.
		late := newWitness()
		late.complete = w.complete
		late.tracks[i] = w.tracks[i]
		late.tracks[i].lost = [][2]time.Duration{{0, lost[1]}}
		k := 0
		for late.tracks[i].edges[k].Time < lost[1] {
			k++
		}
		late.tracks[i].edges, late.tracks[i].initial = late.tracks[i].edges[k:], late.tracks[i].initial[k:]
		require.Empty(t, late.compare(i, f.courses[i], after))
	}
	_, err := c.Status(t.Context())
	require.NoError(t, err)
}

func TestAProbeThatWasResetIsGreetedAnew(t *testing.T) {
	f, w := newFarEnd(1, mean, testHello()), newWitness()
	c := attach(t, f, Options{})
	f.run(t, c, 100*time.Millisecond, w)
	f.with(func() { f.device.Reset(f.now, 0) })
	f.run(t, c, 900*time.Millisecond, w)
	assert.Equal(t, 1, c.Health().Restarts)
	assert.Zero(t, c.Health().Reconnects)
	require.Empty(t, w.faults)
	require.Len(t, w.tracks[0].lost, 1)
	assert.Greater(t, w.complete, 900*time.Millisecond)

	f.with(func() { f.device.Reset(f.now, 0) })
	_, err := c.Short(t.Context(), Main, true, time.Millisecond)
	require.ErrorContains(t, err, "out of order", "it is known at once")
	f.run(t, c, 100*time.Millisecond, w)
	assert.Equal(t, 2, c.Health().Restarts)
}

// A run that was killed while the station had no supply leaves it so, and a link that comes back within 100 ms leaves shorts closed.
func TestAProbeIsMadeSafeWheneverItIsGreeted(t *testing.T) {
	f, w := newFarEnd(1, mean, testHello()), newWitness()
	f.with(func() { f.device.switchSupply(false) })
	c := attach(t, f, Options{})
	f.run(t, c, 50*time.Millisecond, w)
	f.with(func() { require.True(t, f.device.supply) })

	_, err := c.Short(t.Context(), Main, true, 100*time.Millisecond)
	require.NoError(t, err)
	_, err = c.Load(t.Context(), Main, LoadProfile{Now: true, Steps: []LoadStep{{Level: 3}}})
	require.NoError(t, err)
	f.with(func() { f.pulled = 1 })
	f.run(t, c, 60*time.Millisecond, w)
	require.Equal(t, 1, c.Health().Reconnects)
	f.with(func() {
		require.False(t, f.device.tracks[0].short)
		require.True(t, f.device.tracks[0].load.idle())
	})
}

// The reading goroutine goes on with signs of life when the one that has closed a short hangs.
func TestWhoeverLeavesAShortAloneHasItOpened(t *testing.T) {
	hello := testHello()
	hello.Tracks[0].ShortMostMs = 30_000
	f, w := newFarEnd(1, mean, hello), newWitness()
	c := attach(t, f, Options{})
	short := func() bool { f.mu.Lock(); defer f.mu.Unlock(); return f.device.tracks[0].short }
	_, err := c.Short(t.Context(), Main, true, 30*time.Second)
	require.NoError(t, err)
	for range 20 { // time passes only as far as it is told to, so that somebody pumps often enough on a busy machine too
		f.run(t, c, leftAlone/10, w)
	}
	require.True(t, short(), "it is looked after")
	require.Zero(t, c.Health().LeftAlone)
	f.run(t, c, leftAlone-100*time.Millisecond, nil)
	require.True(t, short())
	f.run(t, c, 200*time.Millisecond, nil)
	require.False(t, short())
	f.run(t, c, 2*leftAlone, nil)
	require.EqualValues(t, 1, c.Health().LeftAlone, "there is nothing more to take off")
	require.Zero(t, c.Health().Restarts)
}

func TestAProbeThatIsGoneForGoodIsLost(t *testing.T) {
	f, w := newFarEnd(1, mean, testHello()), newWitness()
	c := attach(t, f, Options{})
	f.run(t, c, 20*time.Millisecond, w)
	f.with(func() { f.closed = true })
	require.Eventually(t, func() bool {
		_, err := c.Pump(t.Context(), time.Millisecond, w)
		return errors.Is(err, ErrLost)
	}, 10*time.Second, time.Millisecond)
	_, err := c.Status(t.Context())
	require.ErrorIs(t, err, ErrLost)
	require.ErrorIs(t, c.Post(Main, LoadProfile{}), ErrLost)
	require.NoError(t, c.Close())
	require.NoError(t, c.Close())
}

func TestAnotherProbeInItsPlaceIsALoss(t *testing.T) {
	f, w := newFarEnd(1, mean, testHello()), newWitness()
	c := attach(t, f, Options{})
	f.run(t, c, 20*time.Millisecond, w)
	f.with(func() { f.pulled, f.device.config.Hello.Serial = 1, 43; f.limit = 0 })
	require.Eventually(t, func() bool {
		_, err := c.Pump(t.Context(), time.Millisecond, w)
		return err != nil && errors.Is(err, ErrLost)
	}, 10*time.Second, time.Millisecond)
	_, err := c.Pump(t.Context(), 0, w)
	require.ErrorContains(t, err, `"bench probe" with serial number 43`)
}

func TestWhoIsNoProbeIsSaid(t *testing.T) {
	near, far := link.Pipe(link.NewWallClock(), 0)
	defer far.Close()
	_, err := Open(t.Context(), near, Options{GreetLimit: 50 * time.Millisecond})
	require.ErrorIs(t, err, ErrNoAnswer)

	f := newFarEnd(1, mean, testHello())
	f.device.config.Hello.Version = 2
	_, err = Open(t.Context(), f, Options{Clock: f})
	require.ErrorIs(t, err, ErrVersion)
	require.EqualError(t, err, "probe: other version of the protocol: it speaks 2, we speak 1")

	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Millisecond)
	defer cancel()
	near, far = link.Pipe(link.NewWallClock(), 0)
	defer far.Close()
	_, err = Open(ctx, near, Options{})
	require.ErrorIs(t, err, context.DeadlineExceeded)

	for _, o := range []Options{{Stretch: time.Second}, {SampleInterval: time.Microsecond}, {PPM: 1e6}} {
		near, _ = link.Pipe(link.NewWallClock(), 0)
		_, err = Open(t.Context(), near, o)
		require.Error(t, err)
		_, err = near.Write(t.Context(), []byte{0}, 0)
		require.ErrorIs(t, err, link.ErrClosed)
	}
}

func TestASinkThatIsNotPumpedIsToldAndThenLoses(t *testing.T) {
	f, w := newFarEnd(1, mean, testHello()), newWitness()
	c := attach(t, f, Options{QueueBytes: 64 << 10})
	f.client.Store(nil) // it does not wait
	f.run(t, c, 20*time.Millisecond, w)
	f.run(t, c, 100*time.Millisecond, nil)
	h := c.Health()
	assert.Greater(t, h.Queued, 5_000)
	assert.Zero(t, h.Dropped)
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	f.run(t, c, 3*time.Second, nil)
	runtime.GC()
	runtime.ReadMemStats(&after)
	h = c.Health()
	assert.Greater(t, h.QueueHigh, 60<<10)
	assert.Greater(t, h.Dropped, uint64(1000))
	assert.Less(t, int64(after.HeapAlloc)-int64(before.HeapAlloc), int64(10<<20), "the course itself grows")
	f.run(t, c, 100*time.Millisecond, w)
	require.Empty(t, w.faults)
	for i := range w.tracks {
		require.NotEmpty(t, w.tracks[i].lost)
		require.Empty(t, w.compare(i, f.courses[i], f.offset(c)))
	}
	assert.Equal(t, uint64(2*len(w.tracks[0].lost)), c.Health().Losses)
}

func TestALineWithNoiseMakesLossesAndNoWrongTimes(t *testing.T) {
	f, w := newFarEnd(1, mean, testHello()), newWitness()
	n := 0
	f.noise = func(p []byte) []byte {
		for i := range p {
			if n++; n%3001 == 0 {
				p[i] ^= 0x10 // one bit: no CRC lets that pass
			}
		}
		return p
	}
	m := 0
	f.drop = func(p []byte) []byte {
		if m++; m%7 == 0 {
			p = bytes.Clone(p)
			p[0] ^= 1
		}
		return p
	}
	c := attach(t, f, Options{})
	f.run(t, c, 3*time.Second, w)
	require.Empty(t, w.faults)
	for i := range w.tracks {
		require.NotEmpty(t, w.tracks[i].lost)
		require.Empty(t, w.compare(i, f.courses[i], f.offset(c)))
	}
	h := c.Health()
	assert.NotZero(t, h.Broken.Total())
	assert.NotZero(t, h.FramesLost)
	assert.NotZero(t, h.LostTime)
	f.with(func() { f.noise, f.drop = nil, nil })
}

func TestACommandWithoutAnswerIsGivenUp(t *testing.T) {
	f := newFarEnd(1, 10*mean, testHello())
	f.drop = func(p []byte) []byte {
		if len(p) > 1 && (Type(p[1]) == TypeAskStatus || Type(p[1]) == TypeLoad) {
			return nil
		}
		return p
	}
	c := attach(t, f, Options{})
	f.with(func() { f.limit = 0 })
	stop := make(chan struct{})
	var pumping sync.WaitGroup
	pumping.Go(func() {
		for {
			select {
			case <-stop:
				return
			default:
				_, _ = c.Pump(t.Context(), time.Millisecond, discard{})
			}
		}
	})
	defer pumping.Wait()
	defer close(stop)
	_, err := c.Status(t.Context())
	require.ErrorIs(t, err, ErrNoAnswer)
	assert.Zero(t, c.Health().Restarts)
	assert.Equal(t, uint64(1), c.Health().Unanswered)

	// Without answers there is room for no more, until they are given up.
	f.with(func() { f.limit = f.now })
	var busy error
	for range 200 {
		if busy = c.Post(Main, LoadProfile{Now: true, Steps: []LoadStep{{Level: 5}}}); busy != nil {
			break
		}
	}
	require.ErrorIs(t, busy, ErrBusy)
	f.with(func() { f.limit = 0 })
	require.Eventually(t, func() bool { return c.Post(Main, LoadProfile{Now: true, Steps: []LoadStep{{Level: 5}}}) == nil },
		10*time.Second, time.Millisecond)
	_, err = c.Load(t.Context(), Main, LoadProfile{At: c.Newest() + 10*time.Minute, Steps: []LoadStep{{Level: 5}}})
	require.ErrorContains(t, err, "want at most 1m7s from now")
}
