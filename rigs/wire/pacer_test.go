package wire_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness/link"
	"bufferstop/harness/station"
	"bufferstop/rigs/simulated"
	"bufferstop/rigs/wire"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// served starts a rig in real time. end stops it and waits until it has returned.
func served(t *testing.T, r *simulated.Rig) (host *link.PipeEnd, end func() error) {
	t.Helper()
	host, far := link.Pipe(link.NewWallClock(), 0)
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- wire.Serve(ctx, r, far, true) }()
	return host, func() error {
		stop()
		return <-ended
	}
}

func TestAStationIsServedInRealTime(t *testing.T) {
	r, err := simulated.New(simulated.Options{Nominal: true})
	require.NoError(t, err)
	_, err = r.Track(station.Programming).Fit(fakedecoder.Default())
	require.NoError(t, err)
	host, end := served(t, r)
	began := time.Now()
	_, err = host.Write(t.Context(), []byte("TRAC:POW MAIN,ON;:CV:READ? 1;:TRAC:POW? MAIN\n"), time.Second)
	require.NoError(t, err)
	lines := link.NewLineReader(host, link.NewWallClock(), "\n", 100)
	line, err := lines.ReadLine(t.Context(), 20*time.Second)
	require.NoError(t, err)
	assert.Equal(t, "3;ON", string(line.Text))
	passed := time.Since(began)
	require.NoError(t, end())
	assert.GreaterOrEqual(t, passed, 300*time.Millisecond, "a read of a CV takes its time")
	assert.LessOrEqual(t, r.Now(), time.Since(began), "the rig is never ahead of the wall")
	assert.Greater(t, r.Now(), passed/2)
}

// counted counts how often a rig is made safe.
type counted struct {
	*simulated.Rig
	safe int
}

func (c *counted) Safe() error {
	c.safe++
	return c.Rig.Safe()
}

func TestServingEndsWhenTheHostHangsUpAndLeavesTheRigSafe(t *testing.T) {
	r, err := simulated.New(simulated.Options{Nominal: true})
	require.NoError(t, err)
	kept := &counted{Rig: r}
	near, far := link.Pipe(link.NewWallClock(), 0)
	require.NoError(t, near.Close())
	require.NoError(t, wire.Serve(t.Context(), kept, far, true))
	assert.Equal(t, 1, kept.safe)
	_, err = r.Link().Read(t.Context(), make([]byte, 1), 0)
	require.ErrorIs(t, err, link.ErrTimeout, "the rig is still open")
}

func TestARigThatFellBehindCatchesUpInSmallSteps(t *testing.T) {
	r, err := simulated.New(simulated.Options{Nominal: true})
	require.NoError(t, err)
	host, far := link.Pipe(new(link.VirtualClock), 0)
	p := wire.NewPacer(r.Line(), far)
	p.FallBehind(time.Second) // as if the machine had been busy for a second
	_, err = host.Write(t.Context(), []byte("*IDN?\n"), 0)
	require.NoError(t, err)
	var answer []byte
	steps := 0
	for ; r.Now() < time.Second; steps++ {
		before := r.Now()
		require.NoError(t, p.Step(t.Context(), time.Second))
		require.LessOrEqual(t, r.Now()-before, wire.Leap)
		var b [100]byte
		n, _ := host.Read(t.Context(), b[:], 0)
		if len(answer) == 0 && n > 0 {
			assert.Less(t, r.Now(), 20*time.Millisecond, "the answer comes when it is due, and not after the second")
		}
		answer = append(answer, b[:n]...)
	}
	assert.GreaterOrEqual(t, steps, int(time.Second/wire.Leap))
	assert.Equal(t, time.Second, r.Now(), "the rig goes no further than it is told to")
	assert.True(t, strings.HasPrefix(string(answer), "bufferstop,"))
}

func TestAHostThatFloodsWaitsForTheLineAndOneThatNeverReadsHarmsNothing(t *testing.T) {
	r, err := simulated.New(simulated.Options{Nominal: true})
	require.NoError(t, err)
	host, far := link.Pipe(new(link.VirtualClock), 0)
	p := wire.NewPacer(r.Line(), far)
	flood := strings.Repeat("*IDN?;*IDN?;*IDN?;*IDN?\n", 20000)
	_, err = host.Write(t.Context(), []byte(flood), 0)
	require.NoError(t, err)
	host.Block(true)              // the host takes nothing
	for r.Now() < 7*time.Second { // a line of 115200 baud fills the buffer in 5.7 s
		p.FallBehind(wire.Leap)
		require.NoError(t, p.Step(t.Context(), time.Hour))
		require.LessOrEqual(t, len(r.Line().ToStation.Underway()), wire.TransmitBuffer)
		require.LessOrEqual(t, p.Said(), wire.HostBuffer)
	}
	assert.Equal(t, wire.HostBuffer, p.Said())
}

// BenchmarkServe is a second of the wall with both tracks on and nobody listening to the probes: the processor time that
// it takes is what `go test -bench Serve -benchtime 10x` needs, as `time` shows it.
func BenchmarkServe(b *testing.B) {
	r, err := simulated.New(simulated.Options{Nominal: true})
	require.NoError(b, err)
	near, far := link.Pipe(link.NewWallClock(), 0)
	defer near.Close()
	_, err = near.Write(b.Context(), []byte("TRAC:POW MAIN,ON;POW PROG,ON;:LOCO:SPE 3,10,FORW;FUNC 3,0,ON\n"), 0)
	require.NoError(b, err)
	for b.Loop() {
		ctx, stop := context.WithTimeout(b.Context(), time.Second)
		require.NoError(b, wire.Serve(ctx, r, far, true))
		stop()
	}
	require.NoError(b, r.Close())
}
