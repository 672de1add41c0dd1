//go:build !unix

package lock

import "os"

// careful adds nothing: on Windows only administrators make symbolic links, unless the machine is set up for it.
const careful = 0

func shared() string {
	if dir := os.Getenv("ProgramData"); dir != "" {
		return dir
	}
	return os.TempDir()
}
