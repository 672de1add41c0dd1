package dcc

import "strconv"

// A Numbering is how a station makes a raw 11-bit address out of the number by which its user knows an accessory.
// S-9.2.2 (July 2012), text of table 3, contradicts itself here: for the same CV1 = 1, CV9 = 0 its output formula gives
// the raw address 0 and its decoder method the decoder 1, raw address 4. So a station declares which it uses.
type Numbering uint8

// The two numberings.
const (
	// FirstIsRawFour shows the raw address 4 as number 1, and the raw addresses 0..3 at the end of the range as
	// 2041..2044 (RCN-213, July 2015, as quoted by others).
	FirstIsRawFour Numbering = iota
	// FirstIsRawZero shows the raw address 0 as number 1: the output formula of S-9.2.2 (July 2012).
	FirstIsRawZero
)

// MaxAccessoryNumber is the highest number of either numbering: 511 decoders of four pairs, since the 512th address is
// that of all decoders.
const MaxAccessoryNumber = 4 * (MaxAccessoryDecoder + 1)

func (n Numbering) String() string {
	switch n {
	case FirstIsRawFour:
		return "first is raw 4"
	case FirstIsRawZero:
		return "first is raw 0"
	}
	return "numbering " + strconv.Itoa(int(n))
}

// Raw returns the raw address, 0..2043, behind a user's number, 1..2044.
func (n Numbering) Raw(number int) (uint16, error) {
	if err := checkRange("numbering", int(n), 0, int(FirstIsRawZero)); err != nil {
		return 0, err
	}
	if err := checkRange("accessory number", number, 1, MaxAccessoryNumber); err != nil {
		return 0, err
	}
	if n == FirstIsRawFour {
		return uint16((number + 3) % MaxAccessoryNumber), nil
	}
	return uint16(number - 1), nil
}

// NumberOf returns the user's number of a raw address, or 0 when it has none: 2044..2046 can be told only to extended
// accessory decoders, and no numbering of ours reaches them.
func (n Numbering) NumberOf(raw uint16) int {
	switch {
	case raw >= MaxAccessoryNumber || n > FirstIsRawZero:
		return 0
	case n == FirstIsRawZero:
		return int(raw) + 1
	case raw < 4:
		return MaxAccessoryNumber - 3 + int(raw)
	}
	return int(raw) - 3
}

// Accessory returns the instruction that switches the output, 0 or 1, of the accessory with the user's number 1..2044.
func (n Numbering) Accessory(number int, output int, activate bool) (Accessory, error) {
	raw, err := n.Raw(number)
	if err != nil {
		return Accessory{}, err
	}
	if err := checkRange("accessory output", output, 0, 1); err != nil {
		return Accessory{}, err
	}
	return Accessory{Decoder: raw >> 2, Pair: uint8(raw & 3), Output: uint8(output), Activate: activate}, nil
}

// Aspect returns the instruction that shows an aspect on the extended accessory with the user's number 1..2044.
func (n Numbering) Aspect(number int, aspect byte) (AccessoryAspect, error) {
	raw, err := n.Raw(number)
	if err != nil {
		return AccessoryAspect{}, err
	}
	return AccessoryAspect{Address: raw, Aspect: aspect}, nil
}

// Number is the user's number of a basic accessory, 0 when it has none.
func (n Numbering) Number(a Accessory) int { return n.NumberOf(a.Raw()) }

// AspectNumber is the user's number of an extended accessory, 0 when it has none.
func (n Numbering) AspectNumber(a AccessoryAspect) int { return n.NumberOf(a.Address) }

// numbersText names an accessory in both numberings, so that a user who knows its number finds it.
func numbersText(raw uint16) string {
	if raw >= MaxAccessoryNumber {
		return ""
	}
	return " (accessory " + strconv.Itoa(FirstIsRawFour.NumberOf(raw)) +
		", or " + strconv.Itoa(FirstIsRawZero.NumberOf(raw)) + " counted from raw 0)"
}
