package link

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"time"
)

// netLook is how long a read with a timeout of zero lasts at most: a connection whose deadline has passed does not look
// whether anything has arrived.
const netLook = time.Millisecond

// DialTCP connects to a serial server, or a station that is one, within the timeout (zero: as long as ctx allows).
func DialTCP(ctx context.Context, address string, timeout time.Duration) (Link, error) {
	l, err := dialNet(ctx, "tcp://"+address, address, timeout)
	if err != nil {
		return nil, err
	}
	return l, nil
}

// dialNet connects to host:port, which errors call name.
func dialNet(ctx context.Context, name, address string, timeout time.Duration) (*netLink, error) {
	dialer := net.Dialer{Timeout: timeout}
	conn, err := dialer.DialContext(ctx, "tcp", address)
	switch {
	case err == nil:
		return &netLink{conn: conn}, nil
	case ctx.Err() != nil:
		return nil, ctx.Err()
	default:
		var late net.Error
		if errors.As(err, &late) && late.Timeout() {
			err = fmt.Errorf("%w: %w", ErrTimeout, err)
		}
		return nil, fmt.Errorf("link: %s does not answer: %w (is the server running, and the port right?)", name, err)
	}
}

type netLink struct{ conn net.Conn }

// Read follows the rules of Link.
func (l *netLink) Read(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	if len(p) == 0 {
		return 0, ctx.Err()
	}
	n, err := l.call(ctx, max(timeout, netLook), p, l.conn.SetReadDeadline, l.conn.Read)
	if n > 0 {
		return n, nil // an error comes again at the next read
	}
	return 0, err
}

// Write follows the rules of Link. What it counts is with the system, which sends it on.
func (l *netLink) Write(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	n, err := l.call(ctx, max(timeout, netLook), p, l.conn.SetWriteDeadline, l.conn.Write)
	if errors.Is(err, ErrTimeout) {
		err = tookOnly(n, len(p))
	}
	return n, err
}

// Duplex is true: reads and writes have deadlines of their own.
func (l *netLink) Duplex() bool { return true }

// Close frees the connection; what was written is still sent.
func (l *netLink) Close() error {
	if err := l.conn.Close(); err != nil && !errors.Is(err, net.ErrClosed) {
		return fmt.Errorf("link: closing the connection: %w", err)
	}
	return nil
}

// call does one read or write with a deadline, which it moves to the past when ctx ends.
func (l *netLink) call(ctx context.Context, timeout time.Duration, p []byte, set func(time.Time) error,
	do func([]byte) (int, error)) (int, error) {
	if err := ctx.Err(); err != nil {
		return 0, err
	}
	if err := set(time.Now().Add(timeout)); err != nil {
		return 0, gone(err)
	}
	cut := make(chan struct{})
	stop := context.AfterFunc(ctx, func() {
		defer close(cut)
		_ = set(time.Unix(1, 0)) // fails only on a closed connection, which ends the call as well
	})
	n, err := do(p)
	if !stop() {
		<-cut // or it would cut short the next call
	}
	switch {
	case err == nil:
		return n, nil
	case errors.Is(err, os.ErrDeadlineExceeded):
		if ctx.Err() != nil {
			return n, ctx.Err()
		}
		return n, ErrTimeout
	default:
		return n, gone(err)
	}
}
