package probe

import (
	"syscall"
	"time"
)

// threadUsage is what the thread has used of the processor.
func threadUsage() time.Duration {
	const thread = 1 // RUSAGE_THREAD of Linux's getrusage(2)
	var u syscall.Rusage
	if syscall.Getrusage(thread, &u) != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
