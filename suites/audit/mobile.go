package audit

// The instructions to locomotive decoders, CCCxxxxx: S-9.2.1 C (July 2012). Each reader is given what is left of a packet, error byte left
// out, and tells how many bytes its instruction has, or what is wrong.

// wrongMobile reads the instructions one after the other.
func (e editions) wrongMobile(b []byte, first byte) string {
	if len(b) == 0 {
		return "no instruction"
	}
	var control, advanced, access bool
	for len(b) > 0 {
		// At most one of each of these kinds, S-9.2.1 C; the acknowledge request 00001111 does not count.
		had := false
		switch b[0] >> 5 {
		case 0:
			if b[0] != 0x0f {
				had, control = control, true
			}
		case 1:
			had, advanced = advanced, true
		case 7:
			had, access = access, true
		}
		if had {
			return "two instructions of a kind of which a packet has one"
		}
		n, why := e.mobileInstruction(b, first)
		if why != "" {
			return why
		}
		if n > len(b) {
			return "instruction cut short"
		}
		b = b[n:]
	}
	return ""
}

// mobileInstruction reads one.
func (e editions) mobileInstruction(b []byte, first byte) (n int, why string) {
	switch b[0] >> 5 {
	case 0:
		return e.control(b)
	case 1:
		return e.advancedOperation(b)
	case 2, 3, 4, 5: // 01DCSSSS speed, 100DDDDD F0-F4, 101SDDDD F5-F12: one byte, all bits in use
		return 1, ""
	case 6:
		return e.expansion(b, first)
	}
	return e.access(b, first)
}

// control reads 0000CCCF, decoder control, and 0001xxxx, consists.
func (e editions) control(b []byte) (int, string) {
	switch b[0] >> 1 {
	case 0b0000000, 0b0000101, 0b0000111: // reset; CV29 bit 5; acknowledge request
		return 1, ""
	case 0b0000001:
		return 0, "factory test, which no command station sends"
	case 0b0000011: // flags: what stands behind them only the end of the packet tells
		return len(b), ""
	case 0b0001001: // 0001001D 0AAAAAAA
		if len(b) > 1 && b[1] > 127 {
			return 0, "consist address with its highest bit set"
		}
		return 2, ""
	}
	return 0, "reserved control instruction"
}

// advancedOperation reads 001xxxxx.
func (e editions) advancedOperation(b []byte) (int, string) {
	switch b[0] & 0x1f {
	case 0b11111: // DSSSSSSS
		return 2, ""
	case 0b11110: // restricted speed: bit 7 enables, bits 0 to 5 are the speed, bit 6 is not in use
		if len(b) > 1 && b[1]&0x40 != 0 {
			return 0, "restricted speed with its bit 6 set"
		}
		return 2, ""
	case 0b11101: // analog function
		return 3, ""
	case 0b11100: // speed and functions together, RCN-212, from memory: one byte of functions or more
		if !e.oldFunctions {
			return max(3, len(b)), ""
		}
	}
	return 0, "reserved advanced operation"
}

// expansion reads 110xxxxx.
func (e editions) expansion(b []byte, first byte) (int, string) {
	switch b[0] & 0x1f {
	case 0b00000: // binary states, long form
		return 3, ""
	case 0b11101, 0b11110, 0b11111: // binary states, short form; F13-F20; F21-F28
		return 2, ""
	case 0b11000, 0b11001, 0b11010, 0b11011, 0b11100: // F29 to F68, RCN-212, from memory; reserved in 2012
		if !e.oldFunctions {
			return 2, ""
		}
	case 0b00001, 0b00010: // time and date, to all: RCN-211, from memory
		switch {
		case e.oldSystem:
		case first != 0:
			return 0, "system command to one decoder"
		case b[0]&0x1f == 0b00010:
			return 3, ""
		case len(b) > 1 && b[1]&0xc0 != 0 && b[1]&0xe0 != 0x40: // 00MMMMMM time, 010TTTTT date
			return 0, "reserved system command"
		default:
			return 4, ""
		}
	}
	return 0, "reserved feature expansion"
}

// access reads 1110CCVV VVVVVVVV DDDDDDDD, the long form of access to CVs, and 1111CCCC, the short one.
func (e editions) access(b []byte, first byte) (int, string) {
	if b[0]&0x10 == 0 {
		switch b[0] >> 2 & 3 {
		case 0: // RCN-217 uses it, from memory, in forms of several lengths
			if e.oldAccess {
				return 0, "reserved access to CVs, CC=00"
			}
			return max(2, len(b)), ""
		case 2:
			if len(b) > 2 && b[2]>>5 != 7 { // 111CDBBB
				return 0, "bit of a CV without its three leading ones"
			}
		}
		return 3, ""
	}
	switch b[0] & 0x0f {
	case 0b0010, 0b0011: // CV23, CV24
		return 2, ""
	case 0b0100, 0b0101: // CV17 and CV18, CV31 and CV32: RCN-214, from memory
		if !e.oldAccess {
			return 3, ""
		}
	case 0b1001: // S-9.2.3, appendices A and B (2012): query of an address of 1 to 111, or lock 0AAAAAAA to all
		switch {
		case first == 0 && len(b) == 2 && b[1] <= 127:
			return 2, ""
		case first >= 1 && first <= 111 && len(b) == 1:
			return 1, ""
		}
		return 0, "neither address query nor decoder lock"
	}
	return 0, "reserved short form of access to CVs"
}
