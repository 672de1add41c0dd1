package processor

import "fmt"

// A Pin is a pin of a port.
type Pin struct {
	Port byte // 'A' and up
	Bit  int
}

// String is the name that data sheets use, such as PB3.
func (p Pin) String() string { return fmt.Sprintf("P%c%d", p.Port, p.Bit) }

// Lacks says what there is not: a processor of the name, or a part of it.
type Lacks struct {
	MCU       string
	Processor bool // the simulator knows none of the name
	Port      byte // it has no port of this letter
	UART      int  // it has no serial port of this number
}

// Error is one line.
func (l *Lacks) Error() string {
	switch {
	case l.Processor:
		return fmt.Sprintf("the simulator knows no processor %+q", l.MCU)
	case l.Port != 0:
		return fmt.Sprintf("the %s has no port %c", l.MCU, l.Port)
	}
	return fmt.Sprintf("the %s has no serial port %d", l.MCU, l.UART)
}
