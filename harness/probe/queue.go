package probe

import (
	"encoding/binary"
	"sync"
	"time"
)

// A queue holds frames between the goroutine that reads the link and the one that takes them. Its size is fixed.
type queue struct {
	mu    sync.Mutex
	ring  []byte
	first int // where the oldest entry begins
	used  int
	high  int // the most that was ever used
}

// queueEpoch is the kind of an entry that begins an epoch. Other kinds are types of frames.
const queueEpoch Type = 0x00

// entryHead is what an entry takes beside its payload: kind, length and arrival.
const entryHead = 1 + 2 + 8

func newQueue(size int) *queue { return &queue{ring: make([]byte, size)} }

// push puts an entry at the end, or returns false when there is no room.
func (q *queue) push(kind Type, payload []byte, arrived time.Duration) bool {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.used+entryHead+len(payload) > len(q.ring) {
		return false
	}
	var head [entryHead]byte
	head[0] = byte(kind)
	binary.LittleEndian.PutUint16(head[1:], uint16(len(payload)))
	binary.LittleEndian.PutUint64(head[3:], uint64(arrived))
	q.put(head[:])
	q.put(payload)
	q.high = max(q.high, q.used)
	return true
}

// pop takes the oldest entry out and puts its payload into p, which has room for the longest.
func (q *queue) pop(p []byte) (kind Type, payload []byte, arrived time.Duration, ok bool) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.used == 0 {
		return 0, nil, 0, false
	}
	var head [entryHead]byte
	q.get(head[:])
	payload = p[:binary.LittleEndian.Uint16(head[1:])]
	q.get(payload)
	return Type(head[0]), payload, time.Duration(binary.LittleEndian.Uint64(head[3:])), true
}

// level is how many bytes are used now and how many were at most.
func (q *queue) level() (now, high int) {
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.used, q.high
}

func (q *queue) put(p []byte) {
	at := q.first + q.used
	if at >= len(q.ring) {
		at -= len(q.ring)
	}
	q.used += len(p)
	p = p[copy(q.ring[at:], p):]
	copy(q.ring, p)
}

func (q *queue) get(p []byte) {
	n := copy(p, q.ring[q.first:])
	copy(p[n:], q.ring)
	q.used -= len(p)
	if q.first += len(p); q.first >= len(q.ring) {
		q.first -= len(q.ring)
	}
}
