//go:build simavr

package firmware

import (
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
)

// reference builds the reference firmware once for all tests and returns the path of its ELF file.
func reference(t testing.TB) string {
	t.Helper()
	if _, err := exec.LookPath("avr-gcc"); err != nil {
		t.Skip("avr-gcc is not installed, so there is no firmware to run: ", err)
	}
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

// referenceMachine is a processor with the reference firmware and some outputs. The caller frees it.
func referenceMachine(t testing.TB, outputs []Output) *machine {
	t.Helper()
	image := loaded(t, reference(t))
	f := *referenceFile(t)
	f.Outputs = outputs
	m, err := newMachine(&f)
	require.NoError(t, err)
	for _, s := range image.Segments {
		require.NoError(t, m.load(s.Address, s.Bytes))
	}
	return m
}

// loaded reads an image.
func loaded(t testing.TB, path string) *Image {
	t.Helper()
	image, err := LoadImage(path)
	require.NoError(t, err)
	return image
}
