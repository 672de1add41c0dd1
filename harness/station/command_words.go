package station

import (
	"strings"
)

// forms are the commands in plain words. Capitals stand for values; what is in brackets may be left out.
var forms = []struct {
	operation Operation
	text      string
}{
	{Identify, "identify"},
	{Reset, "reset"},
	{SetPower, "power TRACK SWITCH"},
	{ReadPower, "power TRACK"},
	{ReadCurrent, "current TRACK"},
	{SetSpeed, "speed ADDRESS DIRECTION STEP of STEPS"},
	{SetFunction, "function ADDRESS FUNCTION STATE"},
	{Release, "release ADDRESS"},
	{StopAll, "stop all"},
	{Stop, "stop ADDRESS"},
	{SetAccessory, "accessory NUMBER OUTPUT"},
	{SetAspect, "aspect NUMBER ASPECT"},
	{ReadCV, "read cv CV [by METHOD]"},
	{WriteCV, "write cv CV VALUE [by METHOD]"},
	{VerifyCV, "verify cv CV VALUE [by METHOD]"},
	{WriteBit, "write bit CV BIT BITVALUE"},
	{WriteOnMain, "write main ADDRESS CV VALUE"},
	{WriteBitOnMain, "write main bit ADDRESS CV BIT BITVALUE"},
	{ClearAccessory, "clear accessory NUMBER OUTPUT"},
	{SetConsist, "consist ADDRESS CONSIST FACING"},
	{ClearConsist, "leave consist ADDRESS"},
}

// A wordKind is what a word in capitals stands for.
type wordKind struct {
	value valueName
	want  string
	words []string // that there are; nil for a number
	most  int      // the largest number
}

// largestNumber is more than any value has: what is out of range is sent, since how a station refuses it is worth knowing.
const largestNumber = 65535

var wordKinds = map[string]wordKind{
	"TRACK":     {track, "main or programming", []string{"main", "programming"}, 0},
	"SWITCH":    {power, "on or off", []string{"on", "off"}, 0},
	"STATE":     {state, "on or off", []string{"on", "off"}, 0},
	"DIRECTION": {direction, "forward or reverse", []string{"forward", "reverse"}, 0},
	"STEP":      {step, "a speed step, 0 to stop", nil, largestNumber},
	"STEPS":     {steps, "28 or 128", []string{"28", "128"}, 0},
	"FUNCTION":  {function, "the number of a function, from 0", nil, largestNumber},
	"NUMBER":    {number, "the number of an accessory", nil, largestNumber},
	"OUTPUT":    {output, "output 0 or 1", []string{"0", "1"}, 0},
	"ASPECT":    {aspect, "the number of an aspect", nil, largestNumber},
	"CV":        {configuration, "the number of a CV, from 1", nil, largestNumber},
	"VALUE":     {value, "a value of 0 to 255", nil, 255},
	"BIT":       {bit, "the number of a bit, 0 to 7", nil, largestNumber},
	"BITVALUE":  {value, "0 or 1", []string{"0", "1"}, 0},
	"METHOD":    {method, "direct, paged, register or address", []string{"direct", "paged", "register", "address"}, 0},
	"CONSIST":   {consist, "the address of a consist, 1 to 127", nil, largestNumber},
	"FACING":    {facing, "normal or reversed", []string{"normal", "reversed"}, 0},
	"ADDRESS":   {address, "an address: 1 to 127, or long 0 to 10239", nil, 0},
}

// CommandForms lists the forms that ParseCommand reads, one for each operation: words in capitals stand for values, and
// what is in brackets may be left out.
func CommandForms() []string {
	all := make([]string, len(forms))
	for i, f := range forms {
		all[i] = shownForm.Replace(f.text)
	}
	return all
}

// shownForm is how forms are shown: a user need not know apart what we have to.
var shownForm = strings.NewReplacer("BITVALUE", "VALUE", "SWITCH", "STATE")

// Words is the command in plain words, as ParseCommand reads them. That of the zero value is empty.
func (c Command) Words() string {
	for _, f := range forms {
		if f.operation != c.operation {
			continue
		}
		var words []string
		required, optional, _ := strings.Cut(f.text, " [")
		if m := c.values[method]; optional != "" && m != "default" && m != "" {
			required += " " + strings.TrimSuffix(optional, "]")
		}
		for _, word := range strings.Fields(required) {
			k, stands := wordKinds[word]
			switch {
			case !stands:
				words = append(words, word)
			case k.value == address && c.values[kind] == "long":
				words = append(words, "long", c.values[address])
			default:
				words = append(words, c.values[k.value])
			}
		}
		return strings.Join(words, " ")
	}
	return ""
}
