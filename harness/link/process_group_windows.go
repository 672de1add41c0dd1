package link

import (
	"os"
	"os/exec"
	"syscall"
)

// ownGroup keeps an interrupt typed at our console from the program: it is ours to deal with, in order.
func ownGroup(command *exec.Cmd) {
	command.SysProcAttr = &syscall.SysProcAttr{CreationFlags: syscall.CREATE_NEW_PROCESS_GROUP}
}

// kill ends the program. An error says that it has ended.
func kill(program *os.Process) { _ = program.Kill() }
