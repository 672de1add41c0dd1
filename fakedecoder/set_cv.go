package fakedecoder

// SetCV puts a value into a CV, 1..1024, as if it had been programmed elsewhere before: at once, without a packet and
// without an acknowledge, also into read-only and locked CVs, and without what a write is coupled to (CV1 leaves CV19 and
// CV29 alone). Other numbers, and values that the CV cannot hold (S-9.2.2, July 2012), are ignored.
func (d *Decoder) SetCV(cv int, value byte) {
	if cv < 1 || cv > lastCV || !sensible(cv, value) {
		return
	}
	d.settle(d.now)
	d.cvs.values[cv] = value
	if cv == cvLongAddressHigh || cv == cvLongAddressLow {
		d.cvs.latchLong()
	}
	d.readdress()
}
