package probe

import (
	"testing"

	"github.com/sigurn/crc16"
	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

func TestTheChecksumHasTheCheckValueOfTheCatalogue(t *testing.T) {
	// Catalogue of Parametrised CRC Algorithms (G. Cook), entry CRC-16/MCRF4XX: check over "123456789".
	assert.Equal(t, uint16(0x6f91), checksum([]byte("123456789")))
	assert.Equal(t, uint16(0xffff), checksum(nil))
}

func TestTheChecksumIsThatOfAnIndependentImplementation(t *testing.T) {
	table := crc16.MakeTable(crc16.CRC16_MCRF4XX)
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.SliceOf(rapid.Byte()).Draw(t, "bytes")
		assert.Equal(t, crc16.Checksum(p, table), checksum(p))
	})
}

// TestTheChecksumIsThatOfTheCLibrary computes as the documentation of avr-libc's util/crc16.h writes _crc_ccitt_update in C.
func TestTheChecksumIsThatOfTheCLibrary(t *testing.T) {
	update := func(crc uint16, data uint8) uint16 {
		data ^= uint8(crc)
		data ^= data << 4
		return (uint16(data)<<8 | crc>>8) ^ uint16(data>>4) ^ uint16(data)<<3
	}
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.SliceOf(rapid.Byte()).Draw(t, "bytes")
		crc := uint16(0xffff)
		for _, b := range p {
			crc = update(crc, b)
		}
		assert.Equal(t, crc, checksum(p))
	})
}
