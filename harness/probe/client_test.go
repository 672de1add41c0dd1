package probe

import (
	"context"
	"sync"
	"testing"
	"time"

	"bufferstop/harness/link"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const mean = 60 * time.Microsecond

func TestAClientHandsOutAllThatHappens(t *testing.T) {
	f, w := newFarEnd(1, mean, testHello()), newWitness()
	c := attach(t, f, Options{})
	f.run(t, c, 2*time.Second, w)
	for i := range w.tracks {
		require.Empty(t, w.compare(i, f.courses[i], f.offset(c)))
		assert.Empty(t, w.tracks[i].lost)
		assert.Greater(t, len(w.tracks[i].edges), 20_000)
		assert.Greater(t, len(w.tracks[i].samples), 3900)
		assert.InDelta(t, 100, float64(w.tracks[i].samples[0].Current)/1e6, 2.5)
	}
	h := c.Health()
	assert.True(t, h.Connected)
	assert.Zero(t, h.FramesLost+h.Broken.Total()+h.Malformed+h.Implausible+h.Unknown+h.Dropped)
	assert.LessOrEqual(t, h.LongestSilence, 25*time.Millisecond)
	assert.Equal(t, "bench probe", c.Hello().Name)
	status, err := c.Status(t.Context())
	require.NoError(t, err)
	assert.Zero(t, status.FramesDropped+status.CommandsBroken)
}

func TestCloseMakesTheProbeSafe(t *testing.T) {
	f, w := newFarEnd(1, 20*mean, testHello()), newWitness()
	all := outputs(f)
	c := attach(t, f, Options{})
	_, err := c.Short(t.Context(), Main, true, 100*time.Millisecond)
	require.NoError(t, err)
	_, err = c.Load(t.Context(), Programming, LoadProfile{Now: true, Steps: []LoadStep{{Level: 3}}})
	require.NoError(t, err)
	require.NoError(t, c.Close())
	require.Len(t, *all, 4)
	assert.Equal(t, uint16(0), (*all)[2].value)
	assert.Equal(t, uint16(0), (*all)[3].value)
	assert.False(t, f.device.stream.started)
	for err == nil { // what had come is still handed out
		_, err = c.Pump(t.Context(), 0, w)
	}
	require.ErrorIs(t, err, ErrClosed)
	_, err = c.Safe(t.Context())
	require.ErrorIs(t, err, ErrClosed)
}

func TestALinkForOneGoroutineAtATimeIsGivenOut(t *testing.T) {
	f, w := newFarEnd(1, mean, testHello()), newWitness()
	l := &single{Link: f, t: t}
	f.limit = 20 * time.Millisecond
	c, err := Open(t.Context(), l, Options{Clock: f})
	require.NoError(t, err)
	f.client.Store(c)
	f.run(t, c, 100*time.Millisecond, w)
	for i := range 20 {
		require.NoError(t, c.Post(Main, LoadProfile{Now: true, Steps: []LoadStep{{uint16(i), time.Millisecond}}}))
		_, err := c.Status(t.Context())
		require.NoError(t, err)
	}
	require.NoError(t, c.Close())
	require.Empty(t, w.compare(0, f.courses[0], f.offset(c)))
}

// A single is a link that says so when two use it at once.
type single struct {
	link.Link
	t    *testing.T
	busy sync.Mutex
}

func (s *single) Read(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	if !s.busy.TryLock() {
		s.t.Error("used by two")
	} else {
		defer s.busy.Unlock()
	}
	return s.Link.Read(ctx, p, timeout)
}

func (s *single) Write(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	if !s.busy.TryLock() {
		s.t.Error("used by two")
	} else {
		defer s.busy.Unlock()
	}
	return s.Link.Write(ctx, p, timeout)
}

func TestAProbeOfOneTrackUsesItsId(t *testing.T) {
	hello := testHello()
	hello.Tracks = hello.Tracks[1:]
	f, w := newFarEnd(1, mean, hello), newWitness()
	all := outputs(f)
	c := attach(t, f, Options{})
	f.run(t, c, 300*time.Millisecond, w)
	require.Empty(t, w.compare(Programming, f.courses[Programming], f.offset(c)))
	assert.Empty(t, w.tracks[Main].edges)
	assert.Empty(t, w.tracks[Main].lost)
	assert.Greater(t, len(w.tracks[Programming].samples), 590)
	_, err := c.Short(t.Context(), Main, true, time.Millisecond)
	require.ErrorContains(t, err, "not fitted")
	_, err = c.Load(t.Context(), Programming, LoadProfile{Now: true, Steps: []LoadStep{{Level: 5}}})
	require.NoError(t, err)
	require.Len(t, *all, 1)
}

// FuzzClient greets a client and then gives it frames with whatever in them, and bytes that are none.
func FuzzClient(f *testing.F) {
	var seed []byte
	for _, m := range []Message{testHello(), Done{1, TypeStart, 0},
		&Stretch{Length: 16000, tracks: 2, Levels: 1, Items: [MaxTracks][]Item{{MakeItem(CodeNegative, 5)}}},
		Done{2, TypeLoad, 9}, Refused{3, TypeShort, 6}, Sync{4, 5, 6}, Status{}, Occurrence{1, 5, 1, 2}, Mark{1, 2}} {
		p := m.Append(nil)
		seed = append(append(seed, byte(m.Type()), byte(len(p))), p...)
	}
	f.Add(seed)
	f.Fuzz(func(t *testing.T, p []byte) {
		near, far := link.Pipe(new(link.VirtualClock), 0)
		defer far.Close()
		o := Options{Clock: new(link.VirtualClock), QueueBytes: 20 << 10}
		start, err := o.settle()
		require.NoError(t, err)
		c := newClient(near, o, start)
		c.out.start(t.Context())
		c.bytes(AppendFrame(nil, TypeHello, 0, testHello().Append(nil)), 0)
		c.bytes(AppendFrame(nil, TypeDone, 1, Done{c.reads.startSeq, TypeStart, 77}.Append(nil)), 0)
		require.True(t, c.Health().Connected)
		w := newWitness()
		for now, seq := time.Duration(0), uint8(0); len(p) > 0; seq++ {
			now += time.Duration(p[0]) * 10 * time.Millisecond
			c.chores(now, now)
			_ = c.Post(Main, LoadProfile{Now: true, Steps: []LoadStep{{uint16(p[0]), time.Millisecond}}})
			if p[0] == 0 || len(p) < 2 {
				c.bytes(p[:min(len(p), 9)], now)
				p = p[min(len(p), 9):]
				continue
			}
			n := min(int(p[1]), len(p)-2, MaxPayload)
			c.bytes(AppendFrame(nil, Type(p[0]), seq, p[2:2+n]), now)
			p = p[2+n:]
			if seq%16 == 0 {
				c.drain(w)
			}
		}
		c.drain(w)
		if len(w.faults) > 0 {
			t.Fatal(w.faults)
		}
		c.end(ErrClosed)
		require.Zero(t, c.unread)
	})
}
