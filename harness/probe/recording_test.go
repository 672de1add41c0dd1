package probe

import (
	"bytes"
	"errors"
	"io"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestARecordingReplaysTheSame(t *testing.T) {
	f, w := newFarEnd(1, mean, testHello()), newWitness()
	n := 0
	f.noise = func(p []byte) []byte {
		for i := range p {
			if n++; n%9001 == 0 {
				p[i] ^= 0x10
			}
		}
		return p
	}
	var recording bytes.Buffer
	c := attach(t, f, Options{Record: &recording, PPM: 12, Corrections: [MaxTracks]Correction{{}, {Gain: 1.01, Zero: 1}}})
	f.run(t, c, 500*time.Millisecond, w)
	_, err := c.Short(t.Context(), Main, true, 5*time.Millisecond)
	require.NoError(t, err)
	f.with(func() { f.pulled = 1; f.device.Reset(f.now, 7) })
	f.run(t, c, 800*time.Millisecond, w)
	require.NoError(t, c.Close())
	_, _ = c.Pump(t.Context(), 0, w)
	require.Equal(t, 1, c.Health().Reconnects)
	require.NoError(t, c.Health().RecordingError)
	require.Zero(t, c.Health().RecordingLost)

	whole := bytes.Clone(recording.Bytes())
	again := newWitness()
	require.NoError(t, Replay(bytes.NewReader(whole), again))
	require.Equal(t, w, again)

	r, err := OpenRecording(bytes.NewReader(whole))
	require.NoError(t, err)
	assert.Equal(t, c.Hello(), r.Hello())
	assert.WithinDuration(t, time.Now(), r.Begun(), time.Minute)
	pumped := newWitness()
	for err == nil {
		_, err = r.Pump(t.Context(), time.Second, pumped)
	}
	require.Equal(t, io.EOF, err)
	require.Equal(t, w, pumped)
	assert.Equal(t, c.Health().LostTime, r.Health().LostTime)
	require.NoError(t, r.Close())

	// One that breaks off is good up to there.
	for _, cut := range []int{len(whole) - 1, len(whole) / 2} {
		part := newWitness()
		require.NoError(t, Replay(bytes.NewReader(whole[:cut]), part))
		require.LessOrEqual(t, part.complete, w.complete)
		require.Equal(t, w.tracks[0].edges[:len(part.tracks[0].edges)], part.tracks[0].edges)
	}
}

func TestARecordingThatIsNoneIsSaidWhere(t *testing.T) {
	head := recordingTitle + "\n" + `{"Begun":"2026-01-01T00:00:00Z","StretchMicros":1000,"SampleMicros":500}` + "\n"
	for text, want := range map[string]string{
		"":                       "probe recording, byte 0: head: got the end, want two lines",
		"something else 1\n":     `probe recording, byte 0: title: got "something else 1", want "bufferstop probe recording 1"`,
		recordingTitle + "\n{\n": "probe recording, byte 29: second line: got unexpected EOF, want JSON with Begun, StretchMicros and SampleMicros",
		head + "?\x00\x00":       "probe recording, byte 102: entry: got \"?\", want <, >, x, e or !",
		head + "e\x00\x02{}":     "probe recording, byte 102: epoch: got probe: HELLO from the probe, byte 0: version: got 0 bytes, want 1, want JSON with the HELLO, its tick and its time, not earlier than what came before",
		head:                     "unexpected EOF",
	} {
		require.EqualError(t, Replay(bytes.NewReader([]byte(text)), discard{}), want)
	}
}

func TestAWriterThatFailsEndsTheRecordingAndNothingElse(t *testing.T) {
	f, w := newFarEnd(1, mean, testHello()), newWitness()
	c := attach(t, f, Options{Record: &limited{left: 1000}})
	f.run(t, c, 500*time.Millisecond, w)
	assert.Empty(t, w.tracks[0].lost)
	require.EqualError(t, c.Health().RecordingError, "disk full")
	require.EqualError(t, c.Close(), "disk full")
}

type limited struct{ left int }

func (l *limited) Write(p []byte) (int, error) {
	if l.left -= len(p); l.left < 0 {
		return 0, errors.New("disk full")
	}
	return len(p), nil
}

func FuzzReplay(f *testing.F) {
	head := recordingTitle + "\n" + `{"Begun":"2026-01-01T00:00:00Z","StretchMicros":1000,"SampleMicros":500}` + "\n"
	e := &epoch{Hello: testHello().Append(nil), Nanos: 62.5}
	r := &recorder{ended: make(chan struct{})}
	r.wake = sync.NewCond(&r.mu)
	r.entry(recordEpoch, 5, e.encode())
	s := Stretch{Length: 16000, Levels: 1, tracks: 2, Items: [MaxTracks][]Item{{MakeItem(CodeNegative, 900)}}, Values: []uint16{5}}
	r.bytes(recordReceived, 9, AppendFrame(nil, TypeStretch, 0, s.Append(nil)))
	f.Add([]byte(head + string(r.filling)))
	f.Fuzz(func(t *testing.T, p []byte) {
		w := newWitness()
		_ = Replay(bytes.NewReader(p), w)
		if len(w.faults) > 0 {
			t.Fatal(w.faults)
		}
	})
}

func TestADiskThatIsSlowCostsTheRecordingOnly(t *testing.T) {
	w := &stuck{free: make(chan struct{})}
	r, err := newRecorder(w, recordingHead{})
	require.NoError(t, err)
	e := &epoch{Hello: testHello().Append(nil), Nanos: 62.5}
	r.entry(recordEpoch, 0, e.encode())
	piece := make([]byte, 1<<20)
	for range 3 * mostUnwritten / len(piece) {
		r.bytes(recordReceived, time.Second, piece) // returns, whatever the disk does
	}
	lost, err := r.state()
	require.NoError(t, err)
	assert.Greater(t, lost, uint64(mostUnwritten/2))
	close(w.free)
	require.Eventually(t, func() bool { r.mu.Lock(); defer r.mu.Unlock(); return len(r.filling) == 0 }, 10*time.Second, time.Millisecond)
	r.bytes(recordReceived, 2*time.Second, []byte{0})
	require.NoError(t, r.close())
	p, err := OpenRecording(bytes.NewReader(w.written))
	require.NoError(t, err)
	for err == nil {
		_, err = p.Pump(t.Context(), 0, discard{})
	}
	require.Equal(t, io.EOF, err)
	assert.Equal(t, lost, p.Health().RecordingLost)
}

// A stuck writer writes nothing but the head until it is free.
type stuck struct {
	free    chan struct{}
	head    bool
	written []byte
}

func (s *stuck) Write(p []byte) (int, error) {
	if s.head {
		<-s.free
	}
	s.head = true
	s.written = append(s.written, p...)
	return len(p), nil
}
