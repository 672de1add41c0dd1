//go:build linux || darwin

package probe

import (
	"context"
	"os"
	"runtime"
	"slices"
	"sync"
	"syscall"
	"testing"
	"time"

	"bufferstop/harness/link"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A ptyEnd is a device behind a pseudo-terminal. Its time passes as the wall clock's does, but for what the machine keeps
// it waiting beyond some milliseconds.
type ptyEnd struct {
	master, tty *os.File
	device      *Device
	courses     [MaxTracks]*course
	in          chan []byte
	done        sync.WaitGroup
	stop        chan struct{}
	ending      sync.Once
}

func newPtyEnd(t testing.TB, mean time.Duration) *ptyEnd {
	master, tty, err := pty.Open()
	require.NoError(t, err)
	e := &ptyEnd{master: master, tty: tty, device: NewDevice(DeviceConfig{Hello: *testHello(), FirstTick: 0xffff_0000}),
		in: make(chan []byte, 1024), stop: make(chan struct{})}
	for i := range e.courses {
		e.courses[i] = newCourse(uint64(i), mean, true)
	}
	e.done.Add(2)
	go e.hear()
	go e.live()
	return e
}

func (e *ptyEnd) address() string { return "serial:" + e.tty.Name() + "?baud=2000000" }

func (e *ptyEnd) hear() {
	defer e.done.Done()
	for {
		p := make([]byte, 4096)
		n, err := e.master.Read(p)
		if err != nil {
			return
		}
		e.in <- p[:n]
	}
}

func (e *ptyEnd) live() {
	defer e.done.Done()
	last, now := time.Now(), time.Duration(0)
	for {
		select {
		case <-e.stop:
			return
		case p := <-e.in:
			e.device.Receive(p)
			if _, err := e.master.Write(e.device.Sent()); err != nil {
				return
			}
			continue
		case <-time.After(200 * time.Microsecond):
		}
		passed := time.Since(last)
		last = last.Add(passed)
		now += min(passed, 2*time.Millisecond).Truncate(time.Microsecond)
		for e.courses[0].next < now || e.courses[1].next < now {
			track := 0
			if e.courses[1].next < e.courses[0].next {
				track = 1
			}
			e.courses[track].until(e.courses[track].next+1, e.device, track)
		}
		e.device.Advance(now)
		if _, err := e.master.Write(e.device.Sent()); err != nil {
			return
		}
	}
}

// close ends the far end. Only then may its device and courses be looked at.
func (e *ptyEnd) close() {
	e.ending.Do(func() {
		close(e.stop)
		e.tty.Close()
		e.done.Wait()
		e.master.Close()
	})
}

func TestTwoHundredThousandEdgesASecondComeOverAPtyWithoutLoss(t *testing.T) {
	e, w := newPtyEnd(t, 10*time.Microsecond), newWitness()
	defer e.close()
	l, err := link.Open(t.Context(), e.address())
	require.NoError(t, err)
	c, err := Open(t.Context(), l, Options{})
	require.NoError(t, err)
	defer c.Close()
	for end := time.Now().Add(time.Minute); w.complete < 500*time.Millisecond; {
		require.True(t, time.Now().Before(end))
		select {
		case <-c.Arrived():
		case <-time.After(time.Second):
			require.Fail(t, "nothing arrives")
		}
		_, err := c.Pump(t.Context(), 0, w)
		require.NoError(t, err)
	}
	at, err := c.Load(t.Context(), Main, LoadProfile{Now: true, Steps: []LoadStep{{5, time.Millisecond}}})
	require.NoError(t, err)
	assert.Greater(t, at, 400*time.Millisecond)
	_, err = c.Short(t.Context(), Main, true, 10*time.Millisecond)
	require.NoError(t, err)
	require.NoError(t, c.Close())
	for err == nil {
		_, err = c.Pump(t.Context(), 0, w)
	}
	require.ErrorIs(t, err, ErrClosed)
	e.close()
	require.Zero(t, c.Health().Reconnects+c.Health().Restarts)
	offset := e.device.timeOf(int64(c.epoch.Tick - e.device.first))
	edges := 0
	for i := range w.tracks {
		require.Empty(t, w.compare(i, e.courses[i], offset))
		require.Empty(t, w.tracks[i].lost, "%+v", c.Health())
		edges += len(w.tracks[i].edges)
	}
	assert.InDelta(t, 200_000, float64(edges)/w.complete.Seconds(), 30_000)
	h := c.Health()
	assert.Zero(t, h.Broken.Total()+h.FramesLost+h.Dropped+h.Malformed+h.Implausible)
	assert.Zero(t, h.Reconnects+h.Restarts)
}

func TestAPtyThatIsPulledAndPutBackIsGreetedAnew(t *testing.T) {
	e, w := newPtyEnd(t, 100*time.Microsecond), newWitness()
	var mu sync.Mutex
	r := link.Reopening(func(ctx context.Context) (link.Link, error) {
		mu.Lock()
		address := e.address()
		mu.Unlock()
		return link.Open(ctx, address)
	}, 10*time.Second)
	c, err := Open(t.Context(), r, Options{})
	require.NoError(t, err)
	defer c.Close()
	pump := func(until func() bool) {
		for end := time.Now().Add(30 * time.Second); !until(); {
			require.True(t, time.Now().Before(end))
			_, err := c.Pump(t.Context(), 10*time.Millisecond, w)
			require.NoError(t, err)
		}
	}
	pump(func() bool { return w.complete > 100*time.Millisecond })
	old := e
	mu.Lock()
	e = newPtyEnd(t, 100*time.Microsecond)
	mu.Unlock()
	close(old.stop)
	old.master.Close() // the device is gone
	old.tty.Close()
	pump(func() bool { return c.Health().Reconnects == 1 && len(w.tracks[0].lost) > 0 })
	after := w.complete
	pump(func() bool { return w.complete > after+100*time.Millisecond })
	require.Empty(t, w.faults)
	require.NoError(t, c.Close())
	old.done.Wait()
	e.close()
}

// BenchmarkClientOverAPty streams a million edges that were made before, as fast as the client takes them.
func BenchmarkClientOverAPty(b *testing.B) {
	const million = 1_000_000
	d := NewDevice(DeviceConfig{Hello: *testHello(), Room: 1 << 30})
	d.Receive(AppendFrame(nil, TypeAskHello, 0, []byte{1}))
	d.Receive(AppendFrame(nil, TypeStart, 0, Start{1000, 500}.Append(nil)))
	d.Sent()
	course := newCourse(1, 5*time.Microsecond, false)
	for course.brief = true; course.count < million; {
		course.until(course.next+ms, d, Main)
		d.Receive(AppendFrame(nil, TypeAlive, 0, nil))
	}
	d.Advance(course.next + 2*ms)
	stream := append([]byte(nil), d.Sent()...)

	var cpu, far time.Duration
	var mallocs uint64
	b.SetBytes(int64(len(stream)))
	for b.Loop() {
		master, tty, err := pty.Open()
		require.NoError(b, err)
		ended := make(chan time.Duration)
		go func() { ended <- serveStream(master, stream) }()
		l, err := link.Open(b.Context(), "serial:"+tty.Name()+"?baud=2000000")
		require.NoError(b, err)
		c, err := Open(b.Context(), l, Options{})
		require.NoError(b, err)
		var s tally
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		began := usage(b, syscall.RUSAGE_SELF)
		for s.edges < million {
			if _, err := c.Pump(b.Context(), time.Second, &s); err != nil {
				b.Fatal(err, c.Health())
			}
		}
		cpu += usage(b, syscall.RUSAGE_SELF) - began
		runtime.ReadMemStats(&after)
		mallocs += after.Mallocs - before.Mallocs
		if h := c.Health(); s.lost > 0 || h.Dropped > 0 {
			b.Fatal(h)
		}
		c.cancel() // the far end does not listen any more, so no farewell
		<-c.ended
		c.link.Close()
		tty.Close()
		far += <-ended
		master.Close()
	}
	runs := float64(b.N)
	b.ReportMetric(runs*million/b.Elapsed().Seconds(), "edges/s")
	b.ReportMetric((cpu-far).Seconds()/runs, "cpu-s/Medge")
	b.ReportMetric(float64(mallocs)/runs, "allocs/Medge")
	b.ReportMetric(0, "ns/op")
}

// serveStream greets the client and sends the stream. It returns the time that its writes took of the processor.
func serveStream(master *os.File, stream []byte) time.Duration {
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	d := NewDevice(DeviceConfig{Hello: *testHello()})
	p := make([]byte, 4096)
	for !d.stream.started {
		n, err := master.Read(p)
		if err != nil {
			return 0
		}
		d.Receive(p[:n])
		_, _ = master.Write(d.Sent())
	}
	before := threadUsage()
	_, _ = master.Write(stream)
	used := threadUsage() - before
	for { // until the other end is closed
		if _, err := master.Read(p); err != nil {
			return used
		}
	}
}

func usage(t testing.TB, who int) time.Duration {
	var u syscall.Rusage
	require.NoError(t, syscall.Getrusage(who, &u))
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// BenchmarkExchangeOverAPty is a command and its answer while 20 000 edges/s come on each track.
func BenchmarkExchangeOverAPty(b *testing.B) {
	e := newPtyEnd(b, 50*time.Microsecond)
	defer e.close()
	l, err := link.Open(b.Context(), e.address())
	require.NoError(b, err)
	c, err := Open(b.Context(), l, Options{})
	require.NoError(b, err)
	defer c.Close()
	var round []time.Duration
	for b.Loop() {
		p, err := c.Sync(b.Context())
		if err != nil {
			b.Fatal(err)
		}
		round = append(round, p.Received-p.Sent)
		if _, err := c.Pump(b.Context(), 0, discard{}); err != nil {
			b.Fatal(err)
		}
	}
	slices.Sort(round)
	b.ReportMetric(float64(round[len(round)/2].Nanoseconds()), "median-ns")
	b.ReportMetric(float64(round[len(round)*99/100].Nanoseconds()), "p99-ns")
}
