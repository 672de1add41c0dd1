package link

import (
	"context"
	"fmt"
	"time"
)

// A PlaybackError says that what was written to a Playback is not what its log says was sent.
type PlaybackError struct {
	Offset    int    // bytes sent before
	Got, Want []byte // from there on; Want is empty when the log holds no more
}

// Error shows both sides.
func (e *PlaybackError) Error() string {
	if len(e.Want) == 0 {
		return fmt.Sprintf("link: playback: got %q after %d bytes, want nothing: the log ends there", e.Got, e.Offset)
	}
	return fmt.Sprintf("link: playback: got %q after %d bytes, want %q", e.Got, e.Offset, e.Want)
}

// A Playback is a Link that answers from a log, as the station did. Bytes become readable when all that had been sent
// before them has been written, and as long after that as in the log. Writes must bring the bytes of the log, in any
// pieces.
type Playback struct {
	clock   Clock
	entries []Entry
	closed  bool

	next    int           // entry that comes next
	used    int           // bytes of it that are done
	written int           // bytes written in all
	base    time.Duration // on the clock: when the last entry sent was done
	logged  time.Duration // in the log: the same instant
}

// Play returns a Playback of the log on the clock. The time of the first entry counts from now.
func Play(log *Log, c Clock) *Playback {
	p := &Playback{clock: c, entries: log.Entries, base: c.Now()}
	if len(log.Entries) > 0 && log.Entries[0].Direction == Received {
		p.logged = log.Entries[0].Time
	}
	return p
}

// Read follows the rules of Link. At the end of the log it waits for its time to pass, as on a silent station.
func (p *Playback) Read(ctx context.Context, b []byte, timeout time.Duration) (int, error) {
	if p.closed {
		return 0, ErrClosed
	}
	if err := ctx.Err(); err != nil {
		return 0, err
	}
	if len(b) == 0 {
		return 0, nil
	}
	wait := max(timeout, 0)
	coming := p.next < len(p.entries) && p.entries[p.next].Direction == Received
	if coming {
		due := p.base + p.entries[p.next].Time - p.logged - p.clock.Now()
		coming = due <= wait
		if coming {
			wait = max(due, 0)
		}
	}
	if wait > 0 {
		if err := p.clock.Wait(ctx, wait); err != nil {
			return 0, err
		}
	}
	if !coming {
		return 0, ErrTimeout
	}
	n := copy(b, p.entries[p.next].Bytes[p.used:])
	p.advance(n)
	return n, nil
}

// Write follows the rules of Link; it returns *PlaybackError for other bytes than the log's, and while bytes are unread
// that the log had the station say first.
func (p *Playback) Write(ctx context.Context, b []byte, _ time.Duration) (int, error) {
	if p.closed {
		return 0, ErrClosed
	}
	if err := ctx.Err(); err != nil {
		return 0, err
	}
	done := 0
	for done < len(b) {
		var want []byte
		if p.next < len(p.entries) && p.entries[p.next].Direction == Sent {
			want = p.entries[p.next].Bytes[p.used:]
		}
		n := min(len(want), len(b)-done)
		if n == 0 || string(want[:n]) != string(b[done:done+n]) {
			return done, &PlaybackError{Offset: p.written, Got: append([]byte(nil), b[done:]...), Want: want}
		}
		done += n
		p.written += n
		p.advance(n)
	}
	return done, nil
}

// Done reports whether all of the log has been played.
func (p *Playback) Done() bool { return p.next == len(p.entries) }

// Close ends the playback.
func (p *Playback) Close() error {
	p.closed = true
	return nil
}

func (p *Playback) advance(n int) {
	p.used += n
	entry := p.entries[p.next]
	if p.used < len(entry.Bytes) {
		return
	}
	if entry.Direction == Sent {
		p.base, p.logged = p.clock.Now(), entry.Time
	}
	p.next, p.used = p.next+1, 0
}
