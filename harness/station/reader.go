package station

import (
	"context"
	"errors"
	"time"

	"bufferstop/harness/link"
)

// checkedReader is a line reader that looks into the lines.
type checkedReader struct {
	*link.LineReader
	framing *lineFraming
}

// ReadLine returns the next line without its checksum, or *GarbledMessage in its place.
func (r checkedReader) ReadLine(ctx context.Context, timeout time.Duration) (link.Line, error) {
	line, err := r.LineReader.ReadLine(ctx, timeout)
	if err != nil {
		return line, err
	}
	line.Text, err = r.framing.unwrap(line.Text)
	if err != nil {
		return link.Line{}, err
	}
	return line, nil
}

// framingReader cuts what comes from a link into the messages of a framing. It holds at most one message of the greatest
// length and what one read has brought beyond it. Bytes that wait for the rest of their message survive a timeout.
type framingReader struct {
	link    link.Link
	clock   Clock
	framing framing
	gap     time.Duration // silence after which the framing is told of it

	pending []byte
	latest  time.Duration // when the last byte came
	told    bool          // of the silence
	long    *link.LongLineError
	chunk   []byte
	read    int64
}

func newFramingReader(l link.Link, c Clock, f framing, gap time.Duration) *framingReader {
	return &framingReader{link: l, clock: c, framing: f, gap: gap, chunk: make([]byte, 1024)}
}

// ReadLine is as that of link.LineReader, and returns *GarbledMessage for what is damaged: the next call goes on behind it.
func (r *framingReader) ReadLine(ctx context.Context, timeout time.Duration) (link.Line, error) {
	start := r.clock.Now()
	overtime := 0 // bytes read after the time had passed
	for {
		if m, found, err := r.next(); found || err != nil {
			return m, err
		}
		left := max(start+timeout-r.clock.Now(), 0)
		// What is there already counts, but a far end that never pauses must not hold us here for ever.
		if left == 0 && overtime > r.framing.limit()+len(r.chunk) {
			return link.Line{}, r.fail(link.ErrTimeout)
		}
		wait := left
		awaitsSilence := len(r.pending) > 0 && !r.told
		if awaitsSilence {
			wait = min(left, max(r.latest+r.gap-r.clock.Now(), 0))
		}
		n, err := r.link.Read(ctx, r.chunk, wait)
		r.pending = append(r.pending, r.chunk[:n]...)
		r.read += int64(n)
		if n > 0 {
			r.latest, r.told = r.clock.Now(), false
			if left == 0 {
				overtime += n
			}
			continue
		}
		if err == nil {
			continue
		}
		if awaitsSilence && (!errors.Is(err, link.ErrTimeout) || r.clock.Now() >= r.latest+r.gap) && ctx.Err() == nil {
			// Nothing more comes: what is there has to do, or there is a message behind the beginning of another.
			r.told = true
			continue
		}
		if wait == left || !errors.Is(err, link.ErrTimeout) {
			return link.Line{}, r.fail(err)
		}
	}
}

// next takes one message off what is pending.
func (r *framingReader) next() (link.Line, bool, error) {
	for len(r.pending) > 0 {
		n, text, err := r.framing.cut(r.pending, r.told)
		if n == 0 {
			r.shed()
			return link.Line{}, false, nil
		}
		length := n
		r.pending = r.pending[:copy(r.pending, r.pending[n:])]
		if long := r.long; long != nil {
			r.long = nil
			long.Length += length
			long.Ended = true
			return link.Line{}, false, long
		}
		switch {
		case err != nil:
			return link.Line{}, false, err
		case text != nil:
			return link.Line{Text: text, Received: r.latest}, true, nil
		}
	}
	return link.Line{}, false, nil
}

// longKept is how much of an over-long message its error quotes.
const longKept = 64

// shed counts and forgets what is more than a message may have.
func (r *framingReader) shed() {
	limit := r.framing.limit()
	if r.long == nil {
		if len(r.pending) <= limit {
			return
		}
		r.long = &link.LongLineError{Limit: limit, Start: append([]byte(nil), r.pending[:min(len(r.pending), longKept)]...)}
	}
	r.long.Length += len(r.pending)
	r.pending = r.pending[:0]
}

// fail tells of an unfinished over-long message before it tells of the timeout.
func (r *framingReader) fail(err error) error {
	if r.long != nil && errors.Is(err, link.ErrTimeout) {
		told := *r.long
		return &told
	}
	return err
}

// BytesRead is the number of bytes that the link has delivered until now.
func (r *framingReader) BytesRead() int64 { return r.read }

// Pending returns a copy of the bytes that wait for the rest of their message.
func (r *framingReader) Pending() []byte { return append([]byte(nil), r.pending...) }

// Discard forgets the bytes that wait for the rest of their message and returns them.
func (r *framingReader) Discard() []byte {
	pending := r.Pending()
	r.pending, r.long, r.told = r.pending[:0], nil, false
	return pending
}
