package simulated

import "fmt"

// errorCode says why the station did not do what it was asked to. The reference language tells it as it is here; another
// language has words of its own for some.
type errorCode int

// The codes. Negative ones are those of SCPI-1999; positive ones are the station's own.
const (
	noError           errorCode = 0
	syntaxError       errorCode = -102
	dataTypeError     errorCode = -104
	parameterExcess   errorCode = -108
	missingParameter  errorCode = -109
	undefinedHeader   errorCode = -113
	settingsConflict  errorCode = -221
	outOfRange        errorCode = -222
	illegalParameter  errorCode = -224
	outOfMemory       errorCode = -225
	queueOverflow     errorCode = -350
	inputOverrun      errorCode = -363
	noAcknowledge     errorCode = 110
	trackTripped      errorCode = 120
	errorQueueEntries           = 16
)

var errorTexts = map[errorCode]string{
	noError:          "No error",
	syntaxError:      "Syntax error",
	dataTypeError:    "Data type error",
	parameterExcess:  "Parameter not allowed",
	missingParameter: "Missing parameter",
	undefinedHeader:  "Undefined header",
	settingsConflict: "Settings conflict",
	outOfRange:       "Data out of range",
	illegalParameter: "Illegal parameter value",
	outOfMemory:      "Out of memory",
	queueOverflow:    "Queue overflow",
	inputOverrun:     "Input buffer overrun",
	noAcknowledge:    "No acknowledge",
	trackTripped:     "Track tripped",
}

func (c errorCode) String() string { return fmt.Sprintf("%d,%q", int(c), errorTexts[c]) }
