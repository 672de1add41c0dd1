//go:build darwin || freebsd || openbsd

package link

import "golang.org/x/sys/unix"

// The calls that read and change the settings of a terminal device.
const (
	getSettings = unix.TIOCGETA
	setSettings = unix.TIOCSETA
)
