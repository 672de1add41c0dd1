package simulated

import "bufferstop/harness/dcc"

// strayDefects put packets on the main track that nobody asked for: bytes of a buffer, of an old protocol, of a test that was left in.
var strayDefects = []Defect{
	{"reserved-first-byte", "now and then a packet with the reserved first byte 245 takes the place of an idle packet",
		[]string{"PKT-005"},
		strays(dcc.Seal(245, 0))},
	{"reserved-instruction", "now and then a control instruction that does not exist, 00010100, goes to address 111",
		[]string{"PKT-006"},
		strays(dcc.Seal(111, 0b00010100))},
	{"long-form-of-a-low-state", "binary state 5 of address 111 is switched by the long form of the instruction",
		[]string{"PKT-007"},
		strays(dcc.Seal(111, 0b11000000, 0x85, 0))},
	{"address-after-reset", "now and then a reset of all decoders is followed at once by a packet to address 105",
		[]string{"PKT-008"},
		strays(dcc.Seal(0, 0), stopOf(105))},
	{"service-address-after-reset", "now and then a reset of the decoder at address 108 is followed by a packet to address 120 as the sixth",
		[]string{"PKT-009"},
		strays(dcc.Seal(108, 0), nil, nil, nil, nil, nil, stopOf(120))},
	{"twice-to-a-service-address", "now and then address 120 gets two packets with nothing between them",
		[]string{"PKT-010", "PKT-011"},
		strays(stopOf(120), stopOf(120))},
	{"twice-to-one-address", "now and then address 106 gets two packets with nothing between them",
		[]string{"PKT-011"},
		strays(stopOf(106), stopOf(106))},
	{"advanced-packet-without-crc", "now and then a packet of eight bytes of the partition 253 goes out, with a wrong CRC",
		[]string{"PKT-012"},
		strays(dcc.Seal(253, 1, 2, 3, 4, 5, 0))},
}

// stopOf stops one locomotive: 28 steps, forward.
func stopOf(address byte) dcc.Packet { return dcc.Seal(address, 0b01100000) }

// strays puts packets in the place of idle ones that follow each other, now and then; nil leaves an idle one. None of them comes before
// the power-up sequence has long been over.
func strays(packets ...dcc.Packet) func(*settings) {
	return flaw(func(f *flaws) {
		f.stray = func(idle int) dcc.Packet {
			if place := idle % (3 * spoilEvery); idle > settled && place < len(packets) {
				return packets[place]
			}
			return nil
		}
	})
}
