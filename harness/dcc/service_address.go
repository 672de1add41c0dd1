package dcc

// serviceCode is the short form of CV access that service mode uses: 1111CCCC with CCCC = 1001 (S-9.2.1 C, July 2012).
const serviceCode = 0xf9

// MaxQueryAddress is the highest address that can be asked for; the ones above are service-mode packets themselves
// (S-9.2.3, appendix A, July 2012).
const MaxQueryAddress = 111

// AddressQuery asks whether the decoder on the programming track has a short address: AAAAAAAA 11111001
// (S-9.2.3, appendix A, July 2012).
type AddressQuery struct{ Address Address } // short, 1..111

// Packet encodes the instruction.
func (i AddressQuery) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i AddressQuery) AppendPacket(dst []byte) ([]byte, error) {
	if i.Address.Long {
		return dst, &ConflictError{"address query", "the address " + i.Address.String(), "a short address"}
	}
	if err := checkRange("address query", int(i.Address.Number), 1, MaxQueryAddress); err != nil {
		return dst, err
	}
	return appendSealed(dst, byte(i.Address.Number), serviceCode), nil
}

func (i AddressQuery) String() string { return i.Address.loco() + "address query" }

// DecoderLock shuts every decoder but one out of service mode, until they hear another valid packet:
// 00000000 11111001 0AAAAAAA (S-9.2.3, appendix B, July 2012).
type DecoderLock struct{ Address Address } // of the decoder that stays open: short, 0..127, 0 being none

// Packet encodes the instruction.
func (i DecoderLock) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i DecoderLock) AppendPacket(dst []byte) ([]byte, error) {
	if i.Address.Long {
		return dst, &ConflictError{"decoder lock", "the address " + i.Address.String(), "a short address"}
	}
	if err := i.Address.Check(); err != nil {
		return dst, err
	}
	return appendSealed(dst, 0, serviceCode, byte(i.Address.Number)), nil
}

func (i DecoderLock) String() string {
	if i.Address == Broadcast {
		return "decoder lock, all locos"
	}
	return "decoder lock, all but loco " + i.Address.String()
}
