package dcc

import "fmt"

// A RangeError says that a value has no place in a packet.
type RangeError struct {
	What     string // the value's name
	Got      int
	Min, Max int
}

func (e *RangeError) Error() string {
	return fmt.Sprintf("dcc: %s: got %d, want %d..%d", e.What, e.Got, e.Min, e.Max)
}

// A ConflictError says that two values, each of them possible, do not go together in one packet.
type ConflictError struct {
	Instruction string // what was to be encoded
	Got, Want   string
}

func (e *ConflictError) Error() string {
	return fmt.Sprintf("dcc: %s: got %s, want %s", e.Instruction, e.Got, e.Want)
}

func checkRange(what string, got, min, max int) error {
	if got < min || got > max {
		return &RangeError{What: what, Got: got, Min: min, Max: max}
	}
	return nil
}

func checkCV(cv int) error { return checkRange("CV", cv, 1, MaxCV) }

func checkBit(bit int, value byte) error {
	if err := checkRange("bit", bit, 0, 7); err != nil {
		return err
	}
	return checkRange("value of a bit", int(value), 0, 1)
}
