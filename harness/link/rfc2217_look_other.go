//go:build !unix

package link

import (
	"context"
	"errors"
)

// arrived reads what has arrived: 0, nil if that is nothing. There is no reading without waiting here, so it waits for as
// long as netLook.
func (l *rfc2217Link) arrived() (int, error) {
	n, err := l.conn.Read(context.Background(), l.raw, 0)
	if errors.Is(err, ErrTimeout) {
		return 0, nil
	}
	return n, err
}
