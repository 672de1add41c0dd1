package audit

import "bufferstop/harness/dcc"

// wrongAccessory reads 10AAAAAA and what follows; the length tells the forms apart, S-9.2.1 D and footnote 9 (July 2012).
func (e editions) wrongAccessory(p dcc.Packet) string {
	second := p[1]
	basic := second&0x80 != 0
	switch len(p) {
	case 3: // 1AAACDDD, all bits in use; 0AAA1AAT does nothing, RCN-213, from memory
		if basic || second&0x08 != 0 && !e.oldAspects {
			return ""
		}
	case 4: // 0AAA0AA1 000XXXXX, or all eight bits
		switch {
		case basic || second&0x09 != 0x01:
		case e.oldAspects && p[2]&0xe0 != 0:
			return "aspect above 31"
		default:
			return ""
		}
	case 5: // 0AAA11VV VVVVVVVV DDDDDDDD, the old form of access to CVs: S-9.2.1, appendix A
		if second&0x8c == 0x0c {
			return ""
		}
	case 6: // 1AAACDDD or 0AAA0AA1, and the long form of access to CVs
		output := second & 0x0f
		switch {
		case basic && output != 0 && output&0x08 == 0: // CDDD: one output with C set, or 0000 for the whole decoder
		case !basic && second&0x09 != 0x01:
		case p[2]&0xf0 != 0xe0:
		case p[2]&0x0c == 0 && e.oldAccess:
			return "reserved access to CVs, CC=00"
		case p[2]&0x0c == 0x08 && p[4]>>5 != 7:
			return "bit of a CV without its three leading ones"
		default:
			return ""
		}
	}
	return "reserved accessory packet"
}
