package link

import (
	"os"
	"syscall"

	"golang.org/x/sys/unix"
)

// endGroup waits for the end of the program and then ends what it leaves behind in its process group. That is done before
// its exit status is taken: until then the number of the group is nobody else's.
func endGroup(program *os.Process) {
	for {
		err := unix.Waitid(unix.P_PID, program.Pid, nil, unix.WEXITED|unix.WNOWAIT, nil)
		if err != unix.EINTR {
			break
		}
	}
	_ = syscall.Kill(-program.Pid, syscall.SIGKILL) // an error says that nobody is left
}
