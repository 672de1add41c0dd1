package probe

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"bufferstop/harness/current"
	"bufferstop/harness/signal"
)

// mostEntry bounds an entry of a recording: what one read of the link brings, or an epoch.
const mostEntry = 1 << 20

// A RecordingError says what is wrong with a recording, and where.
type RecordingError struct {
	Offset          int64 // bytes from the start
	What, Got, Want string
}

// Error names the place, what is there and what should be.
func (e *RecordingError) Error() string {
	return fmt.Sprintf("probe recording, byte %d: %s: got %s, want %s", e.Offset, e.What, e.Got, e.Want)
}

// A Recording is one that is replayed. It gives what the client gave when it was made: the same edges, samples and events
// at the same times in the same order, and the same lost stretches, but for what the client lost because it was not pumped.
type Recording struct {
	in      *bufio.Reader
	offset  int64
	head    recordingHead
	hello   *Hello
	now     time.Duration
	framer  Framer
	gate    gate
	takes   delivery
	running bool // as the client was: not between a loss and the next epoch
	entry   []byte
	health  Health
}

// OpenRecording reads the beginning of a recording up to the HELLO of its probe. Errors are *RecordingError, or those of r;
// io.ErrUnexpectedEOF when the probe never answered.
func OpenRecording(r io.Reader) (*Recording, error) {
	p := &Recording{in: bufio.NewReaderSize(r, 64<<10)}
	title, err := p.line()
	if err != nil {
		return nil, err
	}
	if title != recordingTitle {
		return nil, &RecordingError{0, "title", quoted(title), strconv.Quote(recordingTitle)}
	}
	at := p.offset
	about, err := p.line()
	if err != nil {
		return nil, err
	}
	if err := strictJSON([]byte(about), &p.head); err != nil {
		return nil, &RecordingError{at, "second line", err.Error(), "JSON with Begun, StretchMicros and SampleMicros"}
	}
	for p.hello == nil {
		if err := p.next(discard{}); err != nil {
			if err == io.EOF {
				err = io.ErrUnexpectedEOF
			}
			return nil, err
		}
	}
	return p, nil
}

func quoted(text string) string {
	if len(text) > 40 {
		return strconv.QuoteToASCII(text[:40]) + "…"
	}
	return strconv.QuoteToASCII(text)
}

// line reads a line of the head.
func (p *Recording) line() (string, error) {
	var line []byte
	for {
		b, err := p.in.ReadByte()
		if err == io.EOF {
			return "", &RecordingError{p.offset, "head", "the end", "two lines"}
		}
		if err != nil {
			return "", err
		}
		p.offset++
		if b == '\n' {
			return strings.TrimSuffix(string(line), "\r"), nil
		}
		if line = append(line, b); len(line) > 4096 {
			return "", &RecordingError{p.offset, "head", "a line of more than 4096 bytes", "two lines"}
		}
	}
}

// Hello is who the probe was and what it could do.
func (p *Recording) Hello() Hello { return *p.hello }

// Begun is when the recording was begun.
func (p *Recording) Begun() time.Time { return p.head.Begun }

// Health is what a client would have told of the stream.
func (p *Recording) Health() Health {
	h := p.health
	h.Broken = p.framer.Broken()
	h.Losses, h.LostTime, h.SamplesLost = p.takes.losses, p.takes.lostTime, p.takes.samplesLost
	return h
}

// Pump hands out what the next read of the link brought, and reports that there was something. The error is io.EOF at the
// end, a *RecordingError, or that of ctx or the reader. It never waits.
func (p *Recording) Pump(ctx context.Context, _ time.Duration, s Sink) (bool, error) {
	if err := ctx.Err(); err != nil {
		return false, err
	}
	if err := p.next(s); err != nil {
		return false, err
	}
	return true, nil
}

// Arrived is always ready: all of a recording is there.
func (p *Recording) Arrived() <-chan struct{} { return always }

var always = func() <-chan struct{} {
	c := make(chan struct{})
	close(c)
	return c
}()

// Close does nothing: the reader is its owner's.
func (p *Recording) Close() error { return nil }

// Replay hands a whole recording to s.
func Replay(r io.Reader, s Sink) error {
	p, err := OpenRecording(r)
	if err != nil {
		return err
	}
	for {
		if err := p.next(s); err == io.EOF {
			return nil
		} else if err != nil {
			return err
		}
	}
}

// next takes the next entry. A recording that breaks off within one ends before it: so it is when the run that made it dies.
func (p *Recording) next(s Sink) error {
	at := p.offset
	kind, err := p.in.ReadByte()
	if err != nil {
		return err
	}
	p.offset++
	since, err := p.number("time")
	if err != nil {
		return err
	}
	length, err := p.number("length")
	if err != nil {
		return err
	}
	if length > mostEntry {
		return &RecordingError{at, "entry", strconv.FormatUint(length, 10) + " bytes", fmt.Sprintf("at most %d", mostEntry)}
	}
	if since > uint64(1<<62-p.now) {
		return &RecordingError{at, "time", strconv.FormatUint(since, 10) + " ns", "less than 146 years"}
	}
	p.now += time.Duration(since)
	if cap(p.entry) < int(length) {
		p.entry = make([]byte, length)
	}
	entry := p.entry[:length]
	n, err := io.ReadFull(p.in, entry)
	p.offset += int64(n)
	if err == io.ErrUnexpectedEOF {
		return io.EOF
	}
	if err != nil {
		return err
	}
	switch kind {
	case recordReceived:
		p.received(entry, s)
	case recordSent:
	case recordLoss:
		p.running = false
		p.framer.Reset()
	case recordGap:
		missing, err := strconv.ParseUint(string(entry), 10, 64)
		if err != nil {
			return &RecordingError{at, "missing bytes", quoted(string(entry)), "a number"}
		}
		p.health.RecordingLost += missing
	case recordEpoch:
		return p.epoch(at, entry)
	default:
		return &RecordingError{at, "entry", strconv.QuoteToASCII(string(rune(kind))), "<, >, x, e or !"}
	}
	return nil
}

// epoch begins an epoch.
func (p *Recording) epoch(at int64, entry []byte) error {
	e, hello, err := decodeEpoch(entry)
	switch {
	case err != nil:
	case !(e.Nanos > 0 && e.Nanos <= 2000): // the clock of a HELLO is at least 1 MHz
		err = fmt.Errorf("a tick of %v ns", e.Nanos)
	case e.At < p.takes.complete || e.At > 1<<61:
		err = fmt.Errorf("a beginning at %v", e.At)
	}
	if err != nil {
		return &RecordingError{at, "epoch", err.Error(), "JSON with the HELLO, its tick and its time, not earlier than what came before"}
	}
	p.hello, p.running = hello, true
	p.takes.begin(e, hello)
	p.gate.begin(e, p.now)
	return nil
}

// number reads an unsigned number. One that is cut off is the end of the recording.
func (p *Recording) number(what string) (uint64, error) {
	at := p.offset
	var v uint64
	for shift := 0; shift < 63; shift += 7 {
		b, err := p.in.ReadByte()
		if err != nil {
			return 0, err
		}
		p.offset++
		v |= uint64(b&0x7f) << shift
		if b < 0x80 {
			return v, nil
		}
	}
	return 0, &RecordingError{at, what, "more than 9 bytes", "a number"}
}

// received takes what a read of the link brought.
func (p *Recording) received(bytes []byte, s Sink) {
	for {
		frame, rest, ok := p.framer.Next(bytes)
		if !ok {
			return
		}
		bytes = rest
		p.health.Frames++
		if !p.running {
			continue
		}
		switch frame.Type {
		case TypeStretch:
			if !p.gate.pass(frame.Payload, p.now) {
				p.health.Implausible++
				continue
			}
		case TypeEvent:
		default:
			continue
		}
		if p.takes.frame(frame.Type, frame.Payload, s) != nil {
			p.health.Malformed++
		}
	}
}

var _ Source = (*Recording)(nil)

// discard is a sink of which nothing is wanted.
type discard struct{}

func (discard) Edges(int, []signal.Edge)               {}
func (discard) Samples(int, []current.Sample)          {}
func (discard) Lost(int, time.Duration, time.Duration) {}
func (discard) Complete(time.Duration)                 {}
func (discard) Event(Event)                            {}
