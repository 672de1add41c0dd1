//go:build simavr

package firmware

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// compile builds a small firmware in C, or in assembler where the source begins with "#asm", and returns the path of its ELF
// file.
func compile(t testing.TB, mcu, source string, flags ...string) string {
	t.Helper()
	if _, err := exec.LookPath("avr-gcc"); err != nil {
		t.Skip("avr-gcc is not installed, so there is no firmware to look at: ", err)
	}
	folder := t.TempDir()
	name := filepath.Join(folder, "station.c")
	if len(source) > 4 && source[:4] == "#asm" {
		name, source = filepath.Join(folder, "station.S"), source[4:]
	}
	require.NoError(t, os.WriteFile(name, []byte(source), 0o600))
	image := filepath.Join(folder, "station.elf")
	out, err := exec.Command("avr-gcc", append([]string{"-mmcu=" + mcu, "-DF_CPU=16000000UL", "-std=gnu11", "-Os", "-g", "-Wall",
		"-Werror", "-o", image, name}, flags...)...).CombinedOutput()
	require.NoError(t, err, "%s", out)
	return image
}
