package fakedecoder

import "time"

// Registers with a meaning of their own, as RRR (S-9.2.3 E, July 2012). 000 to 011 are the data registers.
const (
	registerConfiguration = 4
	registerPage          = 5
	registerVersion       = 6
	registerManufacturer  = 7
)

// register carries out 0111CRRR DDDDDDDD, which the address-only, physical register and paged methods share: they differ
// only in what the page register holds (S-9.2.3 E, July 2012).
func (d *Decoder) register(b []byte, end time.Duration) (time.Duration, bool) {
	write := b[0]&8 != 0
	page := int(d.service.page)
	if page == 0 {
		page = 256 // the only way to CV1021..CV1024; the standard does not say so
	}
	r := int(b[0] & 7)
	if r == registerPage {
		if write {
			d.service.page = b[1]
			return end, !d.config.NoWriteAcknowledge
		}
		return end, b[1] == d.service.page
	}
	if d.config.NoPagedMode && page != 1 {
		return end, false
	}
	var cv int
	switch r {
	case registerConfiguration:
		cv = cvConfiguration
	case registerVersion:
		cv = cvVersion
	case registerManufacturer:
		cv = cvManufacturer
	default:
		cv = (page-1)*4 + r + 1
	}
	return d.access(cv, b[1], write, end)
}
