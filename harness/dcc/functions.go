package dcc

import (
	"strconv"
	"strings"
)

// MaxFunction is the highest function that a function group reaches. S-9.2.1 C (July 2012) ends at F28; the groups
// from F29 on are later and written here from memory.
const MaxFunction = 68

// A FunctionGroup is the functions that one instruction sets together.
type FunctionGroup uint8

// The function groups. F0 is the headlight, FL in the standard.
const (
	F0F4 FunctionGroup = iota
	F5F8
	F9F12
	F13F20
	F21F28
	F29F36
	F37F44
	F45F52
	F53F60
	F61F68
)

// functionGroups: a group of at most five functions is one byte, code with the states in its low bits; a group of eight
// is the code and a byte of states. S-9.2.1 C (July 2012) up to F28; RCN-212 from F29, from memory.
var functionGroups = [...]struct {
	first, last int
	code        byte
}{
	F0F4:   {0, 4, 0x80},
	F5F8:   {5, 8, 0xb0},
	F9F12:  {9, 12, 0xa0},
	F13F20: {13, 20, 0xde},
	F21F28: {21, 28, 0xdf},
	F29F36: {29, 36, 0xd8},
	F37F44: {37, 44, 0xd9},
	F45F52: {45, 52, 0xda},
	F53F60: {53, 60, 0xdb},
	F61F68: {61, 68, 0xdc},
}

// GroupOf returns the group that sets a function, 0..68, and the function's bit in Functions.States.
func GroupOf(function int) (g FunctionGroup, bit int, err error) {
	if err := checkRange("function", function, 0, MaxFunction); err != nil {
		return 0, 0, err
	}
	for g := range functionGroups {
		if f := functionGroups[g]; function <= f.last {
			return FunctionGroup(g), function - f.first, nil
		}
	}
	panic("dcc: the function groups do not reach MaxFunction")
}

// First is the lowest function of the group, -1 when there is no such group.
func (g FunctionGroup) First() int {
	if g.check() != nil {
		return -1
	}
	return functionGroups[g].first
}

// Last is the highest function of the group, -1 when there is no such group.
func (g FunctionGroup) Last() int {
	if g.check() != nil {
		return -1
	}
	return functionGroups[g].last
}

// String names the group by its functions, such as F0-F4.
func (g FunctionGroup) String() string {
	if g.check() != nil {
		return "function group " + strconv.Itoa(int(g))
	}
	return functionRange(g.First(), g.Last())
}

func (g FunctionGroup) check() error {
	return checkRange("function group", int(g), 0, len(functionGroups)-1)
}

// Functions sets the functions of one group. Bit 0 of States is the lowest function of the group also for F0-F4, where
// the standard puts F0 into bit 4: the codec sees to that.
type Functions struct {
	Address Address
	Group   FunctionGroup
	States  uint8
}

// Packet encodes the instruction.
func (i Functions) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i Functions) AppendPacket(dst []byte) ([]byte, error) {
	b, err := i.body()
	return appendMobile(dst, i.Address, b, err)
}

func (i Functions) recipient() Address { return i.Address }

func (i Functions) body() (body, error) {
	if err := i.Group.check(); err != nil {
		return body{}, err
	}
	f := functionGroups[i.Group]
	if err := checkRange("function states", int(i.States), 0, 1<<(f.last-f.first+1)-1); err != nil {
		return body{}, err
	}
	switch {
	case i.Group == F0F4:
		return body1(f.code | i.States&1<<4 | i.States>>1), nil
	case i.Group <= F9F12:
		return body1(f.code | i.States), nil
	}
	return body2(f.code, i.States), nil
}

func (i Functions) String() string {
	if i.Group.check() != nil {
		return i.Address.loco() + i.Group.String()
	}
	return i.Address.loco() + functionStates(i.Group.First(), i.Group.Last(), uint32(i.States))
}

// functionStates names each function that is on by itself, so that a search for it finds it, and those that are off in
// ranges: F0 on, F1-F4 off. Bit 0 of states belongs to the function first.
func functionStates(first, last int, states uint32) string {
	var text []string
	for f := first; f <= last; f++ {
		if states>>(f-first)&1 == 1 {
			text = append(text, "F"+strconv.Itoa(f)+" on")
		}
	}
	for f := first; f <= last; f++ {
		if states>>(f-first)&1 == 1 {
			continue
		}
		from := f
		for f < last && states>>(f+1-first)&1 == 0 {
			f++
		}
		text = append(text, functionRange(from, f)+" off")
	}
	return strings.Join(text, ", ")
}

func functionRange(first, last int) string {
	if first == last {
		return "F" + strconv.Itoa(first)
	}
	return "F" + strconv.Itoa(first) + "-F" + strconv.Itoa(last)
}
