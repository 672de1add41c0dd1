package link

import "golang.org/x/sys/unix"

// The calls that read and change the settings of a terminal device.
const (
	getSettings = unix.TCGETS
	setSettings = unix.TCSETS
)
