//go:build simavr

package firmware

import (
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"

	"bufferstop/rigs/processor"
	"bufferstop/rigs/processor/imagetest"

	"github.com/stretchr/testify/require"
)

// reference builds the reference firmware once for all tests and returns the path of its ELF file.
func reference(t testing.TB) string {
	t.Helper()
	imagetest.NeedCompiler(t)
	built.once.Do(func() {
		built.folder = filepath.Join(buildFolder, "reference")
		built.out, built.err = exec.Command("make", "-s", "-C", "reference", "OUT="+built.folder).CombinedOutput()
	})
	require.NoError(t, built.err, "%s", built.out)
	return filepath.Join(built.folder, "station.elf")
}

var built struct {
	once   sync.Once
	folder string
	out    []byte
	err    error
}

// referenceFile is the rig file of the reference firmware.
func referenceFile(t testing.TB) *File {
	t.Helper()
	data, err := os.ReadFile("reference.rig.toml")
	require.NoError(t, err)
	f, err := Parse("reference.rig.toml", data)
	require.NoError(t, err)
	return f
}

// referenceMachine is a processor with the reference firmware. The caller frees it.
func referenceMachine(t testing.TB, bare bool) *processor.Machine {
	t.Helper()
	f := referenceFile(t)
	m, err := processor.New(processor.Config{
		MCU: f.MCU, Clock: f.Clock, Millivolts: uint32(f.SupplyMillivolts), UART: f.UART, Watch: f.ports(), Bare: bare,
	})
	require.NoError(t, err)
	require.NoError(t, m.Flash(loaded(t, reference(t))))
	return m
}

// loaded reads an image.
func loaded(t testing.TB, path string) *processor.Image {
	t.Helper()
	image, err := processor.LoadImage(path)
	require.NoError(t, err)
	return image
}

// parsed is the image of a small firmware.
func parsed(t testing.TB, path string) *processor.Image { return loaded(t, path) }

// hexOf writes the flash of an ELF file in the hexadecimal format, and returns the path.
func hexOf(t testing.TB, path string) string {
	t.Helper()
	out := path + ".hex"
	text, err := exec.Command("avr-objcopy", "-O", "ihex", "-R", ".eeprom", path, out).CombinedOutput()
	require.NoError(t, err, "%s", text)
	return out
}
