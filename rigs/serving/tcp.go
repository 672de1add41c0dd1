package serving

import (
	"context"
	"errors"
	"fmt"
	"net"
	"sync"
	"time"

	"bufferstop/harness/link"
)

// TCP listens at host:port; port 0 takes a free one. tell hears of clients, during calls of the port. A second client is
// hung up on while the first is there.
func TCP(listen string, tell func(Notice)) (Port, error) {
	listener, err := net.Listen("tcp", listen)
	if err != nil {
		return nil, fmt.Errorf("serving at %+q: %w (hint: host:port, such as 127.0.0.1:0 for any port that is free)", listen, err)
	}
	p := &tcpPort{listener: listener, tell: tell, arrived: make(chan net.Conn), closed: make(chan struct{})}
	p.accepting.Go(p.accept)
	return p, nil
}

type tcpPort struct {
	listener  net.Listener
	tell      func(Notice)
	arrived   chan net.Conn // accepted, and not looked at yet
	client    net.Conn      // nil while there is none
	waiting   net.Conn      // came while the client seemed to be there, or nil
	closed    chan struct{}
	accepting sync.WaitGroup
	once      sync.Once
	failure   error // of Close
}

// Address is tcp://host:port.
func (p *tcpPort) Address() link.Address { return link.Address{TCP: p.listener.Addr().String()} }

func (p *tcpPort) accept() {
	for {
		conn, err := p.listener.Accept()
		if errors.Is(err, net.ErrClosed) {
			return
		}
		if err != nil {
			// Out of file numbers, or a client that went at once: neither ends the port.
			if pauseOrClosed(p.closed) {
				return
			}
			continue
		}
		select {
		case p.arrived <- conn:
		case <-p.closed:
			_ = conn.Close() // nobody has heard of it
			return
		}
	}
}

// pauseOrClosed waits a moment, and reports whether the port was closed meanwhile.
func pauseOrClosed(closed <-chan struct{}) bool {
	select {
	case <-closed:
		return true
	case <-time.After(50 * time.Millisecond):
		return false
	}
}

// Read follows the rules of link.Link, and waits for a client where there is none.
func (p *tcpPort) Read(ctx context.Context, b []byte, timeout time.Duration) (int, error) {
	end := time.Now().Add(max(timeout, atLeast))
	for {
		if err := p.welcome(ctx, end); err != nil || len(b) == 0 {
			return 0, err
		}
		n, err := within(ctx, time.Until(end), p.client.SetReadDeadline, func() (int, error) { return p.client.Read(b) })
		if errors.Is(err, link.ErrTimeout) {
			p.refuse() // the client has not gone: that would have been read
		}
		if n > 0 || err == nil || errors.Is(err, link.ErrTimeout) || ctx.Err() != nil {
			return n, err
		}
		p.hangUp()
	}
}

// welcome takes a client in, if there is none, or waits for one until the time has come.
func (p *tcpPort) welcome(ctx context.Context, end time.Time) error {
	if p.client == nil && p.waiting != nil {
		p.take(p.waiting)
		p.waiting = nil
	}
	arrived := p.arrived
	if p.waiting != nil {
		arrived = nil // one after the other
	}
	select {
	case <-p.closed:
		return link.ErrClosed
	case conn := <-arrived:
		p.take(conn)
	default:
	}
	if p.client != nil {
		return ctx.Err()
	}
	timer := time.NewTimer(time.Until(end))
	defer timer.Stop()
	select {
	case <-p.closed:
		return link.ErrClosed
	case <-ctx.Done():
		return ctx.Err()
	case conn := <-arrived:
		p.take(conn)
		return nil
	case <-timer.C:
		return link.ErrTimeout
	}
}

// take makes a caller the client, or keeps it waiting until it is known whether the one before has gone.
func (p *tcpPort) take(conn net.Conn) {
	if p.client != nil {
		p.waiting = conn
		return
	}
	p.client = conn
	p.tell(Notice{Came, conn.RemoteAddr().String()})
}

// refuse hangs up on who waits.
func (p *tcpPort) refuse() {
	if p.waiting != nil {
		p.tell(Notice{Refused, p.waiting.RemoteAddr().String()})
		_ = p.waiting.Close() // nothing was said
		p.waiting = nil
	}
}

func (p *tcpPort) hangUp() {
	p.tell(Notice{Went, p.client.RemoteAddr().String()})
	_ = p.client.Close() // it is gone
	p.client = nil
}

// Write follows the rules of link.Link; what is written while no client is there is lost.
func (p *tcpPort) Write(ctx context.Context, b []byte, timeout time.Duration) (int, error) {
	select {
	case <-p.closed:
		return 0, link.ErrClosed
	default:
	}
	if err := ctx.Err(); err != nil {
		return 0, err
	}
	if p.client == nil {
		return len(b), nil
	}
	n, err := within(ctx, timeout, p.client.SetWriteDeadline, func() (int, error) { return p.client.Write(b) })
	switch {
	case n == len(b):
		return n, nil
	case errors.Is(err, link.ErrTimeout), err == nil:
		return n, link.ErrTimeout
	case ctx.Err() != nil:
		return n, ctx.Err()
	}
	p.hangUp()
	return len(b), nil
}

// Close hangs up and listens no more. A second Close does nothing.
func (p *tcpPort) Close() error {
	p.once.Do(func() {
		close(p.closed)
		p.failure = p.listener.Close()
		p.accepting.Wait()
		p.refuse()
		if p.client != nil {
			p.hangUp()
		}
	})
	return p.failure
}
