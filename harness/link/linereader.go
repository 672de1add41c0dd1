package link

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"time"
)

// A Line is what stood between two line ends.
type Line struct {
	// Text is the line without its end. It is a copy and may be kept.
	Text []byte
	// Received is the time on the rig's clock at which the line end was read.
	Received time.Duration
}

// A LongLineError says that more bytes came without a line end than a line may have. The bytes are not kept, except for
// the first few; the error counts them all.
type LongLineError struct {
	Limit int // bytes that a line may have
	// Length is the number of bytes that the line has had until now.
	Length int
	// Start holds the first bytes of the line, for reports.
	Start []byte
	// Ended says that the line end was found. If not, the rest of the line is still to come: the next ReadLine goes on
	// counting it, and returns this error again.
	Ended bool
}

// Error says how long the line is and how it starts.
func (e *LongLineError) Error() string {
	state := "and no line end yet"
	if e.Ended {
		state = "in all"
	}
	return fmt.Sprintf("link: a line that starts with %q has %d bytes %s; a line may have at most %d",
		e.Start, e.Length, state, e.Limit)
}

// startKept is how much of an over-long line its error quotes.
const startKept = 64

// A LineReader splits what a link delivers at line ends. It holds at most one line of the limited length and what one
// read has brought beyond it, whatever the far end sends. Bytes that wait for their line end survive a timeout.
type LineReader struct {
	link  Link
	clock Clock
	end   []byte
	limit int

	pending  []byte // read and not yet returned
	searched int    // bytes of pending known to hold no line end
	long     *LongLineError
	chunk    []byte
	read     int64
}

// NewLineReader returns a reader of the lines of l, which end in end (not empty) and have at most limit bytes (at least
// 1) before it.
func NewLineReader(l Link, c Clock, end string, limit int) *LineReader {
	if end == "" || limit < 1 {
		panic("link: a line reader needs a line end and a limit of at least 1")
	}
	return &LineReader{link: l, clock: c, end: []byte(end), limit: limit, chunk: make([]byte, 1024)}
}

// ReadLine returns the next line. It returns ErrTimeout when no line end came within the time allowed (zero: among
// the bytes that are there already), *LongLineError for a line beyond the limit once its end was found or the time has
// passed, or the error of the link.
func (r *LineReader) ReadLine(ctx context.Context, timeout time.Duration) (Line, error) {
	start := r.clock.Now()
	overtime := 0 // bytes read after the time had passed
	for {
		line, found, err := r.split()
		if found || err != nil {
			return line, err
		}
		left := max(start+timeout-r.clock.Now(), 0)
		// What is there already counts, but a far end that never pauses must not hold us here for ever.
		if left == 0 && overtime > r.limit+len(r.end)+len(r.chunk) {
			return Line{}, r.fail(ErrTimeout)
		}
		n, err := r.link.Read(ctx, r.chunk, left)
		r.pending = append(r.pending, r.chunk[:n]...)
		r.read += int64(n)
		if left == 0 {
			overtime += n
		}
		if err != nil && n == 0 {
			return Line{}, r.fail(err)
		}
	}
}

// fail tells of an unfinished over-long line before it tells of the timeout.
func (r *LineReader) fail(err error) error {
	if r.long != nil && errors.Is(err, ErrTimeout) {
		told := *r.long
		return &told
	}
	return err
}

// split takes one line off the pending bytes.
func (r *LineReader) split() (Line, bool, error) {
	// The last bytes searched may be the first half of a line end.
	from := max(r.searched-len(r.end)+1, 0)
	at := bytes.Index(r.pending[from:], r.end)
	if at < 0 {
		r.searched = len(r.pending)
		r.shed()
		return Line{}, false, nil
	}
	at += from
	text := append([]byte(nil), r.pending[:at]...)
	r.drop(at + len(r.end))
	if r.long != nil {
		told := r.long
		r.long = nil
		told.Length += at
		told.Ended = true
		return Line{}, false, told
	}
	if len(text) > r.limit {
		return Line{}, false, &LongLineError{Limit: r.limit, Length: len(text), Start: head(text), Ended: true}
	}
	return Line{Text: text, Received: r.clock.Now()}, true, nil
}

// shed counts and forgets the bytes of an over-long line, all but those that may be the start of its end.
func (r *LineReader) shed() {
	if r.long == nil {
		if len(r.pending) <= r.limit+len(r.end)-1 {
			return
		}
		r.long = &LongLineError{Limit: r.limit, Start: head(r.pending[:len(r.pending)-len(r.end)+1])}
	}
	over := len(r.pending) - len(r.end) + 1
	if over <= 0 {
		return
	}
	r.long.Length += over
	r.drop(over)
}

func (r *LineReader) drop(n int) {
	r.pending = r.pending[:copy(r.pending, r.pending[n:])]
	r.searched = 0
}

func head(text []byte) []byte {
	return append([]byte(nil), text[:min(len(text), startKept)]...)
}

// BytesRead is the number of bytes that the link has delivered until now.
func (r *LineReader) BytesRead() int64 { return r.read }

// Pending returns a copy of the bytes that wait for their line end.
func (r *LineReader) Pending() []byte {
	return append([]byte(nil), r.pending...)
}

// Discard forgets the bytes that wait for their line end and returns them. Of an over-long line that has begun, the rest
// is then taken for a new line.
func (r *LineReader) Discard() []byte {
	pending := r.Pending()
	r.drop(len(r.pending))
	r.long = nil
	return pending
}
