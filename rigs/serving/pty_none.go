//go:build !(linux || darwin || freebsd || netbsd || openbsd || dragonfly)

package serving

import (
	"fmt"
	"runtime"
)

// Vacant is an error here: see PTY.
func Vacant(path string) error {
	_, err := PTY(path, nil)
	return err
}

// PTY is an error here.
func PTY(string, func(Notice)) (Port, error) {
	return nil, fmt.Errorf("serving at a pseudo-terminal: %s has none (hint: serve at a TCP port)", runtime.GOOS)
}
