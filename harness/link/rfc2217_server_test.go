package link_test

import (
	"bufio"
	"bytes"
	"io"
	"net"
	"slices"
	"testing"
	"time"

	"bufferstop/harness/link"

	"github.com/stretchr/testify/require"
)

// The bytes of Telnet and of COM port control that the server below needs. It has its own, so that ours are not tested with
// themselves.
const (
	se, sb, will, wont, do, dont, iac = 240, 250, 251, 252, 253, 254, 255
	binary, goAhead, comPort          = 0, 3, 44
	setControl, purge                 = 5, 12
)

// A comPortServer is the far end of an RFC 2217 link. Its fields say how it misbehaves.
type comPortServer struct {
	refuses   []byte                      // options
	grants    func(content []byte) []byte // the answer to a request, nil for none; by default it is confirmed
	last      func(content []byte) bool   // of the requests; by default the purge
	byteAByte bool                        // it sends each byte on its own

	conn  net.Conn
	in    *bufio.Reader
	asked [][]byte // all requests
}

// agree answers until the last request, which is confirmed as well.
func (s *comPortServer) agree(conn net.Conn) {
	s.conn, s.in = conn, bufio.NewReader(conn)
	for {
		token, err := s.next()
		if err != nil {
			return
		}
		switch {
		case len(token) == 3 && (token[1] == will || token[1] == do):
			yes, no := byte(do), byte(dont)
			if token[1] == do {
				yes, no = will, wont
			}
			if slices.Contains(s.refuses, token[2]) {
				yes = no
			}
			s.send(iac, yes, token[2])
		case len(token) > 3 && token[2] == comPort:
			content := token[3:]
			s.asked = append(s.asked, content)
			answer := append([]byte{content[0] + 100}, content[1:]...)
			if s.grants != nil {
				answer = s.grants(content)
			}
			if answer != nil {
				s.tell(answer...)
			}
			if s.last == nil && content[0] == purge || s.last != nil && s.last(content) {
				return
			}
		}
	}
}

// next returns a byte of data, or a command: IAC, what, option and content.
func (s *comPortServer) next() (token []byte, err error) {
	get := func() (b byte) {
		if err == nil {
			b, err = s.in.ReadByte()
		}
		return b
	}
	if b := get(); b != iac {
		return []byte{b}, err
	}
	what := get()
	if what == iac {
		return []byte{iac}, err
	}
	token = []byte{iac, what, get()}
	for what == sb && err == nil {
		b := get()
		if b == iac {
			if b = get(); b == se {
				return token, err
			}
		}
		token = append(token, b)
	}
	return token, err
}

func (s *comPortServer) send(p ...byte) {
	if !s.byteAByte {
		_, _ = s.conn.Write(p) // when the link has gone, its test sees that at its own end
		return
	}
	for _, b := range p {
		_, _ = s.conn.Write([]byte{b})
		time.Sleep(100 * time.Microsecond) // or the network would join them
	}
}

// tell sends something about the port.
func (s *comPortServer) tell(content ...byte) {
	s.send(slices.Concat([]byte{iac, sb, comPort}, escape(content), []byte{iac, se})...)
}

func escape(p []byte) []byte { return bytes.ReplaceAll(p, []byte{iac}, []byte{iac, iac}) }

// Read gives data that the link sent.
func (s *comPortServer) Read(p []byte) (n int, err error) {
	for n < len(p) && (n == 0 || s.in.Buffered() > 1) {
		token, err := s.next()
		if err != nil {
			return n, err
		}
		if len(token) == 1 {
			p[n] = token[0]
			n++
		}
	}
	return n, nil
}

func (s *comPortServer) Write(p []byte) (int, error) {
	if s.byteAByte {
		s.send(escape(p)...)
		return len(p), nil
	}
	_, err := s.conn.Write(escape(p))
	return len(p), err
}

func (s *comPortServer) Close() error { return s.conn.Close() }

// dial opens a link to a server of which serve has the connection. It returns when both ends are ready.
func dial(t *testing.T, c link.RFC2217Config, serve func(net.Conn)) (link.Link, error) {
	t.Helper()
	noLeak(t)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	accepted := make(chan net.Conn, 1)
	served := make(chan struct{})
	go func() {
		defer close(served)
		conn, err := listener.Accept()
		if err != nil {
			return
		}
		accepted <- conn
		serve(conn)
	}()
	c.Address = listener.Addr().String()
	near, err := link.DialRFC2217(t.Context(), c)
	require.NoError(t, listener.Close())
	if conn := <-accepted; err != nil {
		_ = conn.Close()
	} else {
		t.Cleanup(func() { _, _ = conn.Close(), near.Close() })
	}
	<-served
	return near, err
}

// connect opens a link to a server that agrees.
func connect(t *testing.T, c link.RFC2217Config, server *comPortServer) link.Link {
	t.Helper()
	c.AgreeLimit = time.Minute
	near, err := dial(t, c, server.agree)
	require.NoError(t, err)
	return near
}

var _ io.ReadWriteCloser = (*comPortServer)(nil)
