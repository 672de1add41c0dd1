package processor

import (
	"bytes"
	"debug/elf"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"bufferstop/rigs/processor/imagetest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// withData has code, initial values of memory, and bytes for the EEPROM that do not begin at its start.
const withData = `#include <avr/eeprom.h>
#include <avr/interrupt.h>
uint8_t EEMEM first = 1, second = 2;
volatile uint16_t table[100] = {1, 2, 3};
ISR(TIMER0_OVF_vect) { table[0]++; }
static __attribute__((noinline)) void inner(void) { table[1]++; }
int main(void) { for (;;) inner(); }
`

func parsed(t testing.TB, path string) *Image {
	t.Helper()
	image, err := LoadImage(path)
	require.NoError(t, err)
	return image
}

func hexOf(t testing.TB, path string) string {
	t.Helper()
	out := path + ".hex"
	text, err := exec.Command("avr-objcopy", "-O", "ihex", "-R", ".eeprom", path, out).CombinedOutput()
	require.NoError(t, err, "%s", text)
	return out
}

func TestAnImageIsTheSameFromItsTwoFiles(t *testing.T) {
	path := imagetest.Compile(t, "atmega2560", withData, "-Wl,--section-start=.eeprom=0x810010")
	fromELF, fromHex := parsed(t, path), parsed(t, hexOf(t, path))
	assert.Equal(t, fromELF.Segments, fromHex.Segments)
	require.Len(t, fromELF.Segments, 1)
	assert.Equal(t, bytes.Repeat([]byte{0xFF}, 16), fromELF.EEPROM[:16])
	assert.ElementsMatch(t, []byte{1, 2}, fromELF.EEPROM[16:])
	assert.Empty(t, fromHex.EEPROM)
	assert.Empty(t, fromHex.Symbols)
	assert.Greater(t, fromELF.Size(), 400)
}

// The reader of the standard library is the other opinion.
func TestAnELFFileIsReadAsTheStandardLibraryReadsIt(t *testing.T) {
	path := imagetest.Compile(t, "atmega328p", withData)
	image := parsed(t, path)
	file, err := elf.Open(path)
	require.NoError(t, err)
	defer file.Close()
	symbols, err := file.Symbols()
	require.NoError(t, err)
	want := map[Symbol]bool{}
	for _, s := range symbols {
		if elf.ST_TYPE(s.Info) == elf.STT_FUNC {
			want[Symbol{s.Name, uint32(s.Value), uint32(s.Size)}] = true
		}
	}
	got := map[Symbol]bool{}
	for _, s := range image.Symbols {
		got[s] = true
	}
	assert.Equal(t, want, got)
	size := 0
	for _, p := range file.Progs {
		if p.Type == elf.PT_LOAD && p.Paddr < memorySpace {
			size += int(p.Filesz)
		}
	}
	assert.Equal(t, size, image.Size())
}

func TestAnImageKnowsItsFunctions(t *testing.T) {
	image := parsed(t, imagetest.Compile(t, "atmega328p", withData))
	var marks []string
	for _, s := range image.Landmarks() {
		marks = append(marks, s.Name)
		assert.Equal(t, s.Name, image.Function(s.Address))
		assert.Equal(t, s.Name+"+0x2", image.Function(s.Address+2))
	}
	assert.ElementsMatch(t, []string{"main", "__vector_16"}, marks)
	assert.Empty(t, image.Function(uint32(image.Size())+100))
	assert.True(t, image.Holds(0))
	assert.False(t, image.Holds(uint32(image.Size())))
}

const soundHex = ":100000000C9434000C943E000C943E000C943E0082\n:020010000102EB\n:00000001FF\n"

func TestWhatIsWrongWithAHexFileIsSaidWithItsLine(t *testing.T) {
	_, err := ParseImage([]byte(soundHex))
	require.NoError(t, err)
	for name, c := range map[string]struct {
		text string
		line int
		want string
	}{
		"a digit changed":            {strings.Replace(soundHex, "0102EB", "0103EB", 1), 2, "checksum: got EB, want EA"},
		"a line cut":                 {strings.Replace(soundHex, "0102EB", "0102E", 1), 2, "record"},
		"a line too long":            {strings.Replace(soundHex, "0102EB", "0102EB00", 1), 2, "record"},
		"a line of the colon only":   {strings.Replace(soundHex, ":02", ":\n:02", 1), 2, "record"},
		"a letter that is no digit":  {strings.Replace(soundHex, "0102EB", "01G2EB", 1), 2, "record"},
		"a remark":                   {strings.Replace(soundHex, ":02", "; the rest\n:02", 1), 2, "first character"},
		"a byte behind the end":      {soundHex + ":020010000102EB\n", 4, "after the end"},
		"no end":                     {strings.Replace(soundHex, ":00000001FF\n", "", 1), 2, "end: got none"},
		"a type that there is not":   {strings.Replace(soundHex, ":020010000102EB", ":020010060102E5", 1), 2, "type of record"},
		"an upper address too short": {strings.Replace(soundHex, ":020010000102EB", ":0100000400FB", 1), 2, "type of record"},
		"an address beyond flash":    {strings.Replace(soundHex, ":020010000102EB", ":020000040010EA", 1), 2, "address"},
		"bytes that cross the end":   {":02000004000FEB\n:02FFFF000102FD\n:00000001FF\n", 2, "address"},
		"two values of a byte":       {strings.Replace(soundHex, ":020010000102EB", ":02000E000102ED", 1), 0, "over each other"},
		"nothing at all":             {":00000001FF\n", 0, "content: got none"},
		"no file of code":            {"station\n", 0, "its first bytes"},
		"an empty file":              {"", 0, "its first bytes"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := ParseImage([]byte(c.text))
			var wrong *ImageError
			require.ErrorAs(t, err, &wrong)
			assert.Equal(t, c.line, wrong.Line, "%v", err)
			assert.Contains(t, err.Error(), c.want)
		})
	}
}

func TestHexFilesAreReadAsToolsWriteThem(t *testing.T) {
	plain, err := ParseImage([]byte(soundHex))
	require.NoError(t, err)
	for name, text := range map[string]string{
		"ends of line with a return": strings.ReplaceAll(soundHex, "\n", "\r\n"),
		"no end of line at the end":  strings.TrimSuffix(soundHex, "\n"),
		"empty lines":                "\n" + strings.ReplaceAll(soundHex, "\n", "\n\n"),
		"small letters":              strings.ToLower(soundHex),
		"a start address":            ":0400000300000000F9\n:0400000500000000F7\n" + soundHex,
		"another order":              ":020010000102EB\n:100000000C9434000C943E000C943E000C943E0082\n:00000001FF\n",
	} {
		image, err := ParseImage([]byte(text))
		require.NoError(t, err, name)
		assert.Equal(t, plain.Segments, image.Segments, name)
	}
	for text, address := range map[string]uint32{":020000021000EC\n": 0x1_0000, ":020000040001F9\n": 0x1_0000, ":02000002FFFEFF\n": 0xF_FFE0} {
		image, err := ParseImage([]byte(text + ":020010000102EB\n:00000001FF\n"))
		require.NoError(t, err, text)
		assert.Equal(t, address+0x10, image.Segments[0].Address, text)
	}
}

func TestAnImageOfTheComputerIsNoneOfTheStation(t *testing.T) {
	self, err := os.Executable()
	require.NoError(t, err)
	data, err := os.ReadFile(self)
	require.NoError(t, err)
	_, err = ParseImage(data)
	var wrong *ImageError
	require.ErrorAs(t, err, &wrong)
	if bytes.HasPrefix(data, []byte(elf.ELFMAG)) {
		assert.Contains(t, wrong.Hint, "built for the computer")
	}
}

func TestAnObjectFileIsNotLinkedYet(t *testing.T) {
	path := imagetest.Compile(t, "atmega328p", "int main(void) { return 0; }", "-c")
	_, err := LoadImage(path)
	require.ErrorContains(t, err, "an object file is not linked yet")
}

func TestAFileThatIsNotThereIsTheSystemsError(t *testing.T) {
	_, err := LoadImage(filepath.Join(t.TempDir(), "station.elf"))
	require.ErrorIs(t, err, os.ErrNotExist)
}

// Wherever an ELF file is cut, it is read as far as nothing is missing, or refused.
func TestAnELFFileThatIsCutIsRefused(t *testing.T) {
	data, err := os.ReadFile(imagetest.Compile(t, "atmega328p", withData, "-s"))
	require.NoError(t, err)
	whole, err := ParseImage(data)
	require.NoError(t, err)
	for cut := range len(data) {
		image, err := ParseImage(data[:cut])
		if err == nil {
			assert.Equal(t, whole.Segments, image.Segments, "cut at %d", cut)
			continue
		}
		var wrong *ImageError
		require.True(t, errors.As(err, &wrong), "cut at %d: %v", cut, err)
	}
	_, err = ParseImage(data[:len(data)/2])
	require.Error(t, err)
}

// elfFile makes an ELF file by hand.
func elfFile(change func(h *elf.Header32), programs []elf.Prog32, sections []elf.Section32, content []byte) []byte {
	h := elf.Header32{Type: uint16(elf.ET_EXEC), Machine: uint16(elf.EM_AVR), Phentsize: 32, Shentsize: 40,
		Phoff: 52, Phnum: uint16(len(programs)), Shoff: uint32(52 + 32*len(programs)), Shnum: uint16(len(sections))}
	copy(h.Ident[:], elf.ELFMAG)
	h.Ident[elf.EI_CLASS], h.Ident[elf.EI_DATA] = byte(elf.ELFCLASS32), byte(elf.ELFDATA2LSB)
	if change != nil {
		change(&h)
	}
	var b bytes.Buffer
	for _, part := range []any{h, programs, sections, content} {
		_ = binary.Write(&b, binary.LittleEndian, part)
	}
	return b.Bytes()
}

func TestHostileHeadersOfAnELFFileAreRefused(t *testing.T) {
	load := elf.Prog32{Type: uint32(elf.PT_LOAD), Off: 0, Filesz: 64}
	many := make([]elf.Prog32, 200)
	for i := range many {
		many[i] = elf.Prog32{Type: uint32(elf.PT_LOAD), Off: 0, Filesz: 1 << 16, Paddr: uint32(i) << 12}
	}
	with := func(change func(p *elf.Prog32)) []elf.Prog32 {
		p := load
		change(&p)
		return []elf.Prog32{p}
	}
	for name, c := range map[string]struct {
		data []byte
		want string
	}{
		"another machine":                {elfFile(func(h *elf.Header32) { h.Machine = uint16(elf.EM_ARM) }, []elf.Prog32{load}, nil, nil), "got EM_ARM"},
		"another order of bytes":         {elfFile(func(h *elf.Header32) { h.Ident[elf.EI_DATA] = 2 }, []elf.Prog32{load}, nil, nil), "another order"},
		"headers beyond the file":        {elfFile(func(h *elf.Header32) { h.Phoff = 0xFFFF_FFF0 }, []elf.Prog32{load}, nil, nil), "segments of the ELF file"},
		"headers of another size":        {elfFile(func(h *elf.Header32) { h.Phentsize = 1 }, []elf.Prog32{load}, nil, nil), "headers of 1 bytes"},
		"more segments than bytes":       {elfFile(func(h *elf.Header32) { h.Phnum = 0xFFFF }, []elf.Prog32{load}, nil, nil), "65535 headers"},
		"a segment beyond the file":      {elfFile(nil, with(func(p *elf.Prog32) { p.Off = 0xFFFF_FFFF }), nil, nil), "segment: got bytes"},
		"a segment longer than the file": {elfFile(nil, with(func(p *elf.Prog32) { p.Filesz = 0xFFFF_FFFF }), nil, nil), "segment: got bytes"},
		"a segment beyond the flash":     {elfFile(nil, with(func(p *elf.Prog32) { p.Paddr = memorySpace - 1 }), nil, nil), "one in the flash"},
		"a segment beyond the EEPROM":    {elfFile(nil, with(func(p *elf.Prog32) { p.Paddr = fuseSpace - 1 }), nil, nil), "one in the EEPROM"},
		"the same bytes many times":      {elfFile(nil, many, nil, make([]byte, 1<<16)), "at most 1048576"},
		"segments over each other":       {elfFile(nil, []elf.Prog32{load, load}, nil, nil), "over each other"},
		"nothing to load":                {elfFile(nil, nil, nil, nil), "content: got none"},
		"sections beyond the file":       {elfFile(func(h *elf.Header32) { h.Shoff = 1 << 30 }, []elf.Prog32{load}, make([]elf.Section32, 1), nil), "symbols"},
		"names in no section": {elfFile(nil, []elf.Prog32{load}, []elf.Section32{{Type: uint32(elf.SHT_SYMTAB), Link: 7}}, nil),
			"names in section 7 of 1"},
		"symbols beyond the file": {elfFile(nil, []elf.Prog32{load}, []elf.Section32{{Type: uint32(elf.SHT_SYMTAB), Off: 1 << 31, Size: 16}}, nil), "symbols"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := ParseImage(c.data)
			var wrong *ImageError
			require.ErrorAs(t, err, &wrong)
			assert.Contains(t, err.Error(), c.want)
		})
	}
}

// A million functions whose names are all the rest of the file: a reader that copies each would need terabytes.
func TestAHostileSymbolTableTakesBoundedMemory(t *testing.T) {
	const size = 16 << 20
	content := bytes.Repeat([]byte{'x', 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, byte(elf.STT_FUNC), 'x', 'x', 'x'}, size/16)
	for i := range content {
		if content[i] == 0 && i%16 > 3 && i%16 < 12 {
			content[i] = 'A' // no byte of the names is their end, apart from the numbers of the names
		}
	}
	at := uint32(52 + 32 + 80)
	data := elfFile(nil, []elf.Prog32{{Type: uint32(elf.PT_LOAD), Filesz: 64}}, []elf.Section32{
		{Type: uint32(elf.SHT_SYMTAB), Link: 1, Off: at, Size: size}, {Type: uint32(elf.SHT_STRTAB), Off: at, Size: size}}, content)
	for i := at; i < uint32(len(data)); i += 16 {
		binary.LittleEndian.PutUint32(data[i+4:], i) // an address in the flash
	}
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	image, err := ParseImage(data)
	runtime.ReadMemStats(&after)
	require.NoError(t, err)
	assert.Len(t, image.Symbols, mostSymbols)
	assert.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(256<<20))
}

func FuzzImage(f *testing.F) {
	f.Add([]byte(soundHex))
	f.Add([]byte(":020000021000EC\n:020000040001F9\n:0400000300000000F9\n:020010000102EB\n:00000001FF\n"))
	symbols := []elf.Section32{{Type: uint32(elf.SHT_SYMTAB), Link: 1, Off: 164, Size: 16}, {Type: uint32(elf.SHT_STRTAB), Off: 180, Size: 5}}
	f.Add(elfFile(nil, []elf.Prog32{{Type: uint32(elf.PT_LOAD), Filesz: 64}}, symbols,
		append([]byte{1, 0, 0, 0, 8, 0, 0, 0, 4, 0, 0, 0, byte(elf.STT_FUNC), 0, 0, 0}, "\x00main"...)))
	f.Fuzz(func(t *testing.T, data []byte) {
		image, err := ParseImage(data)
		if err != nil {
			var wrong *ImageError
			require.True(t, errors.As(err, &wrong), "%v", err)
			return
		}
		require.Positive(t, image.Size())
		require.LessOrEqual(t, image.Size(), largest)
		require.LessOrEqual(t, len(image.EEPROM), fuseSpace-eepromSpace)
		require.LessOrEqual(t, len(image.Symbols), mostSymbols)
		end := uint32(0)
		for i, s := range image.Segments {
			require.True(t, i == 0 || s.Address > end, "segment at %#x", s.Address)
			end = s.Address + uint32(len(s.Bytes))
		}
		for _, s := range image.Symbols[:min(10, len(image.Symbols))] {
			_ = image.Function(s.Address)
		}
		_ = fmt.Sprint(image.Landmarks())
	})
}
