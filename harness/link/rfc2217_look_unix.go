//go:build unix

package link

import (
	"errors"
	"io"
	"syscall"
	"time"
)

// arrived reads what has arrived, without waiting: 0, nil if that is nothing.
func (l *rfc2217Link) arrived() (n int, err error) {
	conn, ok := l.conn.conn.(syscall.Conn)
	if !ok {
		return 0, nil
	}
	raw, err := conn.SyscallConn()
	if err != nil {
		return 0, err
	}
	// With a deadline that has passed, the system would not be asked.
	if err := l.conn.conn.SetReadDeadline(time.Time{}); err != nil {
		return 0, err
	}
	var failed error
	err = raw.Read(func(fd uintptr) bool {
		n, failed = syscall.Read(int(fd), l.raw)
		return true
	})
	switch {
	case err != nil:
		return 0, err
	case errors.Is(failed, syscall.EAGAIN), errors.Is(failed, syscall.EINTR):
		return 0, nil
	case failed != nil:
		return 0, failed
	case n == 0:
		return 0, io.EOF
	}
	return n, nil
}
