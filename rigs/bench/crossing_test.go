package bench

import (
	"context"
	"errors"
	"testing"
	"time"

	"bufferstop/harness/link"
	"bufferstop/rigs/simulated"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// lossy is a link of which so many bytes get through in all.
type lossy struct {
	link.Link
	left int
}

func (l *lossy) Write(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	n := min(l.left, len(p))
	l.left -= n
	_, err := l.Link.Write(ctx, p[:n], timeout)
	return len(p), err
}

// paces are the two ways in which a station inside lives.
var paces = map[string]func(*simulated.Rig, crossing) (side, link.Link){"real": newReal, "virtual": newVirtual}

// wired connects a station inside by a pipe.
func wired(t *testing.T, pace string, change func(*crossing)) (side, link.Link) {
	t.Helper()
	rig, err := simulated.New(simulated.Options{Nominal: true})
	require.NoError(t, err)
	near, far := link.Pipe(link.NewWallClock(), 0)
	w := crossing{near: near, far: far, limit: 50 * time.Millisecond}
	change(&w)
	side, line := paces[pace](rig, w)
	t.Cleanup(func() { require.NoError(t, errors.Join(side.Close(), line.Close(), w.far.Close())) })
	return side, line
}

func TestALineKeepsTheRulesOfLinkInBothPaces(t *testing.T) {
	for pace := range paces {
		t.Run(pace, func(t *testing.T) {
			ctx := context.Background()
			side, line := wired(t, pace, func(*crossing) {})
			var b [64]byte
			n, err := line.Read(ctx, nil, time.Second)
			assert.Zero(t, n)
			require.NoError(t, err)
			_, err = line.Read(ctx, b[:], 0)
			require.ErrorIs(t, err, link.ErrTimeout)
			assert.Zero(t, side.Now())
			_, err = line.Read(ctx, b[:], 20*time.Millisecond)
			require.ErrorIs(t, err, link.ErrTimeout)
			assert.Equal(t, 20*time.Millisecond, side.Now(), "the time of the rig, exactly")
			n, err = line.Write(ctx, []byte("*IDN?\n"), time.Second)
			require.NoError(t, err)
			assert.Equal(t, 6, n)
			require.NoError(t, side.Wait(ctx, 30*time.Millisecond))
			assert.Equal(t, 50*time.Millisecond, side.Now())
			n, err = line.Read(ctx, b[:10], 0)
			require.NoError(t, err)
			assert.Equal(t, "bufferstop", string(b[:n]), "what was said meanwhile is there")
			ended, end := context.WithCancel(ctx)
			end()
			_, err = line.Read(ended, b[:], time.Second)
			require.ErrorIs(t, err, context.Canceled)
			_, err = line.Write(ended, b[:], time.Second)
			require.ErrorIs(t, err, context.Canceled)
			require.ErrorIs(t, side.Wait(ended, time.Second), context.Canceled)
			require.NoError(t, line.Close())
			_, err = line.Write(ctx, []byte("x"), time.Second)
			require.ErrorIs(t, err, link.ErrClosed)
		})
	}
}

func TestBytesLostOnTheWayAreTheLinksFault(t *testing.T) {
	for pace := range paces {
		t.Run(pace, func(t *testing.T) {
			ctx := context.Background()
			_, line := wired(t, pace, func(w *crossing) { w.far = &lossy{w.far, 3} })
			_, err := line.Write(ctx, []byte("*IDN?\n"), time.Second)
			require.NoError(t, err)
			var b [64]byte
			for err == nil {
				_, err = line.Read(ctx, b[:], 300*time.Millisecond)
			}
			require.ErrorIs(t, err, link.ErrClosed)
			require.ErrorContains(t, err, "came over within 50ms")
		})
	}
}

func TestInRealTimeTheStationGoesOnWhenTheCableIsPulled(t *testing.T) {
	ctx := context.Background()
	side, line := wired(t, "real", func(*crossing) {})
	require.NoError(t, line.Close())
	require.NoError(t, side.Wait(ctx, 10*time.Millisecond))
	assert.Equal(t, 10*time.Millisecond, side.Now())
	_, err := line.Read(ctx, make([]byte, 1), time.Second)
	require.ErrorIs(t, err, link.ErrClosed)
}

func TestWhatIsOnTheLineWhenTheSupplyGoesIsLost(t *testing.T) {
	for pace := range paces {
		t.Run(pace, func(t *testing.T) {
			ctx := context.Background()
			side, line := wired(t, pace, func(*crossing) {})
			_, err := line.Write(ctx, []byte("*IDN?\n"), time.Second)
			require.NoError(t, err)
			var first [1]byte
			_, err = line.Read(ctx, first[:], time.Second)
			require.NoError(t, err)
			before := side.Now()
			require.NoError(t, side.Restart(ctx))
			assert.Greater(t, side.Now()-before, 500*time.Millisecond)
			var rest []byte
			for err == nil {
				var b [64]byte
				var n int
				n, err = line.Read(ctx, b[:], 50*time.Millisecond)
				rest = append(rest, b[:n]...)
			}
			require.ErrorIs(t, err, link.ErrTimeout)
			assert.Less(t, len(rest), len("bufferstop,simulated station,0,1.0\n")-1)
			_, err = line.Write(ctx, []byte("TRAC:POW? MAIN\n"), time.Second)
			require.NoError(t, err)
			n, err := line.Read(ctx, first[:], time.Second)
			require.NoError(t, err)
			assert.Equal(t, "O", string(first[:n]))
		})
	}
}
