package probe

import (
	"bufio"
	"encoding/binary"
	"encoding/json"
	"io"
	"sync"
	"time"
)

// A recording is a line of text with the version, a line of JSON about the whole, and then entries: a kind, the
// nanoseconds since the entry before and the number of bytes as unsigned variable-length integers (those of Go's
// encoding/binary, 7 bits a byte with the least first), and the bytes.
const recordingTitle = "bufferstop probe recording 1"

// The kinds of entries.
const (
	recordReceived = '<' // bytes of the line, from the probe
	recordSent     = '>' // bytes of the line, to the probe
	recordEpoch    = 'e' // how ticks are tied to times from here on in the received stream: JSON
	recordLoss     = 'x' // the probe was lost: what it sends is not used before the next epoch
	recordGap      = '!' // so many bytes (a number in ASCII) are missing, since the recording was too slow
)

// A recordingHead is about the whole recording.
type recordingHead struct {
	Begun         time.Time
	StretchMicros uint16
	SampleMicros  uint16
}

// The recorder's buffer: what the disk may be behind.
const mostUnwritten = 8 << 20

// A recorder writes a recording in a goroutine of its own, because a disk can take longer than a probe waits for a sign of
// life. All methods do nothing on a nil recorder.
type recorder struct {
	mu      sync.Mutex
	wake    *sync.Cond
	filling []byte
	last    time.Duration
	missing uint64 // bytes since the newest entry that had room
	lost    uint64 // bytes in all
	err     error
	closing bool
	ended   chan struct{}
	spare   []byte
}

func newRecorder(w io.Writer, head recordingHead) (*recorder, error) {
	text, err := json.Marshal(head)
	if err != nil {
		return nil, err
	}
	if _, err := io.WriteString(w, recordingTitle+"\n"+string(text)+"\n"); err != nil {
		return nil, err
	}
	r := &recorder{ended: make(chan struct{})}
	r.wake = sync.NewCond(&r.mu)
	go r.write(w)
	return r, nil
}

// bytes records bytes of the line.
func (r *recorder) bytes(kind byte, now time.Duration, p []byte) {
	if r != nil && len(p) > 0 {
		r.entry(kind, now, p)
	}
}

func (r *recorder) entry(kind byte, now time.Duration, p []byte) {
	if r == nil {
		return
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.err != nil || r.closing {
		return
	}
	if len(r.filling)+len(p) > mostUnwritten {
		r.missing += uint64(len(p))
		r.lost += uint64(len(p))
		return
	}
	if r.missing > 0 {
		text, _ := json.Marshal(r.missing) // a number always can be
		r.put(recordGap, now, text)
		r.missing = 0
	}
	r.put(kind, now, p)
	r.wake.Signal()
}

func (r *recorder) put(kind byte, now time.Duration, p []byte) {
	now = max(now, r.last) // two goroutines record, and the clock was read before the lock
	r.filling = append(r.filling, kind)
	r.filling = binary.AppendUvarint(r.filling, uint64(now-r.last))
	r.filling = binary.AppendUvarint(r.filling, uint64(len(p)))
	r.filling = append(r.filling, p...)
	r.last = now
}

// write is the writing goroutine.
func (r *recorder) write(w io.Writer) {
	defer close(r.ended)
	buffered := bufio.NewWriterSize(w, 64<<10)
	r.mu.Lock()
	defer r.mu.Unlock()
	for {
		for len(r.filling) == 0 && !r.closing {
			r.wake.Wait()
		}
		full := r.filling
		if len(full) == 0 {
			return
		}
		r.filling = r.spare[:0]
		r.mu.Unlock()
		_, err := buffered.Write(full)
		if err == nil {
			err = buffered.Flush() // so that what is there of a run that dies can be replayed
		}
		r.mu.Lock()
		r.spare = full
		if err != nil {
			r.err = err
			return
		}
	}
}

func (r *recorder) state() (lost uint64, err error) {
	if r == nil {
		return 0, nil
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.lost, r.err
}

// close writes what is left.
func (r *recorder) close() error {
	if r == nil {
		return nil
	}
	r.mu.Lock()
	r.closing = true
	r.wake.Signal()
	r.mu.Unlock()
	<-r.ended
	return r.err
}
