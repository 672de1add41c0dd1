package replay

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"context"
	"fmt"
	"io"
	"math"
	"os"
	"regexp"
	"slices"
	"strings"
	"time"

	"bufferstop/harness/probe"
	"bufferstop/harness/probe/analyser"
	"bufferstop/harness/signal"
)

// A dump reads the tracks of a value change dump, each of its signals through a reader of its own.
type dump struct {
	tracks []dumped
	tell   func(track int, e signal.Edge)
}

// dumped is one track: a signal with its levels, or pins whose bits a Sampler puts together.
type dumped struct {
	cursors []*cursor
	sampler *analyser.Sampler // nil: the only cursor is the track
	bits    uint64
}

// A cursor walks along the edges of one signal.
type cursor struct {
	capture *signal.Capture
	buf     []signal.Edge
	rest    []signal.Edge
	err     error
}

// peek returns the next edge, or false at the end or an error.
func (c *cursor) peek() (signal.Edge, bool) {
	for len(c.rest) == 0 {
		if c.err != nil {
			return signal.Edge{}, false
		}
		var n int
		n, c.err = c.capture.Read(c.buf)
		c.rest = c.buf[:n]
	}
	return c.rest[0], true
}

// openDump opens the dump of an address, of which the first bytes are known.
func openDump(a Address, o Options, start []byte) (*dump, probe.Hello, error) {
	d := &dump{}
	first, err := signal.OpenCapture(a.Path, o.Stdin)
	if err != nil {
		return nil, probe.Hello{}, err
	}
	spare := first // taken by the first signal
	fail := func(err error) (*dump, probe.Hello, error) {
		if spare != nil {
			_ = spare.Close()
		}
		_ = d.close()
		return nil, probe.Hello{}, err
	}
	tracks, err := chooseTracks(a.Tracks, first.Signals())
	if err != nil {
		return fail(fmt.Errorf("%s: %w", a.Path, err))
	}
	open := func(name string) (*cursor, error) {
		c := spare
		spare = nil
		if c == nil {
			if a.Path == "-" {
				return nil, fmt.Errorf("standard input: more than one signal, want one (hint: a file can be read several times)")
			}
			var err error
			if c, err = signal.OpenCapture(a.Path, nil); err != nil {
				return nil, err
			}
		}
		if name != "" {
			if err := c.Choose(name); err != nil {
				return nil, joinClose(err, c)
			}
		}
		return &cursor{capture: c, buf: make([]signal.Edge, 1024)}, nil
	}
	rate := a.Rate
	if rate == 0 {
		rate = rateOf(start)
	}
	if rate == 0 {
		rate = max(1, int64(time.Second/max(first.Resolution(), 1)))
	}
	own := bytes.Contains(start, []byte(ownComment))
	layout := analyser.Layout{Rate: rate, Bytes: 1, OffAfter: a.OffAfter}
	for i, t := range tracks {
		d.tracks = append(d.tracks, dumped{})
		track := &d.tracks[i]
		pins := analyser.Pins{Sign: analyser.None, Absent: analyser.None, Positive: analyser.None, Negative: analyser.None, Low: t.Low}
		bit := func(name string, to *int) {
			if name == "" && (to != &pins.Sign || t.Positive != "") || err != nil {
				return
			}
			*to = len(track.cursors)
			var c *cursor
			if c, err = open(name); err == nil {
				track.cursors = append(track.cursors, c)
			}
		}
		bit(t.Sign, &pins.Sign)
		bit(t.Absent, &pins.Absent)
		bit(t.Positive, &pins.Positive)
		bit(t.Negative, &pins.Negative)
		if err != nil {
			return fail(err)
		}
		if pins.TellsOff() {
			// A sample is a nanosecond here: every time of a dump is a whole number of them.
			track.sampler, err = analyser.NewSampler(analyser.Layout{Rate: int64(time.Second), Bytes: 1,
				Pins: []analyser.Pins{pins}, OffAfter: a.OffAfter}, func(_ int, e signal.Edge) { d.tell(i, e) })
			if err != nil {
				return fail(err)
			}
		} else if own {
			pins.Absent = 0 // z is off
		}
		layout.Pins = append(layout.Pins, pins)
	}
	return d, analyser.Hello("capture file", layout, tracks), nil
}

func joinClose(err error, c io.Closer) error {
	_ = c.Close() // a file that was only read
	return err
}

// ownComment stands in the dumps that we write.
const ownComment = "1 positive, 0 negative, z off"

// acquisition is how dumps of sigrok say how often they were sampled.
var acquisition = regexp.MustCompile(`Acquisition with \d+/\d+ channels at (\d+(?:\.\d+)?) ([kMG]?Hz)`)

// rateOf finds the sample rate in the head of a dump, or 0.
func rateOf(head []byte) int64 {
	if m := acquisition.FindSubmatch(head); m != nil {
		rate, _ := analyser.ParseRate(string(m[1]) + string(m[2]))
		return rate
	}
	return 0
}

// chooseTracks says which signals are the tracks when the address does not.
func chooseTracks(asked []analyser.Channels, signals []string) ([]analyser.Channels, error) {
	alone := len(asked) == 1 && asked[0].Sign == "" && asked[0].Positive == ""
	switch {
	case len(asked) > 0 && !alone:
		return asked, nil
	case alone: // the only signal, or the reader says which there are
		return []analyser.Channels{{Track: asked[0].Track}}, nil
	}
	var found []analyser.Channels
	for id, name := range trackNames {
		for _, s := range signals {
			if s == name || strings.HasSuffix(s, "."+name) {
				found = append(found, analyser.Channels{Track: id, Sign: s})
			}
		}
	}
	if len(found) > 0 && len(signals) > 1 && !slices.ContainsFunc(found[1:], func(c analyser.Channels) bool { return c.Track == found[0].Track }) {
		return found, nil
	}
	return []analyser.Channels{{Track: probe.Main}}, nil
}

// startOf returns the first bytes of a file as they are once unpacked, and of it as it is.
func startOf(path string) (plain, raw []byte, err error) {
	const most = 8 << 10
	file, err := os.Open(path)
	if err != nil {
		return nil, nil, err
	}
	defer file.Close()
	buffered := bufio.NewReaderSize(file, most)
	raw, _ = buffered.Peek(most)
	raw = bytes.Clone(raw)
	plain = raw
	if unpacked, err := gzip.NewReader(buffered); err == nil {
		plain = make([]byte, most)
		n, _ := io.ReadFull(unpacked, plain)
		plain = plain[:n]
	}
	return plain, raw, nil
}

// read tells all edges before until. At the end of the dump it returns when that is, and io.EOF.
func (d *dump) read(_ context.Context, until time.Duration) (time.Duration, error) {
	settled, over := until, true
	var end, last time.Duration
	for i := range d.tracks {
		t := &d.tracks[i]
		if t.sampler == nil {
			c := t.cursors[0]
			for e, ok := c.peek(); ok && e.Time < until; e, ok = c.peek() {
				d.tell(i, e)
				last = max(last, e.Time+1)
				c.rest = c.rest[1:]
			}
		} else {
			t.combine(until)
		}
		for _, c := range t.cursors {
			_, more := c.peek()
			over = over && !more
			if !more && c.err != io.EOF {
				return 0, c.err
			}
			end = max(end, c.capture.End())
		}
	}
	if over {
		for _, t := range d.tracks {
			if t.sampler != nil {
				t.sampler.Skip(int64(end))
				t.sampler.Finish()
			}
		}
		return max(end, last), io.EOF
	}
	for _, t := range d.tracks {
		if t.sampler != nil {
			settled = min(settled, t.sampler.Settled())
		}
	}
	return settled, nil
}

// combine puts the bits together up to a time.
func (t *dumped) combine(until time.Duration) {
	for {
		next := time.Duration(math.MaxInt64)
		for _, c := range t.cursors {
			if e, ok := c.peek(); ok {
				next = min(next, e.Time)
			}
		}
		if next >= until {
			break
		}
		for bit, c := range t.cursors {
			if e, ok := c.peek(); ok && e.Time == next {
				t.bits &^= 1 << bit
				if e.Level == signal.Positive {
					t.bits |= 1 << bit
				}
				c.rest = c.rest[1:]
			}
		}
		t.sampler.Set(int64(next), t.bits)
	}
	t.sampler.Skip(int64(min(until, t.end())))
}

// end is the time up to which the dump is known: none beyond the end of the file.
func (t *dumped) end() time.Duration {
	end := time.Duration(0)
	for _, c := range t.cursors {
		if _, more := c.peek(); more {
			return math.MaxInt64
		}
		end = max(end, c.capture.End())
	}
	return end
}

func (d *dump) close() error {
	for _, t := range d.tracks {
		for _, c := range t.cursors {
			_ = c.capture.Close()
		}
	}
	return nil
}
