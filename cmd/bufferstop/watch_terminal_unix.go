//go:build unix

package main

import (
	"io"
	"os"

	"golang.org/x/sys/unix"
)

// openKeyboard opens the terminal that this process is at, wherever standard input comes from.
func openKeyboard() (*os.File, error) { return os.OpenFile("/dev/tty", os.O_RDWR, 0) }

// unread reports whether nobody reads what is written any more: the other end of a pipe or of a terminal is closed. A watch
// must know without writing, since a track on which nothing new happens gives nothing to write.
func unread(out io.Writer) bool {
	file, ok := out.(*os.File)
	if !ok {
		return false
	}
	polled := []unix.PollFd{{Fd: int32(file.Fd())}}
	n, err := unix.Poll(polled, 0)
	return err == nil && n > 0 && polled[0].Revents&(unix.POLLERR|unix.POLLHUP) != 0
}
