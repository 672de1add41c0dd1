package processor

import (
	"bytes"
	"debug/elf"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"slices"
	"sort"
	"strings"
)

// An Image is what is flashed, from an ELF file or a file in the hexadecimal format that flashing tools read.
type Image struct {
	// Segments are what goes into the flash, in ascending order of address.
	Segments []Segment
	// EEPROM is what the image wants in the EEPROM, from its start; empty for nothing.
	EEPROM []byte
	// Symbols are the functions of an ELF file, in ascending order of address; empty for others.
	Symbols []Symbol
}

// A Segment is a stretch of flash.
type Segment struct {
	Address uint32
	Bytes   []byte
}

// A Symbol is the name of a function and the flash that it takes.
type Symbol struct {
	Name          string
	Address, Size uint32
}

// An ImageError says what is wrong with an image.
type ImageError struct {
	Line                  int // of a hexadecimal file, counted from 1; zero for the file as a whole
	What, Got, Want, Hint string
}

// Error is one line.
func (e *ImageError) Error() string {
	text := e.What
	if e.Line > 0 {
		text = fmt.Sprintf("line %d: %s", e.Line, e.What)
	}
	text = fmt.Sprintf("firmware image, %s: got %s, want %s", text, e.Got, e.Want)
	if e.Hint != "" {
		text += " (" + e.Hint + ")"
	}
	return text
}

// The address spaces of avr-gcc's linker: flash from 0, memory from 0x800000, EEPROM from 0x810000, fuses and signature
// from 0x820000 on.
const (
	memorySpace = 0x80_0000
	eepromSpace = 0x81_0000
	fuseSpace   = 0x82_0000
	// largest is more flash than any processor of the family has.
	largest = 1 << 20
	// largestFile leaves room for all that a linker writes beside the code.
	largestFile = 64 << 20
)

// ParseImage reads an image. What it is, its first bytes say.
func ParseImage(data []byte) (*Image, error) {
	switch {
	case bytes.HasPrefix(data, []byte(elf.ELFMAG)):
		return parseELF(data)
	case bytes.HasPrefix(bytes.TrimLeft(data, "\r\n\t "), []byte(":")):
		return parseHex(data)
	}
	return nil, &ImageError{What: "its first bytes", Got: fmt.Sprintf("%.16q", data), Want: "an ELF file, or lines that begin with a colon",
		Hint: "the .elf of the linker, or the .hex that is made from it"}
}

// LoadImage reads an image file. Errors are *ImageError, or those of the system.
func LoadImage(path string) (*Image, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	data, err := io.ReadAll(io.LimitReader(file, largestFile+1))
	if err != nil {
		return nil, err
	}
	if len(data) > largestFile {
		return nil, &ImageError{What: "file", Got: fmt.Sprintf("more than %d bytes", largestFile), Want: "an image for a small processor"}
	}
	return ParseImage(data)
}

// parseHex reads lines of a colon, then in hexadecimal: the number of bytes, a 16-bit address, a type, the bytes, and the
// two's complement of the sum of all of these. Types: 0 bytes, 1 the end, 2 and 4 the upper part of the address, 3 and 5 a
// start address. (Common practice; the format is as old as its maker's first processors.)
func parseHex(data []byte) (*Image, error) {
	image := new(Image)
	var base uint32
	ended := false
	number := 0
	for line := range strings.Lines(string(data)) {
		number++
		text := strings.TrimSpace(line)
		if text == "" {
			continue
		}
		wrong := func(what, got, want string) error {
			return &ImageError{Line: number, What: what, Got: got, Want: want, Hint: "was the file copied as a whole?"}
		}
		if ended {
			return nil, wrong("after the end", fmt.Sprintf("%.20q", text), "nothing")
		}
		if text[0] != ':' {
			return nil, wrong("first character", fmt.Sprintf("%.1q", text), `":"`)
		}
		record, err := hex.DecodeString(text[1:])
		if err != nil || len(record) < 5 || len(record) != int(record[0])+5 {
			return nil, wrong("record", fmt.Sprintf("%.20q", text), "pairs of hexadecimal digits, as many as the first says")
		}
		var sum byte
		for _, b := range record {
			sum += b
		}
		if sum != 0 {
			last := record[len(record)-1]
			return nil, wrong("checksum", fmt.Sprintf("%02X", last), fmt.Sprintf("%02X", last-sum))
		}
		address := uint32(record[1])<<8 | uint32(record[2])
		content := record[4 : len(record)-1]
		switch {
		case record[3] == 0:
			if base+address+uint32(len(content)) > largest {
				return nil, wrong("address", fmt.Sprintf("%#x", base+address), "one in the flash")
			}
			image.add(base+address, content)
		case record[3] == 1:
			ended = true
		case record[3] == 2 && len(content) == 2:
			base = (uint32(content[0])<<8 | uint32(content[1])) << 4
		case record[3] == 4 && len(content) == 2:
			base = (uint32(content[0])<<8 | uint32(content[1])) << 16
			if base >= largest {
				return nil, wrong("address", fmt.Sprintf("%#x", base), "one in the flash")
			}
		case record[3] == 3 || record[3] == 5:
		default:
			return nil, wrong("type of record", fmt.Sprintf("%02X with %d bytes", record[3], len(content)), "00 to 05")
		}
	}
	if !ended {
		return nil, &ImageError{Line: number, What: "end", Got: "none", Want: "a record of type 01", Hint: "was the file copied as a whole?"}
	}
	return image.ordered()
}

// add joins bytes to the segment that they follow.
func (i *Image) add(address uint32, content []byte) {
	if last := len(i.Segments) - 1; last >= 0 {
		if s := &i.Segments[last]; s.Address+uint32(len(s.Bytes)) == address {
			s.Bytes = append(s.Bytes, content...)
			return
		}
	}
	if len(content) > 0 {
		i.Segments = append(i.Segments, Segment{address, slices.Clone(content)})
	}
}

// ordered sorts and joins the segments, and refuses an image that is empty or says two things of one byte.
func (i *Image) ordered() (*Image, error) {
	slices.SortStableFunc(i.Segments, func(a, b Segment) int { return int(a.Address) - int(b.Address) })
	segments := i.Segments
	i.Segments = nil
	size := 0
	for _, s := range segments {
		if last := len(i.Segments) - 1; last >= 0 {
			if before := &i.Segments[last]; before.Address+uint32(len(before.Bytes)) > s.Address {
				return nil, &ImageError{What: "two parts that lie over each other", Got: fmt.Sprintf("address %#x", s.Address), Want: "each byte once"}
			}
		}
		i.add(s.Address, s.Bytes)
		size += len(s.Bytes)
	}
	if size == 0 {
		return nil, &ImageError{What: "content", Got: "none", Want: "code"}
	}
	return i, nil
}

// Size is how many bytes of flash the image takes.
func (i *Image) Size() int {
	size := 0
	for _, s := range i.Segments {
		size += len(s.Bytes)
	}
	return size
}

// Holds reports whether an address is in the image.
func (i *Image) Holds(address uint32) bool {
	for _, s := range i.Segments {
		if address >= s.Address && address < s.Address+uint32(len(s.Bytes)) {
			return true
		}
	}
	return false
}

// Landmarks are the symbols by which two builds of a firmware are told apart: main and the interrupt routines.
func (i *Image) Landmarks() []Symbol {
	var found []Symbol
	for _, s := range i.Symbols {
		if s.Name == "main" || strings.HasPrefix(s.Name, "__vector_") {
			found = append(found, s)
		}
	}
	return found
}

// Function names the function at an address, as "name+0x12"; empty when the image has no symbol for it.
func (i *Image) Function(address uint32) string {
	k := sort.Search(len(i.Symbols), func(k int) bool { return i.Symbols[k].Address > address }) - 1
	for ; k >= 0; k-- {
		if s := i.Symbols[k]; s.Size == 0 && s.Address == address || address < s.Address+s.Size {
			if offset := address - s.Address; offset > 0 {
				return fmt.Sprintf("%s+%#x", s.Name, offset)
			}
			return s.Name
		} else if s.Size > 0 {
			break
		}
	}
	return ""
}
