//go:build !linux

package link

import "os"

// widen does nothing: only Linux lets a program choose how much a pipe holds.
func widen(*os.File, int) {}
