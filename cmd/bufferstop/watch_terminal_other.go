//go:build !unix

package main

import (
	"io"
	"os"
)

// openKeyboard opens the console that this process is at, wherever standard input comes from.
func openKeyboard() (*os.File, error) { return os.OpenFile("CONIN$", os.O_RDWR, 0) }

// unread is found out by the next writing here.
func unread(io.Writer) bool { return false }
