package probe

// CRC-16/MCRF4XX: polynomial x^16 + x^12 + x^5 + 1 reflected (0x8408), initial value 0xffff, no final exclusive or. Name
// and check value are those of the Catalogue of Parametrised CRC Algorithms (G. Cook), entry CRC-16/MCRF4XX. It is what
// _crc_ccitt_update of the C library for 8-bit AVR microcontrollers computes, which is why it is taken.
const (
	crcPolynomial = 0x8408
	crcInitial    = 0xffff
)

var crcTable = func() (table [256]uint16) {
	for i := range table {
		crc := uint16(i)
		for range 8 {
			if crc&1 != 0 {
				crc = crc>>1 ^ crcPolynomial
			} else {
				crc >>= 1
			}
		}
		table[i] = crc
	}
	return table
}()

// checksum is the CRC over p.
func checksum(p []byte) uint16 {
	crc := uint16(crcInitial)
	for _, b := range p {
		crc = crc>>8 ^ crcTable[byte(crc)^b]
	}
	return crc
}
