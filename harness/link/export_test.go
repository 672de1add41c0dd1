package link

import (
	"context"

	"go.bug.st/serial"
)

// OpenSerialByGoroutine opens a port as a system does that cannot write without blocking.
func OpenSerialByGoroutine(config SerialConfig) (Link, error) {
	return openSerialBy(context.Background(), config, func(_ string, mode serial.Mode) outlet {
		return &goroutineOutlet{mode: mode}
	})
}

// PortsFrom is Ports with another list of what is connected.
var PortsFrom = portsFrom
