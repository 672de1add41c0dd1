package station

import (
	"maps"
	"slices"
)

// An Operation is one thing that a station can be asked for. Its text is the name of the table [operation.NAME] in a
// dialect file.
type Operation string

// The operations of a driver.
const (
	Identify     Operation = "identify"
	Reset        Operation = "reset"
	SetPower     Operation = "set_power"
	ReadPower    Operation = "power"
	ReadCurrent  Operation = "current"
	SetSpeed     Operation = "set_speed"
	SetFunction  Operation = "set_function"
	Release      Operation = "release"
	Stop         Operation = "stop"
	StopAll      Operation = "stop_all"
	SetAccessory Operation = "set_accessory"
	SetAspect    Operation = "set_aspect"
	ReadCV       Operation = "read_cv"
	WriteCV      Operation = "write_cv"
	VerifyCV     Operation = "verify_cv"
	WriteBit     Operation = "write_bit"
	WriteOnMain  Operation = "write_on_main"

	ClearAccessory Operation = "clear_accessory"
	SetConsist     Operation = "set_consist"
	ClearConsist   Operation = "clear_consist"
	WriteBitOnMain Operation = "write_bit_on_main"
)

// Operations lists all operations in alphabetical order.
func Operations() []Operation { return slices.Sorted(maps.Keys(operations)) }

// answerKind is what an operation brings back.
type answerKind int

const (
	nothing    answerKind = iota // done is all there is to say
	identity                     // who the station is
	powerState                   // a word of [words.power]
	amount                       // a number in the unit of the operation
	byteValue                    // 0..255
	truth                        // a word of [words.verified]
)

// valueName names a value that a template may use.
type valueName string

const (
	address       valueName = "address" // the number of a locomotive's decoder address
	kind          valueName = "kind"    // short or long
	steps         valueName = "steps"   // 28 or 128
	direction     valueName = "direction"
	step          valueName = "step"     // 0 is stop; 1..28 or 1..126
	function      valueName = "function" // number of the function
	state         valueName = "state"    // of a function: on or off
	power         valueName = "power"    // of a track: on or off
	track         valueName = "track"    // main or programming
	number        valueName = "number"   // of an accessory, as the user counts
	output        valueName = "output"   // of an accessory's pair: 0 or 1
	aspect        valueName = "aspect"   // 0..255
	configuration valueName = "cv"       // number of the configuration variable, from 1
	value         valueName = "value"    // of a CV, or of a bit
	bit           valueName = "bit"      // 0..7
	method        valueName = "method"   // of service mode
	consist       valueName = "consist"  // address of a consist, 1..127
	facing        valueName = "facing"   // of a locomotive in its consist: normal or reversed
	verified      valueName = "verified" // only in answers
)

// definition says which values an operation has for its template, and what it brings back.
type definition struct {
	values  []valueName
	answers answerKind
}

// operations is what a dialect file is checked against.
var operations = map[Operation]definition{
	Identify:     {nil, identity},
	Reset:        {nil, nothing},
	SetPower:     {[]valueName{track, power}, nothing},
	ReadPower:    {[]valueName{track}, powerState},
	ReadCurrent:  {[]valueName{track}, amount},
	SetSpeed:     {[]valueName{address, kind, steps, direction, step}, nothing},
	SetFunction:  {[]valueName{address, kind, function, state}, nothing},
	Release:      {[]valueName{address, kind}, nothing},
	Stop:         {[]valueName{address, kind}, nothing},
	StopAll:      {nil, nothing},
	SetAccessory: {[]valueName{number, output}, nothing},
	SetAspect:    {[]valueName{number, aspect}, nothing},
	ReadCV:       {[]valueName{configuration, method}, byteValue},
	WriteCV:      {[]valueName{configuration, value, method}, nothing},
	VerifyCV:     {[]valueName{configuration, value, method}, truth},
	WriteBit:     {[]valueName{configuration, bit, value, method}, nothing},
	WriteOnMain:  {[]valueName{address, kind, configuration, value}, nothing},

	ClearAccessory: {[]valueName{number, output}, nothing},
	SetConsist:     {[]valueName{address, kind, consist, facing}, nothing},
	ClearConsist:   {[]valueName{address, kind}, nothing},
	WriteBitOnMain: {[]valueName{address, kind, configuration, bit, value}, nothing},
}

// vocabulary says which texts a value has inside the harness: the keys that [words.NAME] may map, and those that it must
// map once a template uses the value. Values that are not listed are decimal numbers and may be mapped freely.
type vocabulary struct{ may, must []string }

var vocabularies = map[valueName]vocabulary{
	kind:      {[]string{"short", "long"}, []string{"short", "long"}},
	direction: {[]string{"forward", "reverse"}, []string{"forward", "reverse"}},
	state:     {[]string{"on", "off"}, []string{"on", "off"}},
	power:     {[]string{"on", "off", "tripped"}, []string{"on", "off"}},
	track:     {[]string{"main", "programming"}, nil},
	method:    {[]string{"direct", "paged", "register", "address", "default"}, nil},
	verified:  {[]string{"true", "false"}, []string{"true", "false"}},
	facing:    {[]string{"normal", "reversed"}, []string{"normal", "reversed"}},
}

// takesWords lists the numeric values for which a words table makes sense.
var takesWords = []valueName{steps, output}
