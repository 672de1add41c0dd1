package main

import (
	"bytes"
	"io"
	"sync"
)

// A heldBack holds back what is said while the screen is filled.
type heldBack struct {
	out  io.Writer
	mu   sync.Mutex
	held bool
	text bytes.Buffer
}

// heldBytes bounds what is held back. Our own choice.
const heldBytes = 64 << 10

// Write passes the text on, or keeps it.
func (h *heldBack) Write(text []byte) (int, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if !h.held {
		return h.out.Write(text)
	}
	if h.text.Len()+len(text) <= heldBytes {
		h.text.Write(text)
	}
	return len(text), nil
}

func (h *heldBack) hold() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.held = true
}

// release lets out what was held back. What cannot be said on standard error cannot be said at all.
func (h *heldBack) release() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.held = false
	_, _ = h.text.WriteTo(h.out)
}
