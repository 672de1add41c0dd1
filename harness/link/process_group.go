//go:build unix

package link

import (
	"os"
	"os/exec"
	"syscall"
)

// ownGroup makes the program the leader of a process group of its own: what it starts can be killed with it, and an
// interrupt typed at our terminal is ours to deal with, in order.
func ownGroup(command *exec.Cmd) { command.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} }

// kill ends the program and all in its process group. An error says that they have ended.
func kill(program *os.Process) {
	_ = syscall.Kill(-program.Pid, syscall.SIGKILL)
	_ = program.Kill()
}
