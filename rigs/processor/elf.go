package processor

import (
	"bytes"
	"debug/elf"
	"encoding/binary"
	"fmt"
	"sort"
)

// What bounds the reader of ELF files: more than any linker writes for a small processor. Our own choice.
const (
	mostSegments = 1 << 8
	mostSymbols  = 1 << 16
	longestName  = 1 << 10
)

// parseELF reads what the linker says is to be loaded, and the names of the functions. The reader of the standard library
// copies the name of every symbol and opens compressed sections, which a hostile file makes terabytes of; its constants and
// types are used here.
func parseELF(data []byte) (*Image, error) {
	bad := func(what, got, want string) error { return &ImageError{What: what, Got: got, Want: want} }
	var header elf.Header32
	if len(data) < binary.Size(header) {
		return nil, bad("ELF file", fmt.Sprintf("%d bytes", len(data)), "a whole header")
	}
	if elf.Class(data[elf.EI_CLASS]) != elf.ELFCLASS32 || elf.Data(data[elf.EI_DATA]) != elf.ELFDATA2LSB {
		return nil, &ImageError{What: "processor of the ELF file", Got: "one of other words or another order of bytes", Want: elf.EM_AVR.String(),
			Hint: "was it built for the computer, and not for the station?"}
	}
	read(data, &header)
	if machine := elf.Machine(header.Machine); machine != elf.EM_AVR {
		return nil, &ImageError{What: "processor of the ELF file", Got: machine.String(), Want: elf.EM_AVR.String(),
			Hint: "was it built for the computer, and not for the station?"}
	}
	if elf.Type(header.Type) != elf.ET_EXEC {
		return nil, &ImageError{What: "kind of the ELF file", Got: elf.Type(header.Type).String(), Want: elf.ET_EXEC.String(),
			Hint: "an object file is not linked yet"}
	}
	programs, err := table[elf.Prog32](data, header.Phoff, header.Phentsize, header.Phnum, mostSegments)
	if err != nil {
		return nil, bad("segments of the ELF file", err.Error(), "a table that is there")
	}
	image := new(Image)
	total := 0
	for _, p := range programs {
		if elf.ProgType(p.Type) != elf.PT_LOAD || p.Filesz == 0 {
			continue
		}
		content, err := stretchOf(data, p.Off, p.Filesz)
		if err != nil {
			return nil, bad("segment", err.Error(), "all of its bytes")
		}
		if total += len(content); total > largest {
			return nil, bad("segments", fmt.Sprintf("%d bytes", total), fmt.Sprintf("at most %d", largest))
		}
		// The physical address is where the bytes are flashed: initial values of memory are in flash.
		switch {
		case p.Paddr < memorySpace:
			if p.Paddr+p.Filesz > largest {
				return nil, bad("segment", fmt.Sprintf("address %#x", p.Paddr), "one in the flash")
			}
			image.Segments = append(image.Segments, Segment{p.Paddr, bytes.Clone(content)})
		case p.Paddr >= eepromSpace && p.Paddr < fuseSpace:
			from := int(p.Paddr - eepromSpace)
			if from+len(content) > fuseSpace-eepromSpace {
				return nil, bad("segment", fmt.Sprintf("address %#x", p.Paddr), "one in the EEPROM")
			}
			for len(image.EEPROM) < from+len(content) {
				image.EEPROM = append(image.EEPROM, 0xFF) // erased
			}
			copy(image.EEPROM[from:], content)
		}
	}
	if image.Symbols, err = functions(data, &header); err != nil {
		return nil, bad("symbols of the ELF file", err.Error(), "some, or none")
	}
	return image.ordered()
}

// functions lists the functions of the symbol table, in ascending order of address.
func functions(data []byte, header *elf.Header32) (found []Symbol, err error) {
	sections, err := table[elf.Section32](data, header.Shoff, header.Shentsize, header.Shnum, 1<<16)
	if err != nil {
		return nil, err
	}
	for _, s := range sections {
		if elf.SectionType(s.Type) != elf.SHT_SYMTAB {
			continue
		}
		if s.Link >= uint32(len(sections)) {
			return nil, fmt.Errorf("names in section %d of %d", s.Link, len(sections))
		}
		names, err := stretchOf(data, sections[s.Link].Off, sections[s.Link].Size)
		if err != nil {
			return nil, err
		}
		content, err := stretchOf(data, s.Off, s.Size)
		if err != nil {
			return nil, err
		}
		for ; len(content) >= elf.Sym32Size && len(found) < mostSymbols; content = content[elf.Sym32Size:] {
			var symbol elf.Sym32
			read(content, &symbol)
			if elf.ST_TYPE(symbol.Info) == elf.STT_FUNC && symbol.Value < memorySpace && symbol.Name < uint32(len(names)) {
				name := names[symbol.Name:min(len(names), int(symbol.Name)+longestName)]
				if end := bytes.IndexByte(name, 0); end >= 0 {
					name = name[:end]
				}
				found = append(found, Symbol{string(name), symbol.Value, symbol.Size})
			}
		}
		break // there is one
	}
	sort.SliceStable(found, func(i, j int) bool { return found[i].Address < found[j].Address })
	return found, nil
}

// table reads a table of headers.
func table[T any](data []byte, offset uint32, size, count uint16, most int) ([]T, error) {
	var element T
	if count == 0 {
		return nil, nil
	}
	if int(size) != binary.Size(element) || int(count) > most {
		return nil, fmt.Errorf("%d headers of %d bytes", count, size)
	}
	content, err := stretchOf(data, offset, uint32(size)*uint32(count))
	if err != nil {
		return nil, err
	}
	all := make([]T, count)
	read(content, all)
	return all, nil
}

// stretchOf is a stretch of a file.
func stretchOf(data []byte, offset, size uint32) ([]byte, error) {
	if end := uint64(offset) + uint64(size); end > uint64(len(data)) {
		return nil, fmt.Errorf("bytes %d to %d of a file of %d", offset, end, len(data))
	}
	return data[offset : offset+size], nil
}

// read fills a value of a fixed size from the beginning of bytes that are enough.
func read(data []byte, into any) {
	if _, err := binary.Decode(data, binary.LittleEndian, into); err != nil {
		panic(err) // only when the caller has not looked
	}
}
