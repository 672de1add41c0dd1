package link

import (
	"errors"
	"fmt"
	"syscall"

	"go.bug.st/serial"
)

// gone makes ErrClosed of what a port returned, and keeps the cause. Whatever an open port refuses a read or write with,
// it is the cable, the driver or the device as a device, and never an answer of the station: a pulled plug alone is
// PortClosed, EIO, ENXIO or ENODEV on Unix, and one of five codes on other systems.
func gone(err error) error {
	if errors.Is(err, ErrClosed) {
		return err
	}
	var port *serial.PortError
	if errors.As(err, &port) && port.Code() == serial.PortClosed {
		// Also what the library says when a read that had something to read brings nothing.
		return fmt.Errorf("%w: the port has gone, or another program reads from it too: %w", ErrClosed, err)
	}
	return fmt.Errorf("%w: %w", ErrClosed, err)
}

// isGone reports whether err says that the port is no longer there.
func isGone(err error) bool {
	var port *serial.PortError
	if errors.As(err, &port) {
		return port.Code() == serial.PortClosed
	}
	return errors.Is(err, syscall.EIO) || errors.Is(err, syscall.ENXIO) || errors.Is(err, syscall.ENODEV)
}
