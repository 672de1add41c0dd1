package link

import (
	"os"

	"golang.org/x/sys/unix"
)

// widen asks the system to hold so many bytes in a pipe. What it grants is its own affair (fcntl(2), F_SETPIPE_SZ).
func widen(pipe *os.File, size int) {
	raw, err := pipe.SyscallConn()
	if err != nil {
		return
	}
	_ = raw.Control(func(descriptor uintptr) {
		_, _ = unix.FcntlInt(descriptor, unix.F_SETPIPE_SZ, size)
	})
}
