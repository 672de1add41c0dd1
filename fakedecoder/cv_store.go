package fakedecoder

import (
	"fmt"
	"time"
)

const lastCV = 1024 // a direct-mode CV number has 10 bits (S-9.2.3 E, July 2012)

// Numbers of the CVs whose value the decoder itself heeds (S-9.2.2, July 2012).
const (
	cvPrimaryAddress  = 1
	cvVersion         = 7
	cvManufacturer    = 8
	cvLock            = 15
	cvLockID          = 16
	cvLongAddressHigh = 17
	cvLongAddressLow  = 18
	cvConsist         = 19
	cvConsistF1F8     = 21
	cvConsistF0F9F12  = 22
	cvAcceleration    = 23
	cvDeceleration    = 24
	cvConfiguration   = 29
	cvIndexHigh       = 31
	cvIndexLow        = 32
)

// Bits of CV29 (S-9.2.2, July 2012).
const (
	cv29Direction       = 1 << 0
	cv29Steps28         = 1 << 1
	cv29PowerConversion = 1 << 2
	cv29SpeedTable      = 1 << 4
	cv29LongAddress     = 1 << 5

	// A bit of a feature that the decoder lacks must not be settable (S-9.2.2, July 2012): no bi-directional
	// communication, no accessory decoder.
	cv29Settable = cv29Direction | cv29Steps28 | cv29PowerConversion | cv29SpeedTable | cv29LongAddress
)

const (
	factoryReset          = 8   // the value that, written to CV8, asks for the factory's values (S-9.2.3 E, July 2012)
	factoryResetUnderWay  = 255 // what CV8 reads until they are there (same place)
	homemadeManufacturer  = 13  // home-built decoders in the list of manufacturer ids; from memory
	decoderVersion        = 1   // invented
	longAddressHighLowest = 192
	longAddressHighLast   = 231
)

// A cvStore is the non-volatile memory of a decoder.
type cvStore struct {
	values   [lastCV + 1]byte // by CV number
	readOnly [lastCV + 1]bool
	// writeOnly CVs are those of which no verify is acknowledged.
	writeOnly [lastCV + 1]bool
	lock      LockRule
	// long is the long address in effect: CV17 counts only once CV18 is written (S-9.2.1 C footnote 8, July 2012).
	long uint16
	// resetting: CV8=8 was written and the power cycle that completes it has not come yet.
	resetting bool
	pending   pendingWrite
}

// A pendingWrite is a write that storage has not finished.
type pendingWrite struct {
	cv    int // zero for none
	value byte
	due   time.Duration
}

// load fills the memory with the factory's values, the configured address and the configured CVs.
func (s *cvStore) load(c *Config) error {
	s.lock = c.Lock
	s.factory()
	for _, cv := range c.ReadOnly {
		s.readOnly[cv] = true
	}
	for _, cv := range c.WriteOnly {
		s.writeOnly[cv] = true
	}
	s.readOnly[cvVersion], s.readOnly[cvManufacturer] = true, true
	switch {
	case c.Address.Long:
		s.values[cvLongAddressHigh] = longAddressHighLowest + byte(c.Address.Number>>8)
		s.values[cvLongAddressLow] = byte(c.Address.Number)
		s.values[cvConfiguration] |= cv29LongAddress
	case c.Address.Number != 0:
		s.values[cvPrimaryAddress] = byte(c.Address.Number)
	}
	for cv, value := range c.CVs {
		if cv < 1 || cv > lastCV {
			return &ConfigError{"CVs", fmt.Sprintf("CV%d", cv), "CV1..CV1024"}
		}
		if !sensible(cv, value) {
			return &ConfigError{"CVs", fmt.Sprintf("CV%d=%d", cv, value), "a value that the CV can hold (S-9.2.2)"}
		}
		s.values[cv] = value
	}
	s.latchLong()
	return nil
}

// factory sets every CV to the factory's value. CVs not named here are 0.
func (s *cvStore) factory() {
	clear(s.values[:])
	s.values[cvPrimaryAddress] = 3
	s.values[cvVersion] = decoderVersion
	s.values[cvManufacturer] = homemadeManufacturer
	s.values[cvLongAddressHigh] = longAddressHighLowest // with CV18: long address 128, invented
	s.values[cvLongAddressLow] = 128
	s.values[cvConfiguration] = cv29Steps28 | cv29PowerConversion
	// Each function drives the output of its own rank, from headlight forward = 1 to F12 = 14 (S-9.2.2, July 2012,
	// CV33 to CV46: three windows of eight outputs that begin at outputs 1, 4 and 7).
	for output := range 14 {
		first := 0
		switch {
		case output >= 10:
			first = 6
		case output >= 5:
			first = 3
		}
		s.values[33+output] = 1 << (output - first)
	}
	s.latchLong()
	s.resetting = false
	s.pending = pendingWrite{}
}

// read is what a CV reads as.
func (s *cvStore) read(cv int) byte {
	if cv == cvManufacturer && s.resetting {
		return factoryResetUnderWay
	}
	return s.values[cv]
}

// locked reports whether CV15 and CV16 close the CV. CV15 itself is the key and stays open.
func (s *cvStore) locked(cv int) bool {
	return s.values[cvLock] != s.values[cvLockID] && cv != cvLock
}

// readable reports whether a verify of the CV gets an answer.
func (s *cvStore) readable(cv int) bool {
	return !s.writeOnly[cv] && (s.lock != LockAll || !s.locked(cv))
}

// writable reports whether the CV takes the value.
func (s *cvStore) writable(cv int, value byte) bool {
	return !s.locked(cv) && !s.readOnly[cv] && sensible(cv, value)
}

// sensible reports whether a CV can hold the value (S-9.2.2, July 2012).
func sensible(cv int, value byte) bool {
	switch cv {
	case cvPrimaryAddress:
		return value <= 127
	case cvLongAddressHigh:
		return value >= longAddressHighLowest && value <= longAddressHighLast
	case cvConfiguration:
		return value&^cv29Settable == 0
	}
	return true
}

// store puts a value into the memory at once, with what the standard couples to it. The caller has asked writable.
func (s *cvStore) store(cv int, value byte) {
	s.values[cv] = value
	switch cv {
	case cvPrimaryAddress:
		// Writing CV1 by any method clears CV29 bit 5 and CV19 (S-9.2.3 E, July 2012).
		s.values[cvConfiguration] &^= cv29LongAddress
		s.values[cvConsist] = 0
	case cvLongAddressLow:
		s.latchLong()
	}
}

// latchLong puts the long address of CV17 and CV18 into effect.
func (s *cvStore) latchLong() {
	s.long = uint16(s.values[cvLongAddressHigh]-longAddressHighLowest)<<8 | uint16(s.values[cvLongAddressLow])
}

// hardReset sets the CVs that a hard reset sets (S-9.2.1 C, July 2012: decoder control).
func (s *cvStore) hardReset() {
	s.values[cvConfiguration] = cv29Steps28 | cv29PowerConversion
	s.values[cvIndexHigh], s.values[cvIndexLow] = 0, 0
	s.values[cvConsist] = 0
}

// settle completes a write whose storage has ended at t, and reports whether it did.
func (s *cvStore) settle(t time.Duration) bool {
	if s.pending.cv == 0 || t < s.pending.due {
		return false
	}
	cv, value := s.pending.cv, s.pending.value
	s.pending = pendingWrite{}
	if cv == cvManufacturer {
		s.resetting = true
	} else {
		s.store(cv, value)
	}
	return true
}

// busy reports whether storage is at work, so that no CV access can be taken.
func (s *cvStore) busy() bool { return s.pending.cv != 0 }

// settle lets what storage has finished by t take effect.
func (d *Decoder) settle(t time.Duration) {
	if d.cvs.pending.cv != 0 && d.cvs.settle(t) {
		d.readdress()
	}
}

// verifyCV reports whether the CV can be read and holds the value.
func (d *Decoder) verifyCV(cv int, value byte) bool {
	return d.cvs.readable(cv) && d.cvs.read(cv) == value
}

// writeCV begins to store the value, which takes until the time returned. It reports false when the CV does not take it.
func (d *Decoder) writeCV(cv int, value byte, t time.Duration) (time.Duration, bool) {
	if !d.cvs.writable(cv, value) {
		return t, false
	}
	return d.beginStorage(cv, value, t), true
}

// resetToFactory begins the factory reset that writing 8 to CV8 asks for (S-9.2.3 E, July 2012).
func (d *Decoder) resetToFactory(t time.Duration) (time.Duration, bool) {
	if d.cvs.locked(cvManufacturer) {
		return t, false
	}
	return d.beginStorage(cvManufacturer, factoryReset, t), true
}

func (d *Decoder) beginStorage(cv int, value byte, t time.Duration) time.Duration {
	done := t + d.config.Storage
	d.cvs.pending = pendingWrite{cv, value, done}
	d.settle(t)
	return done
}
