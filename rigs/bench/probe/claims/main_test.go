//go:build simavr

package claims

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"

	"bufferstop/rigs/processor"
	"bufferstop/rigs/processor/imagetest"

	"github.com/stretchr/testify/require"
)

// buildFolder is where the tests build firmware. It is gone after them.
var buildFolder string

func TestMain(m *testing.M) {
	var err error
	if buildFolder, err = os.MkdirTemp("", "bufferstop-probe-"); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	code := m.Run()
	_ = os.RemoveAll(buildFolder)
	os.Exit(code)
}

// whole tells whether long tests are wanted.
func whole() bool { return os.Getenv("BUFFERSTOP_FIRMWARE") == "whole" }

// A build is one of the firmware, made once for all tests.
type build struct {
	once   sync.Once
	defect string
	wraps  int // how often the clock's 16 bits have been over at the start
	out    []byte
	err    error
}

// wrapping is healthy, and 590 ms before the 32 bits of its clock are over, which otherwise takes 268 s.
var healthy, hanging, wrapping = build{}, build{defect: "hang"}, build{wraps: 1<<16 - wrapsLeft}

const wrapsLeft = 144

// wrap is about the cycle at which the 32 bits are over.
const wrap = wrapsLeft << 16

// image returns the firmware for a processor.
func (b *build) image(t testing.TB, mcu string) *processor.Image {
	t.Helper()
	image, err := processor.LoadImage(b.path(t, mcu))
	require.NoError(t, err)
	return image
}

// path returns the ELF file of the firmware for a processor.
func (b *build) path(t testing.TB, mcu string) string {
	t.Helper()
	imagetest.NeedCompiler(t)
	folder := filepath.Join(buildFolder, fmt.Sprint("with", b.defect, b.wraps))
	b.once.Do(func() {
		// The test reads what make reads, so that the go command knows that its result depends on it.
		sources, _ := filepath.Glob("../*")
		for _, name := range sources {
			_, _ = os.ReadFile(name)
		}
		b.out, b.err = exec.Command("make", "-s", "-C", "..", "OUT="+folder, "DEFECT="+b.defect, fmt.Sprint("WRAPS=", b.wraps)).CombinedOutput()
	})
	require.NoError(t, b.err, "%s", b.out)
	return filepath.Join(folder, "probe-"+mcu+".elf")
}
