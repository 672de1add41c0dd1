package analyser

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"bufferstop/harness/link"
	"bufferstop/harness/probe"
)

// What an analyser is allowed. All our own choices.
const (
	chunk        = 256 << 10 // bytes: 11 ms of 24 MHz
	trySamples   = 10_000    // of the short capture that tells how samples look
	firstLimit   = 20 * time.Second
	silenceLimit = 5 * time.Second
	// fallLimit is by how much samples may fall behind the host's clock, and stay there, before some must be missing: more
	// than clocks differ within seconds.
	fallLimit    = 100 * time.Millisecond
	defaultQueue = 1 << 17 // edges of a track: 10 s of a busy one, 2 MiB
	stopLimit    = time.Second
	mostNotes    = 16
)

// Options say how an analyser is used. The zero value is useful.
type Options struct {
	// PPM is by how many millionths the time of the samples is to be made longer: negative for a clock that is fast.
	PPM float64
	// QueueEdges is how many edges of a track wait for Pump at most; zero is 131072.
	QueueEdges int
	// Command runs sigrok-cli; nil looks for it in the PATH.
	Command []string
	// Clock is the host's; nil is a new wall clock.
	Clock link.Clock
}

// An Analyser is a probe that can see. Pump is called by one goroutine at a time; everything else by any.
type Analyser struct {
	address Address
	options Options
	hello   probe.Hello
	program link.Link
	arrived chan struct{}
	cancel  context.CancelFunc
	ended   chan struct{} // closed when the reading goroutine has ended
	closing sync.Once
	closed  error
	warned  atomic.Bool // the program has said that samples are missing

	queue   *queue
	sampler *Sampler // under the queue's lock, as all below
	head    head
	drift   drift
	fatal   error
	notes   []string
	missing uint64
}

var _ probe.Source = (*Analyser)(nil)

// Open starts the analyser that an address names. First it makes a short capture, to learn how samples look and which
// rate the driver has chosen. ctx bounds the opening only.
func Open(ctx context.Context, text string, o Options) (*Analyser, error) {
	address, err := ParseAddress(text)
	if err != nil {
		return nil, err
	}
	return address.Open(ctx, o)
}

// Open opens the analyser at the address.
func (a Address) Open(ctx context.Context, o Options) (*Analyser, error) {
	o.PPM += a.PPM
	if o.PPM < -1e5 || o.PPM > 1e5 || o.PPM != o.PPM {
		return nil, fmt.Errorf("analyser: clock correction is %v ppm, want -100000 to 100000", o.PPM)
	}
	if o.QueueEdges <= 0 {
		o.QueueEdges = defaultQueue
	}
	if o.Clock == nil {
		o.Clock = link.NewWallClock()
	}
	var err error
	if o.Command, err = find(o.Command); err != nil {
		return nil, err
	}
	session, channels, err := a.try(ctx, o.Command)
	if err != nil {
		return nil, fmt.Errorf("analyser %s: %w", a.Driver, err)
	}
	layout, err := session.Layout(a.Tracks, a.OffAfter)
	if err != nil {
		return nil, fmt.Errorf("analyser %s: %w", a.Driver, err)
	}
	x := &Analyser{address: a, options: o, hello: Hello("sigrok "+a.Driver, layout, a.Tracks),
		arrived: make(chan struct{}, 1), ended: make(chan struct{})}
	var ids []int
	for _, t := range a.Tracks {
		ids = append(ids, t.Track)
	}
	x.queue = newQueue(ids, o.QueueEdges)
	if x.sampler, err = NewSampler(layout, x.queue.push); err != nil {
		return nil, err
	}
	if session.Rate != a.Rate {
		x.note(fmt.Sprintf("the driver samples at %s instead of %s", formatRate(session.Rate), formatRate(a.Rate)))
	}
	command := slices.Concat(o.Command, a.arguments(channels), []string{"--continuous", "--output-format", "binary"})
	x.program, err = link.OpenProcess(ctx, link.ProcessConfig{Command: command, Chunk: chunk, Stderr: stderr{x}, Grace: stopLimit})
	if err != nil {
		return nil, err
	}
	life, cancel := context.WithCancel(context.Background())
	x.cancel = cancel
	go x.read(life)
	return x, nil
}

// try makes a short capture and has it described. It returns as well which channels are sampled.
func (a Address) try(ctx context.Context, command []string) (_ Session, channels []string, err error) {
	shown, err := ask(ctx, slices.Concat(command, a.device(), []string{"--show"}))
	if err != nil {
		return Session{}, nil, err
	}
	if channels, err = enough(shown, a.channels()); err != nil {
		return Session{}, nil, err
	}
	folder, err := os.MkdirTemp("", "bufferstop-analyser-")
	if err != nil {
		return Session{}, nil, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(folder)) }()
	file := filepath.Join(folder, "try.sr")
	said, err := ask(ctx, slices.Concat(command, a.arguments(channels),
		[]string{"--samples", strconv.Itoa(trySamples), "--output-file", file}))
	if err != nil {
		return Session{}, nil, err
	}
	if _, err := os.Stat(file); err != nil {
		return Session{}, nil, fmt.Errorf("%s ended well without a capture; it said %+q", Program, said)
	}
	session, err := Show(ctx, command, file)
	return session, channels, err
}

// Hello makes the greeting of a probe that sees what a layout tells and has no hands.
func Hello(name string, l Layout, tracks []Channels) probe.Hello {
	h := probe.Hello{Version: probe.Version, Clock: uint32(l.Rate), Features: probe.SeesEdges | probe.SeesOff,
		Name: name[:min(len(name), probe.MaxName)]}
	for i, t := range tracks {
		h.Tracks = append(h.Tracks, probe.TrackHello{ID: uint8(t.Track)})
		if !l.Pins[i].TellsOff() {
			h.Features &^= probe.SeesOff
		}
	}
	return h
}

// Hello is who the analyser is. Its clock is the sample rate, which is the grid of its edges. SeesOff says that every
// track can be told to be off.
func (x *Analyser) Hello() probe.Hello { return x.hello }

// Arrived signals that Pump has something. After a signal is taken, call Pump.
func (x *Analyser) Arrived() <-chan struct{} { return x.arrived }

// Pump hands all that has come to s, in the goroutine that calls it, and reports whether there was something. It waits up
// to wait for the first. When the analyser has ended and everything has been handed out, it returns an error that is
// probe.ErrLost, or probe.ErrClosed after Close.
func (x *Analyser) Pump(ctx context.Context, wait time.Duration, s probe.Sink) (bool, error) {
	return await(ctx, wait, x.arrived, func() (bool, error) {
		if err := ctx.Err(); err != nil {
			return false, err
		}
		if x.queue.pump(x.scale, s) {
			return true, nil
		}
		x.queue.mu.Lock()
		defer x.queue.mu.Unlock()
		return false, x.fatal
	})
}

func (x *Analyser) scale(t time.Duration) time.Duration {
	if x.options.PPM == 0 {
		return t
	}
	return t + time.Duration(math.Round(float64(t)*x.options.PPM/1e6))
}

// read turns samples into edges until the analyser ends.
func (x *Analyser) read(life context.Context) {
	defer close(x.ended)
	buf := make([]byte, chunk)
	limit := firstLimit
	heard := x.options.Clock.Now()
	for {
		n, err := x.program.Read(life, buf, readSlice)
		now := x.options.Clock.Now()
		if n > 0 {
			heard, limit = now, silenceLimit
			x.take(buf[:n], now)
		}
		switch {
		case errors.Is(err, context.Canceled):
			err = probe.ErrClosed
		case err != nil && !errors.Is(err, link.ErrTimeout):
			err = fmt.Errorf("%w: analyser %s: %w", probe.ErrLost, x.address.Driver, err)
		case n == 0 && now-heard > limit:
			err = fmt.Errorf("%w: analyser %s: no samples for %v", probe.ErrLost, x.address.Driver, limit)
		default:
			err = nil
		}
		if err != nil {
			x.queue.mu.Lock()
			x.fatal = err
			x.queue.mu.Unlock()
		}
		if err != nil || n > 0 {
			select {
			case x.arrived <- struct{}{}:
			default:
			}
		}
		if err != nil {
			return
		}
	}
}

// take takes bytes that came at a time of the host.
func (x *Analyser) take(p []byte, now time.Duration) {
	x.queue.mu.Lock()
	defer x.queue.mu.Unlock()
	x.sampler.Feed(x.head.skip(p))
	x.queue.until = x.sampler.Settled()
	fallen := x.drift.add(now, x.sampler.Now())
	switch {
	case x.warned.Swap(false):
		x.missing++
		x.queue.lose()
	case fallen > fallLimit:
		x.missing++
		x.queue.lose()
		x.drift.fell()
		x.noteLocked(fmt.Sprintf("the samples fell behind the clock by %v: some are missing, and the times after that are too early", fallen.Round(time.Millisecond)))
	}
}

func (x *Analyser) note(text string) {
	x.queue.mu.Lock()
	defer x.queue.mu.Unlock()
	x.noteLocked(text)
}

func (x *Analyser) noteLocked(text string) {
	if len(x.notes) < mostNotes && !slices.Contains(x.notes, text) {
		x.notes = append(x.notes, text)
	}
}

// Notes are what a report should say about the analyser, in our words and its program's: another rate than asked for,
// missing samples, channels that contradict each other. The words of the program are escaped.
func (x *Analyser) Notes() []string {
	x.queue.mu.Lock()
	defer x.queue.mu.Unlock()
	notes := slices.Clone(x.notes)
	if n := x.sampler.Contradictions(); n > 0 {
		notes = append(notes, fmt.Sprintf("in %d samples a track had voltage both ways: are the outputs active low?", n))
	}
	return notes
}

// Drift says how the analyser's clock goes by the host's.
func (x *Analyser) Drift() Drift {
	x.queue.mu.Lock()
	defer x.queue.mu.Unlock()
	return x.drift.drift()
}

// Health says how well it goes. Queued, QueueHigh and QueueSize are edges of the fullest track; Dropped counts edges for
// which there was no room, Implausible how often samples were missing.
func (x *Analyser) Health() probe.Health {
	x.queue.mu.Lock()
	defer x.queue.mu.Unlock()
	h := probe.Health{Connected: x.fatal == nil, QueueSize: x.queue.size, QueueHigh: x.queue.high, Dropped: x.queue.drops,
		Losses: x.queue.losses, LostTime: x.queue.lost, Implausible: x.missing}
	for _, t := range x.queue.tracks {
		h.Queued = max(h.Queued, len(t.edges))
	}
	return h
}

// Close has the program stop, and ends it if it does not.
func (x *Analyser) Close() error {
	x.closing.Do(func() {
		x.cancel()
		<-x.ended
		// A key stops it in order, so that the device is left as the next capture wants it. The end of its input would not.
		ctx, cancel := context.WithTimeout(context.Background(), stopLimit)
		defer cancel()
		_, _ = x.program.Write(ctx, []byte("\n"), stopLimit)
		x.closed = x.program.Close()
	})
	return x.closed
}

// stderr takes what the program says beside the samples.
type stderr struct{ analyser *Analyser }

// missingWords are those by which drivers tell that samples were lost (drivers of libsigrok 0.5.2, from memory).
var missingWords = regexp.MustCompile(`(?i)over(run|flow)|(samples?|packets?|data|bytes) .*(lost|dropped|missing|discarded)|(lost|dropped|missing|discarded) .*(samples?|packets?|data|bytes)`)

func (w stderr) Write(line []byte) (int, error) {
	text := strings.TrimRight(string(line[:min(len(line), 200)]), "\n")
	if missingWords.MatchString(text) {
		w.analyser.warned.Store(true)
	}
	if text != "" {
		w.analyser.note(Program + " says: " + text)
	}
	return len(line), nil
}
