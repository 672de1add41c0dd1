//go:build simavr

package firmware

import (
	"fmt"
	"os"
	"testing"
)

// buildFolder is where the tests build firmware. It is gone after them.
var buildFolder string

func TestMain(m *testing.M) {
	var err error
	if buildFolder, err = os.MkdirTemp("", "bufferstop-firmware-"); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	code := m.Run()
	_ = os.RemoveAll(buildFolder)
	os.Exit(code)
}
