//go:build unix

package lock

import "syscall"

// careful keeps an open from going through a symbolic link that somebody laid there, and from waiting on a pipe.
const careful = syscall.O_NOFOLLOW | syscall.O_NONBLOCK

func shared() string { return "/tmp" }
