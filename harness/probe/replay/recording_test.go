package replay

import (
	"bytes"
	"compress/gzip"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"bufferstop/harness/link"
	"bufferstop/harness/probe"
	"bufferstop/harness/signal"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
)

// A farProbe is a link with a probe at its far end, and the clock of both. Time passes while somebody reads, up to a limit.
type farProbe struct {
	mu     sync.Mutex
	device *probe.Device
	edges  []signal.Edge // of the main track, still to come
	now    time.Duration
	limit  time.Duration
	out    []byte
}

func (f *farProbe) Duplex() bool { return true }

func (f *farProbe) Now() time.Duration {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.now
}

func (f *farProbe) Wait(context.Context, time.Duration) error { return nil }

func (f *farProbe) Read(ctx context.Context, p []byte, _ time.Duration) (int, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if ctx.Err() != nil {
		return 0, ctx.Err()
	}
	f.now = min(f.now+200*time.Microsecond, f.limit)
	for len(f.edges) > 0 && f.edges[0].Time < f.now {
		f.device.Edge(probe.Main, f.edges[0].Time, f.edges[0].Level)
		f.edges = f.edges[1:]
	}
	f.device.Advance(f.now)
	f.out = append(f.out, f.device.Sent()...)
	if len(f.out) == 0 {
		f.mu.Unlock()
		time.Sleep(20 * time.Microsecond)
		f.mu.Lock()
		return 0, link.ErrTimeout
	}
	n := copy(p, f.out)
	f.out = f.out[n:]
	return n, nil
}

func (f *farProbe) Write(_ context.Context, p []byte, _ time.Duration) (int, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.device.Receive(p)
	return len(p), nil
}

func (f *farProbe) Close() error { return nil }

// record lets a client see edges and returns what it gave and what it recorded.
func record(t *testing.T, edges []signal.Edge, limit time.Duration) (*heard, probe.Hello, []byte) {
	hello := probe.Hello{Version: probe.Version, Clock: 16e6, Features: probe.SeesEdges | probe.SeesOff | probe.SeesCurrent | hands,
		CommandBuffer: 512, LoadQueue: 32, ReflexRules: 2, Name: "far", Tracks: []probe.TrackHello{
			{ID: probe.Main, SenseMicroamps: 4888, SenseFull: 1023, LoadMicroamps: 20_000, LoadTop: 255, LoadContinuous: 50, LoadBriefMs: 100, ShortMilliohms: 100, ShortMostMs: 500},
			{ID: probe.Programming, SenseMicroamps: 1222, SenseFull: 1023, LoadMicroamps: 4000, LoadTop: 255, LoadContinuous: 255}}}
	far := &farProbe{edges: edges, limit: limit, device: probe.NewDevice(probe.DeviceConfig{Hello: hello,
		Current: func(int, time.Duration) physic.ElectricCurrent { return 100 * physic.MilliAmpere }})}
	var recording bytes.Buffer
	c, err := probe.Open(t.Context(), far, probe.Options{Clock: far, Record: &recording})
	require.NoError(t, err)
	h := newHeard(t)
	for end := time.Now().Add(time.Minute); h.complete < limit-5*time.Millisecond && time.Now().Before(end); {
		_, err := c.Pump(t.Context(), time.Second, h)
		require.NoError(t, err)
	}
	require.NoError(t, c.Close())
	for {
		if some, _ := c.Pump(t.Context(), 0, h); !some {
			break
		}
	}
	return h, c.Hello(), recording.Bytes()
}

func TestARecordingIsReplayedAsItsClientSawIt(t *testing.T) {
	var edges []signal.Edge
	for i := range 4000 {
		edges = append(edges, signal.Edge{Time: 20*time.Millisecond + time.Duration(i)*58*time.Microsecond, Level: signal.Level(1 - 2*(i&1))})
	}
	want, hello, recording := record(t, edges, 300*time.Millisecond)
	require.Greater(t, len(want.edges[0]), 3900)
	require.Positive(t, want.samples)
	path := filepath.Join(t.TempDir(), "stream.probe")
	require.NoError(t, os.WriteFile(path, recording, 0o600))
	var packed bytes.Buffer
	w := gzip.NewWriter(&packed)
	_, err := w.Write(recording)
	require.NoError(t, err)
	require.NoError(t, w.Close())
	require.NoError(t, os.WriteFile(path+".gz", packed.Bytes(), 0o600))
	for _, name := range []string{path, path + ".gz"} {
		got, c := whole(t, "file:"+name, Options{})
		assert.Equal(t, want.edges, got.edges)
		assert.Equal(t, want.samples, got.samples)
		assert.Equal(t, want.complete, got.complete)
		h := c.Hello()
		assert.Equal(t, hello.Clock, h.Clock)
		assert.Equal(t, probe.SeesEdges|probe.SeesOff|probe.SeesCurrent, h.Features, "it has no hands")
		assert.Zero(t, h.Track(probe.Main).MostLoad())
		assert.Zero(t, h.Track(probe.Main).Short())
		assert.Positive(t, c.Health().Frames)
	}

	_, err = Open(t.Context(), "file:"+path+"?signal=main", Options{})
	require.ErrorContains(t, err, "a recording knows its tracks")
	require.NoError(t, os.WriteFile(path, recording[:40], 0o600))
	_, err = Open(t.Context(), "file:"+path, Options{})
	var wrong *probe.RecordingError
	require.ErrorAs(t, err, &wrong)
	require.NoError(t, os.WriteFile(path, fmt.Appendf(nil, "bufferstop probe recording 99\n{}\n"), 0o600))
	_, err = Open(t.Context(), "file:"+path, Options{})
	require.ErrorContains(t, err, `got "bufferstop probe recording 99"`)
}
