package station

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"bufferstop/harness/dcc"
	"bufferstop/harness/written"
)

// A Command is an operation with its values, ready to be sent by Driver.Send and Driver.Flood. The zero value is none.
type Command struct {
	operation Operation
	values    map[valueName]string
	address   *dcc.Address
}

// Operation is what the command asks for.
func (c Command) Operation() Operation { return c.operation }

// String names the operation and its values, in the order of the table in ParseDialect.
func (c Command) String() string {
	var out strings.Builder
	out.WriteString(string(c.operation))
	for _, name := range operations[c.operation].values {
		if v := c.values[name]; v != "" && (name != kind || v == "long") {
			fmt.Fprintf(&out, " %s=%s", name, v)
		}
	}
	return out.String()
}

// Value is one of the command's values in the harness's words, by the name that it has in ParseDialect: "main", "forward",
// "128". It is empty for a value that the operation does not have.
func (c Command) Value(name string) string { return c.values[valueName(name)] }

// newCommand makes a command of values as texts. All that the operation has must be there.
func newCommand(o Operation, values map[valueName]string) (Command, error) {
	c := Command{operation: o}
	for _, name := range operations[o].values {
		v := values[name]
		if may := vocabularies[name].may; may != nil {
			if !slices.Contains(may, v) {
				return Command{}, fmt.Errorf("%s is no %s", written.Quote(v), name)
			}
		} else {
			n, err := strconv.Atoi(v)
			if err != nil {
				return Command{}, fmt.Errorf("%s is no number for %s", written.Quote(v), name)
			}
			if name == value && (n < 0 || n > 255) {
				return Command{}, fmt.Errorf("value %d: want 0 to 255", n)
			}
			v = strconv.Itoa(n)
		}
		if c.values == nil {
			c.values = map[valueName]string{}
		}
		c.values[name] = v
	}
	if v, ok := c.values[address]; ok {
		n, _ := strconv.Atoi(v)
		a := dcc.Address{Number: uint16(n), Long: c.values[kind] == "long"}
		if n < 0 || n > dcc.MaxLong || a.Check() != nil {
			return Command{}, fmt.Errorf("there is no %s address %d", c.values[kind], n)
		}
		c.address = &a
	}
	return c, nil
}

// IdentifyCommand asks who the station is.
func IdentifyCommand() Command { return Command{operation: Identify} }

// ResetCommand puts the station into the state of its start.
func ResetCommand() Command { return Command{operation: Reset} }

// SetPowerCommand switches a track.
func SetPowerCommand(t Track, on bool) Command {
	return Command{operation: SetPower, values: map[valueName]string{track: string(t), power: onOff(on)}}
}

// PowerCommand asks for the state of a track.
func PowerCommand(t Track) Command {
	return Command{operation: ReadPower, values: map[valueName]string{track: string(t)}}
}

// CurrentCommand asks for the current of a track.
func CurrentCommand(t Track) Command {
	return Command{operation: ReadCurrent, values: map[valueName]string{track: string(t)}}
}

// SetSpeedCommand sets the speed of a locomotive; step 0 is a stop with the decoder's deceleration.
func SetSpeedCommand(a dcc.Address, s dcc.Steps, d dcc.Direction, speedStep int) Command {
	text := "reverse"
	if d == dcc.Forward {
		text = "forward"
	}
	return toDecoder(SetSpeed, a, map[valueName]string{steps: strconv.Itoa(int(s)), direction: text, step: strconv.Itoa(speedStep)})
}

// SetFunctionCommand switches a function of a locomotive.
func SetFunctionCommand(a dcc.Address, n int, on bool) Command {
	return toDecoder(SetFunction, a, map[valueName]string{function: strconv.Itoa(n), state: onOff(on)})
}

// ReleaseCommand ends the control of a locomotive.
func ReleaseCommand(a dcc.Address) Command { return toDecoder(Release, a, map[valueName]string{}) }

// StopCommand is the emergency stop of one locomotive.
func StopCommand(a dcc.Address) Command { return toDecoder(Stop, a, map[valueName]string{}) }

// StopAllCommand is the emergency stop of all locomotives.
func StopAllCommand() Command { return Command{operation: StopAll} }

// SetAccessoryCommand activates an output, 0 or 1, of an accessory's pair.
func SetAccessoryCommand(accessory, pairOutput int) Command {
	return Command{operation: SetAccessory, values: map[valueName]string{number: strconv.Itoa(accessory), output: strconv.Itoa(pairOutput)}}
}

// SetAspectCommand shows an aspect on an extended accessory.
func SetAspectCommand(accessory, shown int) Command {
	return Command{operation: SetAspect, values: map[valueName]string{number: strconv.Itoa(accessory), aspect: strconv.Itoa(shown)}}
}

// ReadCVCommand reads a CV in service mode.
func ReadCVCommand(cv int, m Method) Command {
	return Command{operation: ReadCV, values: map[valueName]string{configuration: strconv.Itoa(cv), method: methodText(m)}}
}

// WriteCVCommand writes a CV in service mode.
func WriteCVCommand(cv int, v byte, m Method) Command {
	return Command{operation: WriteCV, values: map[valueName]string{configuration: strconv.Itoa(cv), value: byteText(v), method: methodText(m)}}
}

// VerifyCVCommand compares a CV with a value in service mode.
func VerifyCVCommand(cv int, v byte, m Method) Command {
	return Command{operation: VerifyCV, values: map[valueName]string{configuration: strconv.Itoa(cv), value: byteText(v), method: methodText(m)}}
}

// WriteBitCommand writes one bit of a CV in service mode.
func WriteBitCommand(cv, position int, set bool) Command {
	return Command{operation: WriteBit, values: map[valueName]string{
		configuration: strconv.Itoa(cv), bit: strconv.Itoa(position), value: zeroOne(set), method: methodText("")}}
}

// WriteOnMainCommand writes a CV of one decoder on the main track.
func WriteOnMainCommand(a dcc.Address, cv int, v byte) Command {
	return toDecoder(WriteOnMain, a, map[valueName]string{configuration: strconv.Itoa(cv), value: byteText(v)})
}

// WriteBitOnMainCommand writes one bit of a CV of one decoder on the main track.
func WriteBitOnMainCommand(a dcc.Address, cv, position int, set bool) Command {
	return toDecoder(WriteBitOnMain, a, map[valueName]string{
		configuration: strconv.Itoa(cv), bit: strconv.Itoa(position), value: zeroOne(set)})
}

// ClearAccessoryCommand switches off an output, 0 or 1, of an accessory's pair.
func ClearAccessoryCommand(accessory, pairOutput int) Command {
	return Command{operation: ClearAccessory, values: map[valueName]string{number: strconv.Itoa(accessory), output: strconv.Itoa(pairOutput)}}
}

// SetConsistCommand puts a locomotive into a consist.
func SetConsistCommand(a dcc.Address, consistAddress int, reversed bool) Command {
	way := "normal"
	if reversed {
		way = "reversed"
	}
	return toDecoder(SetConsist, a, map[valueName]string{consist: strconv.Itoa(consistAddress), facing: way})
}

// ClearConsistCommand takes a locomotive out of its consist.
func ClearConsistCommand(a dcc.Address) Command {
	return toDecoder(ClearConsist, a, map[valueName]string{})
}

func toDecoder(o Operation, a dcc.Address, values map[valueName]string) Command {
	values[address] = strconv.Itoa(int(a.Number))
	values[kind] = "short"
	if a.Long {
		values[kind] = "long"
	}
	return Command{operation: o, values: values, address: &a}
}

func onOff(on bool) string {
	if on {
		return "on"
	}
	return "off"
}

func zeroOne(set bool) string {
	if set {
		return "1"
	}
	return "0"
}

func byteText(v byte) string { return strconv.Itoa(int(v)) }

func methodText(m Method) string {
	if m == "" {
		return "default"
	}
	return string(m)
}
