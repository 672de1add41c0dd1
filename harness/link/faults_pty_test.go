//go:build linux || darwin

package link_test

import (
	"context"
	"errors"
	"io"
	"os"
	"sync"
	"testing"
	"time"

	"bufferstop/harness/link"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// again plays a fault a hundred times, each with its own link, and then looks for files left open.
func again(t *testing.T, fault func(t *testing.T, round int)) {
	t.Helper()
	rounds := 100
	if testing.Short() {
		rounds = 5
	}
	t.Run("first", func(t *testing.T) { fault(t, 0) }) // opens what the runtime keeps
	before := openFiles(t)
	for round := range rounds {
		require.True(t, t.Run("round", func(t *testing.T) { fault(t, round) }))
	}
	assert.Equal(t, before, openFiles(t), "open files")
}

// openFiles counts the open files of this process.
func openFiles(t *testing.T) int {
	t.Helper()
	files, err := os.ReadDir("/dev/fd")
	require.NoError(t, err)
	return len(files)
}

// connections are the ways to a station that a fault is played on.
func connections() map[string]func(*testing.T) (link.Link, io.ReadWriteCloser) {
	return map[string]func(*testing.T) (link.Link, io.ReadWriteCloser){
		"serial":              overPTY(link.OpenSerial),
		"serial by goroutine": overPTY(link.OpenSerialByGoroutine),
		"tcp":                 overTCP,
	}
}

const (
	command = "read 29\n"
	answer  = "value 29 7\n"
)

// hears reads the command at the far end.
func hears(t *testing.T, far io.Reader) {
	t.Helper()
	p := make([]byte, len(command))
	_, err := io.ReadFull(far, p)
	require.NoError(t, err)
	require.Equal(t, command, string(p))
}

func TestFaultUnplugInTheMiddleOfACommandIsErrClosed(t *testing.T) {
	for name, connect := range connections() {
		t.Run(name, func(t *testing.T) {
			again(t, func(t *testing.T, round int) {
				near, far := connect(t)
				start := time.Now()
				write(t, near, command)
				hears(t, far)
				said := (round % 3) * len(answer) / 3 // nothing, or the beginning of an answer
				_, err := far.Write([]byte(answer[:said]))
				require.NoError(t, err)
				assert.Equal(t, answer[:said], readAll(t, near, said))
				pulled := make(chan struct{})
				go func() { defer close(pulled); _ = far.Close() }()
				for err == nil {
					_, err = read(t, near, slow)
				}
				require.ErrorIs(t, err, link.ErrClosed)
				require.NoError(t, near.Close())
				assert.Less(t, time.Since(start), slow)
				<-pulled
			})
		})
	}
}

// bus is what is connected, as a USB bus shows it: one device, now under this name, now under that, now gone.
type bus struct {
	mu   sync.Mutex
	name string
}

func (b *bus) rename(name string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.name = name
}

func (b *bus) ports() ([]link.PortInfo, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	all := []link.PortInfo{{Name: "/dev/gone"}, {Name: "/dev/other", USB: true, VID: "1209", PID: "0001", SerialNumber: "B"}}
	if b.name != "" {
		all = append(all, link.PortInfo{Name: b.name, USB: true, VID: "1209", PID: "0001", SerialNumber: "A"})
	}
	return all, nil
}

// reopening returns a link to device A of the bus.
func reopening(t *testing.T, b *bus, limit time.Duration) *link.ReopeningLink {
	t.Helper()
	address, err := link.ParseAddress("serial:usb=1209:0001?serial=A")
	require.NoError(t, err)
	address.Serial.Ports = b.ports
	near := link.Reopening(address.Open, limit)
	require.NoError(t, near.Open(t.Context()))
	t.Cleanup(func() { _ = near.Close() })
	return near
}

func TestFaultDeviceThatComesBackUnderAnotherNameIsFoundAndGoesOn(t *testing.T) {
	again(t, func(t *testing.T, round int) {
		far, device := terminal(t)
		connected := &bus{name: device}
		near := reopening(t, connected, slow)
		write(t, near, command)
		hears(t, far)
		connected.rename("")
		require.NoError(t, far.Close())
		_, err := read(t, near, slow)
		require.ErrorIs(t, err, link.ErrClosed, "the loss is told")

		far, device = terminal(t)
		plugged := time.AfterFunc(time.Duration(round%4)*5*time.Millisecond, func() { connected.rename(device) })
		defer plugged.Stop()
		write(t, near, command)
		hears(t, far)
		_, err = far.Write([]byte(answer))
		require.NoError(t, err)
		assert.Equal(t, answer, readAll(t, near, len(answer)))
		assert.Equal(t, 1, near.Reopened())
		require.NoError(t, near.Close())
	})
}

func TestFaultDeviceThatNeverComesBackIsErrClosedWithinTheLimitEachTime(t *testing.T) {
	again(t, func(t *testing.T, _ int) {
		const limit = 25 * time.Millisecond
		far, device := terminal(t)
		connected := &bus{name: device}
		near := reopening(t, connected, limit)
		connected.rename("")
		require.NoError(t, far.Close())
		start := time.Now()
		for range 4 {
			_, err := read(t, near, time.Hour)
			require.ErrorIs(t, err, link.ErrClosed)
			_, err = near.Write(t.Context(), []byte(command), time.Hour)
			require.ErrorIs(t, err, link.ErrClosed)
		}
		assert.GreaterOrEqual(t, time.Since(start), limit)
		assert.Less(t, time.Since(start), slow)
		require.NoError(t, near.Close())
	})
}

func TestFaultPeerThatStopsReadingEndsEachWriteInTime(t *testing.T) {
	for name, connect := range connections() {
		t.Run(name, func(t *testing.T) {
			much := pattern(1 << 23) // more than a network connection of this machine holds
			again(t, func(t *testing.T, round int) {
				near, far := connect(t)
				const allowed = 2 * time.Millisecond
				var err error
				for sent, full := 0, 0; full < 2; {
					require.Less(t, sent, len(much))
					start := time.Now()
					n := 0
					n, err = near.Write(t.Context(), much[sent:], allowed)
					require.ErrorIs(t, err, link.ErrTimeout)
					require.GreaterOrEqual(t, time.Since(start), allowed)
					require.Less(t, time.Since(start), slow)
					if sent += n; n == 0 {
						full++
					}
				}
				start := time.Now()
				switch round % 3 {
				case 0: // its plug is pulled while a write waits
					timer := time.AfterFunc(time.Millisecond, func() { _ = far.Close() })
					defer timer.Stop()
					_, err = near.Write(t.Context(), much, time.Hour)
					require.ErrorIs(t, err, link.ErrClosed)
				case 1: // the run is interrupted
					ctx, cancel := context.WithTimeout(t.Context(), time.Millisecond)
					defer cancel()
					_, err = near.Write(ctx, much, time.Hour)
					require.ErrorIs(t, err, context.DeadlineExceeded)
				}
				require.NoError(t, near.Close())
				assert.Less(t, time.Since(start), slow)
			})
		})
	}
}

func TestFaultPeerThatFloodsHoldsNothingUp(t *testing.T) {
	for name, connect := range connections() {
		t.Run(name, func(t *testing.T) {
			noise := pattern(1000)
			for i, c := range noise {
				if c == '\n' {
					noise[i] = 'x'
				}
			}
			again(t, func(t *testing.T, _ int) {
				near, far := connect(t)
				stopped := make(chan struct{})
				go func() {
					defer close(stopped)
					for {
						if _, err := far.Write(noise); err != nil {
							return
						}
					}
				}()
				start := time.Now()
				write(t, near, command)
				lines := link.NewLineReader(near, link.NewWallClock(), "\n", 100)
				_, err := lines.ReadLine(t.Context(), 2*time.Millisecond)
				var long *link.LongLineError
				require.True(t, errors.As(err, &long) || errors.Is(err, link.ErrTimeout), err)
				ctx, cancel := context.WithTimeout(t.Context(), 2*time.Millisecond)
				defer cancel()
				for err = nil; err == nil; {
					_, err = near.Read(ctx, make([]byte, 10), time.Hour)
				}
				require.ErrorIs(t, err, context.DeadlineExceeded)
				require.NoError(t, near.Close())
				assert.Less(t, time.Since(start), slow)
				_ = far.Close()
				<-stopped
			})
		})
	}
}
