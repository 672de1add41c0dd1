// Package imagetest builds firmware for tests. A test whose machine has no compiler for the processor is skipped, and says so.
package imagetest

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// NeedCompiler skips a test that cannot build its firmware.
func NeedCompiler(t testing.TB) {
	t.Helper()
	if _, err := exec.LookPath("avr-gcc"); err != nil {
		t.Skip("avr-gcc is not installed, so there is no firmware to run: ", err)
	}
}

// assembler is how a source begins that is none in C.
const assembler = "#asm"

// Compile builds a small firmware in C, or in assembler where the source begins with "#asm", for a processor with a clock of
// 16 MHz, and returns the path of its ELF file.
func Compile(t testing.TB, mcu, source string, flags ...string) string {
	t.Helper()
	NeedCompiler(t)
	folder := t.TempDir()
	name := filepath.Join(folder, "station.c")
	if rest, ok := strings.CutPrefix(source, assembler); ok {
		name, source = filepath.Join(folder, "station.S"), rest
	}
	require.NoError(t, os.WriteFile(name, []byte(source), 0o600))
	image := filepath.Join(folder, "station.elf")
	out, err := exec.Command("avr-gcc", append([]string{"-mmcu=" + mcu, "-DF_CPU=16000000UL", "-std=gnu11", "-Os", "-g", "-Wall",
		"-Werror", "-o", image, name}, flags...)...).CombinedOutput()
	require.NoError(t, err, "%s", out)
	return image
}

// Make builds a firmware by the makefile in a folder, with variables such as "DEFECT=NAME", and returns the folder with what was
// built.
func Make(t testing.TB, folder string, variables ...string) string {
	t.Helper()
	NeedCompiler(t)
	built := t.TempDir()
	out, err := exec.Command("make", append([]string{"-s", "-C", folder, "OUT=" + built}, variables...)...).CombinedOutput()
	require.NoError(t, err, "%s", out)
	return built
}
