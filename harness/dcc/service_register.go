package dcc

import "strconv"

// PageRegister is the register that holds the page: 6, RRR = 101 (S-9.2.3 E, July 2012).
const PageRegister = 6

// Register verifies or writes a register of a decoder in service mode: 0111CRRR DDDDDDDD (S-9.2.3 E, July 2012).
// Register 1 is the same packet for the register method, the paged method and the address-only method, and only the
// page register tells which is meant, so Decode gives Register for all three.
type Register struct {
	Write    bool
	Register int // 1..8, on the track 000..111
	Value    byte
}

// Packet encodes the instruction.
func (i Register) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i Register) AppendPacket(dst []byte) ([]byte, error) {
	if err := checkRange("register", i.Register, 1, 8); err != nil {
		return dst, err
	}
	return appendSealed(dst, 0x70|flag(i.Write, 8)|byte(i.Register-1), i.Value), nil
}

func (i Register) String() string {
	text := "register " + strconv.Itoa(i.Register) + serviceOperation(i.Write) + strconv.Itoa(int(i.Value))
	switch {
	case i.Register == PageRegister && i.Write:
		first, _ := PagedCV(i.Value, 1)
		return text + " (page of CV " + strconv.Itoa(first) + "-" + strconv.Itoa(first+3) + ")"
	case i.Register == PageRegister:
		return text + " (page)"
	case i.Register == 1 && i.Value <= MaxShort:
		return text + " (register, paged or address-only)"
	case i.Register <= 4:
		return text + " (register or paged)"
	}
	return text + " (register)"
}

func serviceOperation(write bool) string {
	if write {
		return " write "
	}
	return " verify "
}

// AddressOnly verifies or writes the short address of a decoder in service mode: 0111C000 0DDDDDDD (S-9.2.3 E,
// July 2012). On the track it is Register 1, and Decode gives that.
type AddressOnly struct {
	Write   bool
	Address int // 0..127
}

// Packet encodes the instruction.
func (i AddressOnly) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i AddressOnly) AppendPacket(dst []byte) ([]byte, error) {
	if err := checkRange("short address", i.Address, 0, MaxShort); err != nil {
		return dst, err
	}
	return appendSealed(dst, 0x70|flag(i.Write, 8), byte(i.Address)), nil
}

func (i AddressOnly) String() string {
	return "address" + serviceOperation(i.Write) + strconv.Itoa(i.Address) + " (address-only)"
}

// PagePreset sets the page register to 1: 01111101 00000001 (S-9.2.3 E, July 2012).
type PagePreset struct{}

// Packet encodes the instruction.
func (i PagePreset) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i PagePreset) AppendPacket(dst []byte) ([]byte, error) {
	return append(dst, 0x7d, 0x01, 0x7c), nil
}

func (i PagePreset) String() string { return "page preset" }

// FactoryReset gives a decoder in service mode its factory values: 01111111 00001000, which is writing 8 to register 8
// (S-9.2.3 E, July 2012).
type FactoryReset struct{}

// Packet encodes the instruction.
func (i FactoryReset) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i FactoryReset) AppendPacket(dst []byte) ([]byte, error) {
	return append(dst, 0x7f, 0x08, 0x77), nil
}

func (i FactoryReset) String() string { return "factory reset" }

// registerCVs are the CVs behind the registers 1..8 of a locomotive decoder; register 6 is the page (S-9.2.3 E, July 2012).
var registerCVs = [...]int{1, 2, 3, 4, 29, 0, 7, 8}

// RegisterCV returns the CV behind a register, 1..8, of a locomotive decoder; ok is false for the page register and for
// registers that do not exist.
func RegisterCV(register int) (cv int, ok bool) {
	if register < 1 || register > len(registerCVs) || register == PageRegister {
		return 0, false
	}
	return registerCVs[register-1], true
}

// CVRegister returns the register in which the register method finds a CV; ok is false for CVs that it cannot reach.
func CVRegister(cv int) (register int, ok bool) {
	for r, c := range registerCVs {
		if c == cv && c != 0 {
			return r + 1, true
		}
	}
	return 0, false
}

// CVPage returns where the paged method finds a CV, 1..1024: the value of the page register and the data register 1..4,
// with CV = (page-1)·4 + register (S-9.2.3 E, July 2012; RRR there counts from 0). CV1021..CV1024 are on page 256, which
// the register can hold only as 0; the standard does not say so, nothing else is possible.
func CVPage(cv int) (page byte, register int, err error) {
	if err := checkCV(cv); err != nil {
		return 0, 0, err
	}
	return byte((cv-1)/4 + 1), (cv-1)%4 + 1, nil
}

// PagedCV returns the CV in a data register, 1..4, of a page.
func PagedCV(page byte, register int) (cv int, err error) {
	if err := checkRange("data register", register, 1, 4); err != nil {
		return 0, err
	}
	return int(page-1)*4 + register, nil
}
