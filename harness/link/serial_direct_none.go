//go:build !(linux || darwin || freebsd || openbsd)

package link

import "go.bug.st/serial"

// openDirect has no way to write without blocking here.
func openDirect(string) outlet { return nil }

// openPort opens the port; children do not inherit it here.
func openPort(device string, mode *serial.Mode) (serial.Port, error) {
	return serial.Open(device, mode)
}
