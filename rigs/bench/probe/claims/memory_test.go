//go:build simavr

package claims

import (
	"debug/elf"
	"os/exec"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The registers that belong to the interrupts in assembler are used by nothing else in the whole image, what comes from libraries
// included: registers.h.
func TestNothingElseUsesTheRegistersOfTheInterrupts(t *testing.T) {
	ours := map[string]bool{"__vector_25": true, "__vector_26": true, "__vector_41": true, "__vector_46": true, "__vector_5": true, "__vector_6": true, // ATmega2560
		"__vector_18": true, "__vector_19": true, "__vector_10": true, "__vector_1": true, // ATmega328P
		"capture_0": true, "capture_1": true}
	register := regexp.MustCompile(`\br[2-9]\b`)
	begins := regexp.MustCompile(`^[0-9a-f]+ <(\w+)>:$`)
	for _, mcu := range []string{two, one} {
		out, err := exec.Command("avr-objdump", "-d", healthy.path(t, mcu)).Output()
		require.NoError(t, err)
		function, used := "", map[string][]string{}
		for line := range strings.Lines(string(out)) {
			line = strings.TrimSpace(line)
			if m := begins.FindStringSubmatch(line); m != nil {
				function = m[1]
				continue
			}
			if fields := strings.SplitN(line, "\t", 3); len(fields) == 3 && register.MatchString(fields[2]) {
				used[function] = append(used[function], fields[2])
			}
		}
		assert.NotEmpty(t, used["capture_0"])
		for f, instructions := range used {
			switch {
			case ours[f]:
			case strings.HasPrefix(f, "crc_"): // tables in flash
			case f == "frame_end": // hands a frame over
				assert.Len(t, instructions, 2)
			case f == "serial_start", f == "serial_look", f == "serial_waiting": // the index of those received
				assert.Len(t, instructions, 1)
			default:
				t.Errorf("%s: %s uses %q", mcu, f, instructions)
			}
		}
	}
}

// memory gives how many bytes of RAM the variables of an image take, and where they end.
func memory(t *testing.T, path string) (size int, end uint64) {
	f, err := elf.Open(path)
	require.NoError(t, err)
	defer f.Close()
	symbols, err := f.Symbols()
	require.NoError(t, err)
	for _, s := range symbols {
		if s.Name == "_end" {
			end = s.Value & 0xFFFF
		}
	}
	for _, s := range f.Sections {
		if s.Flags&elf.SHF_ALLOC > 0 && s.Addr >= 0x800000 && s.Addr < 0x810000 {
			size += int(s.Size)
		}
	}
	return size, end
}
