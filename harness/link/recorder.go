package link

import (
	"context"
	"time"
)

// DefaultLogLimit is how many bytes, both ways together, a Recorder keeps unless told otherwise: more than an hour of a
// saturated line at 115200 baud in one direction.
const DefaultLogLimit = 64 << 20

// Received bytes that come within together of each other are one entry, up to a line feed or entryBytes: links may deliver
// byte by byte, and a log with a line for each byte is no reading.
const (
	together   = 2 * time.Millisecond // two characters at 9600 baud
	entryBytes = 1024
	// maxEntries bounds what a log of tiny entries takes beside its bytes.
	maxEntries = 1 << 20
)

// A Recorder is a Link that keeps a log of every byte which the link behind it carries.
type Recorder struct {
	link  Link
	clock Clock
	log   Log
	kept  int64
	limit int64
}

// Record wraps l. The log's times are those of c.
func Record(l Link, c Clock) *Recorder {
	return &Recorder{link: l, clock: c, limit: DefaultLogLimit}
}

// SetLimit changes how many bytes the recorder keeps. What comes beyond is counted in Log.Lost.
func (r *Recorder) SetLimit(bytes int64) { r.limit = bytes }

// Log returns what was carried until now. It is the recorder's own: do not change it, and do not use it while the link
// is in use by another goroutine.
func (r *Recorder) Log() *Log { return &r.log }

// Read follows the rules of Link.
func (r *Recorder) Read(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	n, err := r.link.Read(ctx, p, timeout)
	r.keep(Received, p[:n])
	return n, err
}

// Write follows the rules of Link. What was handed over in part is logged in part.
func (r *Recorder) Write(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	n, err := r.link.Write(ctx, p, timeout)
	r.keep(Sent, p[:n])
	return n, err
}

// Close closes the link behind. The log stays.
func (r *Recorder) Close() error { return r.link.Close() }

func (r *Recorder) keep(d Direction, p []byte) {
	if len(p) == 0 {
		return
	}
	// Once something is lost, nothing may follow: a log with a hole would read as one without.
	room := r.limit - r.kept
	if r.log.Lost > 0 || room <= 0 || len(r.log.Entries) == maxEntries {
		r.log.Lost += int64(len(p))
		return
	}
	if int64(len(p)) > room {
		r.log.Lost += int64(len(p)) - room
		p = p[:room]
	}
	r.kept += int64(len(p))
	now := r.clock.Now()
	if last := len(r.log.Entries) - 1; last >= 0 && r.joins(&r.log.Entries[last], d, now) {
		entry := &r.log.Entries[last]
		entry.Bytes = append(entry.Bytes, p...)
		entry.Time = now
		return
	}
	r.log.Entries = append(r.log.Entries, Entry{Time: now, Direction: d, Bytes: append([]byte(nil), p...)})
}

// joins reports whether bytes that go d now belong to the entry.
func (r *Recorder) joins(entry *Entry, d Direction, now time.Duration) bool {
	return d == Received && entry.Direction == Received && now-entry.Time <= together &&
		len(entry.Bytes) < entryBytes && entry.Bytes[len(entry.Bytes)-1] != '\n'
}
