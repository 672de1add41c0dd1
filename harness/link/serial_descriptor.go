//go:build linux || darwin || freebsd || openbsd

package link

import (
	"syscall"

	"go.bug.st/serial"
	"golang.org/x/sys/unix"
)

// selectable is the number of descriptors that select(2) knows (FD_SETSIZE), and so the greatest that the library can use.
const selectable = 1024

// openPort opens the port and sets two things otherwise than the library does. It keeps the port from the children of this
// process, which would inherit it: one that outlives the link would hold the device, and with it the name under which it
// could come back. And it has reads of the device end when there is nothing to read.
func openPort(device string, mode *serial.Mode) (serial.Port, error) {
	syscall.ForkLock.RLock() // no child is born between the opening and the marking
	defer syscall.ForkLock.RUnlock()
	port, err := serial.Open(device, mode)
	if err != nil {
		return nil, err
	}
	var opened, file unix.Stat_t
	if err := unix.Stat(device, &opened); err != nil {
		return port, nil // already unplugged: the first read says so
	}
	// The library does not tell its descriptor. None of this program's on a terminal device is meant for children but the
	// standard three.
	for number := 3; number < selectable; number++ {
		if unix.Fstat(number, &file) == nil && file.Mode&unix.S_IFMT == unix.S_IFCHR && file.Rdev == opened.Rdev {
			unix.CloseOnExec(number)
			endEmptyReads(number)
		}
	}
	return port, nil
}

// endEmptyReads has reads of a terminal device end at once where there is nothing to read. The library waits for a byte
// with select and then reads with VMIN = 1: a read whose byte another program takes in between would never end. With
// VMIN = 0 it comes back with nothing, as that of an unplugged device does.
func endEmptyReads(number int) {
	settings, err := unix.IoctlGetTermios(number, getSettings)
	if err != nil {
		return // unplugged, or no terminal: the first read says so
	}
	settings.Cc[unix.VMIN] = 0
	_ = unix.IoctlSetTermios(number, setSettings, settings)
}
