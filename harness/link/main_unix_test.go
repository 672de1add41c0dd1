//go:build unix

package link_test

import (
	"os/exec"
	"syscall"
)

// free puts a program into a process group of its own.
func free(command *exec.Cmd) { command.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} }
