package dcc

import "fmt"

// The system commands speak to all decoders at once, with the address 0 (RCN-211 4.3; all of this file from memory).

// ModelTime tells the time of the layout: 11000001 00MMMMMM WWWHHHHH U0BBBBBB.
type ModelTime struct {
	Weekday int // 0..6 from Monday, 7 = not told
	Hour    int // 0..23
	Minute  int // 0..59
	Changed bool
	Factor  int // 0..63, how much faster than real time; 0 = the clock stands
}

// Packet encodes the instruction.
func (i ModelTime) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i ModelTime) AppendPacket(dst []byte) ([]byte, error) {
	b, err := i.body()
	return appendMobile(dst, Broadcast, b, err)
}

func (i ModelTime) recipient() Address { return Broadcast }

func (i ModelTime) body() (body, error) {
	if err := checkRange("weekday", i.Weekday, 0, 7); err != nil {
		return body{}, err
	}
	if err := checkRange("hour", i.Hour, 0, 23); err != nil {
		return body{}, err
	}
	if err := checkRange("minute", i.Minute, 0, 59); err != nil {
		return body{}, err
	}
	err := checkRange("clock factor", i.Factor, 0, 63)
	return body4(0xc1, byte(i.Minute), byte(i.Weekday<<5|i.Hour), flag(i.Changed, 0x80)|byte(i.Factor)), err
}

func (i ModelTime) String() string {
	return fmt.Sprintf("model time %02d:%02d, weekday %d, factor %d", i.Hour, i.Minute, i.Weekday, i.Factor) + changed(i.Changed)
}

func changed(set bool) string {
	if set {
		return ", changed"
	}
	return ""
}

// ModelDate tells the date of the layout: 11000001 010TTTTT MMMMYYYY YYYYYYYY.
type ModelDate struct {
	Year  int // 0..4095
	Month int // 1..12
	Day   int // 1..31
}

// Packet encodes the instruction.
func (i ModelDate) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i ModelDate) AppendPacket(dst []byte) ([]byte, error) {
	b, err := i.body()
	return appendMobile(dst, Broadcast, b, err)
}

func (i ModelDate) recipient() Address { return Broadcast }

func (i ModelDate) body() (body, error) {
	if err := checkRange("day", i.Day, 1, 31); err != nil {
		return body{}, err
	}
	if err := checkRange("month", i.Month, 1, 12); err != nil {
		return body{}, err
	}
	err := checkRange("year", i.Year, 0, 4095)
	return body4(0xc1, 0x40|byte(i.Day), byte(i.Month<<4|i.Year>>8), byte(i.Year)), err
}

func (i ModelDate) String() string {
	return fmt.Sprintf("model date %04d-%02d-%02d", i.Year, i.Month, i.Day)
}

// SystemTime tells the milliseconds since the station started, modulo 65536: 11000010 and 16 bits, high byte first.
type SystemTime struct{ Milliseconds uint16 }

// Packet encodes the instruction.
func (i SystemTime) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i SystemTime) AppendPacket(dst []byte) ([]byte, error) {
	b, err := i.body()
	return appendMobile(dst, Broadcast, b, err)
}

func (i SystemTime) recipient() Address { return Broadcast }

func (i SystemTime) body() (body, error) {
	return body3(0xc2, byte(i.Milliseconds>>8), byte(i.Milliseconds)), nil
}

func (i SystemTime) String() string { return fmt.Sprintf("system time %d ms", i.Milliseconds) }
