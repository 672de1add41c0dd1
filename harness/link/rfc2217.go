package link

import (
	"context"
	"errors"
	"fmt"
	"sync/atomic"
	"time"
)

const (
	// comPortRead is how many bytes are taken from the network at once, and comPortChunk how many data bytes are handed to
	// it at once: before each chunk we look whether the server has suspended us.
	comPortRead  = 4096
	comPortChunk = 4096
	// mostUnread bounds what is kept while a suspended Write waits and nobody reads. Beyond it the network holds the rest.
	mostUnread = 1 << 16
	// spareLooks bounds how long a Read goes on beyond its time when all that comes is notifications.
	spareLooks = 16
	// goodbyeLimit is how long Close waits for the server to let go of the port: a quarter of a second, our own choice.
	goodbyeLimit = 250 * time.Millisecond
)

// An rfc2217Link is a Link to a serial server that speaks RFC 2217. Like netLink it has no goroutine: what the server says
// beside the data is taken in whenever the caller reads or writes.
type rfc2217Link struct {
	conn     *netLink
	telnet   telnet
	requests []comPortRequest // that the server has been sent

	raw     []byte // what a read of the network gave
	unread  []byte // data that has arrived
	taken   int    // of unread
	escaped []byte // the chunk that is being written
	owed    []byte // to be sent before anything else: replies, or the second half of an escaped byte

	suspended bool  // by the server
	broken    error // why the link can no longer be used
	closed    atomic.Bool
}

// Read follows the rules of Link.
func (l *rfc2217Link) Read(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	deadline := time.Now().Add(max(timeout, 0))
	for spare := spareLooks; ; {
		if err := l.usable(ctx); err != nil || len(p) == 0 {
			return 0, err
		}
		if n := l.take(p); n > 0 {
			return n, nil
		}
		if l.broken != nil {
			return 0, gone(l.broken)
		}
		left := time.Until(deadline)
		if left <= 0 {
			if spare == 0 {
				return 0, ErrTimeout
			}
			spare--
		}
		if err := l.receive(ctx, left); err != nil {
			return 0, err
		}
	}
}

// Write follows the rules of Link. While the server has suspended us, it waits. What it counts is with the system, which
// sends it on; but for the last byte counted in a timeout, whose second half may follow with the next call.
func (l *rfc2217Link) Write(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	deadline := time.Now().Add(max(timeout, 0))
	done := 0
	for first := true; ; first = false {
		err := l.ready(ctx, deadline)
		if err == nil {
			err = l.flush(ctx, time.Until(deadline))
		}
		if err == nil && done == len(p) {
			return done, nil
		}
		if err == nil && !first && !time.Now().Before(deadline) {
			err = ErrTimeout
		}
		n := 0
		if err == nil {
			n, err = l.writeChunk(ctx, p[done:min(len(p), done+comPortChunk)], time.Until(deadline))
			done += n
		}
		switch {
		case err == nil && done == len(p):
			return done, nil
		case errors.Is(err, ErrTimeout):
			return done, fmt.Errorf("%w: the far end took %d of %d bytes%s", ErrTimeout, done, len(p), l.excuse())
		case err != nil:
			return done, err
		}
	}
}

// excuse says why the far end may have taken less than it was given.
func (l *rfc2217Link) excuse() string {
	switch {
	case l.suspended && len(l.unread)-l.taken >= mostUnread:
		return " and the server has suspended us (RFC 2217 flow control); its word to go on may be behind the " +
			"data that waits to be read"
	case l.suspended:
		return " and the server has suspended us (RFC 2217 flow control)"
	}
	return ""
}

// ready takes what the server has said, and waits while it has suspended us.
func (l *rfc2217Link) ready(ctx context.Context, deadline time.Time) error {
	if err := l.look(ctx); err != nil {
		return err
	}
	for l.suspended && l.broken == nil {
		left := time.Until(deadline)
		if left <= 0 {
			return ErrTimeout
		}
		if len(l.unread)-l.taken >= mostUnread {
			// The word to go on is behind more than we keep, and nobody reads while we write.
			if err := new(WallClock).Wait(ctx, left); err != nil {
				return err
			}
			continue
		}
		if err := l.receive(ctx, left); err != nil {
			return err
		}
	}
	if l.broken != nil {
		return gone(l.broken)
	}
	return nil
}

// look takes what has arrived, without waiting.
func (l *rfc2217Link) look(ctx context.Context) error {
	for l.broken == nil && len(l.unread)-l.taken < mostUnread {
		if err := l.usable(ctx); err != nil {
			return err
		}
		n, err := l.arrived()
		if err != nil {
			l.broken = err
		}
		if n == 0 {
			break
		}
		l.hear(l.raw[:n])
	}
	return l.usable(ctx)
}

// writeChunk writes data, and counts the bytes of it of which at least the first half has been sent.
func (l *rfc2217Link) writeChunk(ctx context.Context, chunk []byte, timeout time.Duration) (int, error) {
	l.escaped = appendEscaped(l.escaped[:0], chunk)
	sent, err := l.conn.Write(ctx, l.escaped, timeout)
	if sent == len(l.escaped) {
		return len(chunk), err
	}
	n := 0
	for i := 0; i < sent; i++ {
		if l.escaped[i] == telnetIAC {
			if i++; i == sent {
				l.owed = append(l.owed, telnetIAC)
			}
		}
		n++
	}
	return n, err
}

// flush sends what is owed.
func (l *rfc2217Link) flush(ctx context.Context, timeout time.Duration) error {
	if len(l.owed) == 0 {
		return nil
	}
	n, err := l.conn.Write(ctx, l.owed, timeout)
	l.owed = append(l.owed[:0], l.owed[n:]...)
	return err
}

// receive waits for bytes of the server and takes them in. What is owed goes out before and after, as far as the server
// takes it now; the rest follows with the next call.
func (l *rfc2217Link) receive(ctx context.Context, timeout time.Duration) error {
	_ = l.flush(ctx, 0) // an error comes again at the read
	n, err := l.conn.Read(ctx, l.raw, timeout)
	if n > 0 {
		l.hear(l.raw[:n])
		_ = l.flush(ctx, 0)
	}
	return err
}

// hear takes in bytes of the server: data to what is unread, all else to where it belongs.
func (l *rfc2217Link) hear(p []byte) {
	if l.taken == len(l.unread) {
		l.unread, l.taken = l.unread[:0], 0
	}
	for len(p) > 0 {
		n, used, event := l.telnet.decode(p)
		l.unread = append(l.unread, p[:n]...)
		p = p[used:]
		if err := l.happened(event); err != nil && l.broken == nil {
			l.broken = err
		}
	}
	l.owed = append(l.owed, l.telnet.replies...)
	l.telnet.replies = l.telnet.replies[:0]
}

// happened deals with an event, and returns an error if the link cannot go on after it.
func (l *rfc2217Link) happened(event telnetEvent) error {
	switch event.kind {
	case weDoNot, theyDoNot:
		return refusal(event.option)
	case subnegotiationTooLong:
		return fmt.Errorf("the server's Telnet has gone wrong: a subnegotiation of more than %d bytes", longestSubnegotiation)
	case subnegotiation:
		if event.option == telnetComPort && len(event.content) > 0 {
			return l.answered(event.content)
		}
	}
	return nil
}

// answered deals with what the server says about its port. Notifications of line and modem states are passed over.
func (l *rfc2217Link) answered(content []byte) error {
	switch content[0] {
	case comPortSuspend + comPortAnswer:
		l.suspended = true
		return nil
	case comPortResume + comPortAnswer:
		l.suspended = false
		return nil
	}
	for i := range l.requests {
		r := &l.requests[i]
		first := !r.confirmed
		mine, err := r.hear(content)
		if !mine {
			continue
		}
		if first && r.command == comPortPurge && r.value == comPortPurgeBoth {
			l.unread, l.taken = l.unread[:0], 0 // older than the purge
		}
		return err
	}
	return nil
}

// refusal is the error that it means when the server refuses an option, if we cannot do without.
func refusal(option byte) error {
	switch option {
	case telnetComPort:
		return errors.New("the server refuses COM port control (Telnet option 44, RFC 2217): it cannot set a serial line; " +
			"if the line is set up already and the port is a plain one, use tcp://")
	case telnetBinary:
		return errors.New("the server refuses BINARY (Telnet option 0, RFC 856), without which not every byte would arrive; " +
			"if it has a plain port, use tcp://")
	}
	return nil
}

// take moves data that has arrived to p.
func (l *rfc2217Link) take(p []byte) int {
	n := copy(p, l.unread[l.taken:])
	l.taken += n
	return n
}

func (l *rfc2217Link) usable(ctx context.Context) error {
	if l.closed.Load() {
		return ErrClosed
	}
	return ctx.Err()
}

// Close ends the connection and gives the server a moment to let go of the port, without which the next opening would find
// it in use. What was written is still sent.
func (l *rfc2217Link) Close() error {
	if l.closed.Swap(true) {
		return nil
	}
	if half, ok := l.conn.conn.(interface{ CloseWrite() error }); ok && l.broken == nil && half.CloseWrite() == nil {
		_ = l.conn.conn.SetReadDeadline(time.Now().Add(goodbyeLimit))
		for p := make([]byte, comPortRead); ; {
			if _, err := l.conn.conn.Read(p); err != nil {
				break
			}
		}
	}
	return l.conn.Close()
}
