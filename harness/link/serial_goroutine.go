package link

import (
	"time"

	"go.bug.st/serial"
)

const (
	// writeChunk is how many bytes at most are in the hands of one write of the port, which nothing can call back.
	writeChunk = 64
	// freeLimit is how long Close tries to free a blocked writer.
	freeLimit = 250 * time.Millisecond
)

// A goroutineOutlet writes with the library's own Write, which may block for ever, in a goroutine. It works on every
// system; a directOutlet is better where there is one.
type goroutineOutlet struct {
	*handover
	port serial.Port
	mode serial.Mode
}

func (o *goroutineOutlet) attach(port serial.Port, closed <-chan struct{}) {
	o.port, o.handover = port, newHandover(port, writeChunk, closed)
}

// free throws away what the driver has not sent. Linux wakes a writer on a pseudo-terminal only when the settings are
// set again (n_tty_set_termios), not on the flush.
func (o *goroutineOutlet) free() bool {
	limit := time.NewTimer(freeLimit)
	defer limit.Stop()
	for wait := 2 * time.Millisecond; ; wait *= 2 {
		again := time.NewTimer(wait)
		select {
		case <-o.ended:
			again.Stop()
			return true
		case <-limit.C:
			again.Stop()
			return false
		case <-again.C:
		}
		// Errors say that the device has gone, which frees the writer as well.
		_ = o.port.ResetOutputBuffer()
		_ = o.port.SetMode(&o.mode)
	}
}

func (o *goroutineOutlet) end() {
	if o.handover != nil {
		<-o.ended
	}
}
