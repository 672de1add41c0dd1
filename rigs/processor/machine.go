//go:build simavr

package processor

/*
#cgo CFLAGS: -O2 -Wall -Wextra
#cgo LDFLAGS: -lsimavr
#include <stdlib.h>
#include "machine.h"
*/
import "C"

import (
	"errors"
	"fmt"
	"slices"
	"unsafe"
)

// Simulator says which simulator is built in; empty for none.
const Simulator = "simavr"

// A Machine is a simulated microcontroller. It is used by one goroutine at a time; several machines are independent of each
// other. Time is its cycles, from 0 when it gets its supply.
type Machine struct{ c *C.machine }

// Config says which machine.
type Config struct {
	// MCU is the processor's name, as the compiler has it.
	MCU string
	// Clock is in hertz.
	Clock int64
	// Millivolts is the supply, and so the converter's reference.
	Millivolts uint32
	// UART is the number of the serial port.
	UART int
	// Watch has the letters of the ports whose changes are recorded, such as "ACG".
	Watch string
	// Bare leaves everything away but the receiving end of the serial port: the measure of what the rest costs. Such a
	// machine is run by RunBare.
	Bare bool
}

// Reason says why a run of the machine ended.
type Reason int

// Why a run ends.
const (
	AtTime     Reason = C.RUN_TIME    // at the cycle asked for
	Changed    Reason = C.RUN_CHANGES // there are many changes to be taken, or there is one: see StopAtChanges
	Converting Reason = C.RUN_CONVERT // the converter samples Channel: see Converted
	ByteSent   Reason = C.RUN_SENT    // there are bytes to be taken
	Stopped    Reason = C.RUN_STOPPED // the processor does nothing more: see State
)

// State says how the processor is.
type State int

// How a processor can be.
const (
	Runs          State = C.MACHINE_RUNS
	SleepsForEver State = C.MACHINE_SLEEPS_FOR_EVER // with interrupts off
	Crashed       State = C.MACHINE_CRASHED
	Invalid       State = C.MACHINE_INVALID // it met what is no instruction
	RanOff        State = C.MACHINE_RAN_OFF // it left the image
)

// A Change is that of a watched port. Value is what its pins do: 1 for one that is driven high; one that is no output counts as
// low, as a pull-down makes it.
type Change struct {
	Cycle uint64
	Port  byte // 'A' and up
	Value byte
	// More says that the next change belongs to the same event: a reset makes inputs of all pins at once.
	More bool
}

// Sent is a byte that was sent, with the cycle at which its start bit began.
type Sent struct {
	Cycle uint64
	Byte  byte
}

// New builds a processor with its flash erased, at the instant at which it gets its supply. What does not exist is *Lacks.
func New(c Config) (*Machine, error) {
	mcu, watch := C.CString(c.MCU), C.CString(c.Watch)
	defer C.free(unsafe.Pointer(mcu))
	defer C.free(unsafe.Pointer(watch))
	var trouble C.machine_trouble
	var port C.char
	m := C.machine_new(mcu, C.uint32_t(c.Clock), C.uint32_t(c.Millivolts), watch, C.char('0'+c.UART), truth(c.Bare), &trouble, &port)
	if m != nil {
		return &Machine{m}, nil
	}
	switch trouble {
	case C.NO_PROCESSOR:
		return nil, &Lacks{MCU: c.MCU, Processor: true}
	case C.NO_UART:
		return nil, &Lacks{MCU: c.MCU, UART: c.UART}
	case C.NO_PORT:
		return nil, &Lacks{MCU: c.MCU, Port: byte(port)}
	}
	return nil, errors.New("no memory for a processor")
}

func truth(b bool) C.int {
	if b {
		return 1
	}
	return 0
}

// Processors are the names of all that the simulator knows.
func Processors() (names []string) {
	for i := 0; ; i++ {
		name := C.machine_processor(C.int(i))
		if name == nil {
			slices.Sort(names)
			return slices.Compact(names)
		}
		names = append(names, C.GoString(name))
	}
}

// Free ends the machine and its trace. Nothing else may be asked of it afterwards; a second Free does nothing.
func (m *Machine) Free() {
	if m.c != nil {
		C.machine_free(m.c)
		m.c = nil
	}
}

// HasChannel tells whether the processor has this channel of a converter.
func (m *Machine) HasChannel(channel int) bool {
	return C.machine_has_channel(m.c, C.int(channel)) != 0
}

// Flash writes an image into the flash, and into the EEPROM what the image has for it. What is too large is an *ImageError.
func (m *Machine) Flash(i *Image) error {
	for _, s := range i.Segments {
		if err := m.flash(s.Address, s.Bytes); err != nil {
			return err
		}
	}
	return m.SetEEPROM(i.EEPROM)
}

func (m *Machine) flash(address uint32, bytes []byte) error {
	if size := int(C.machine_flash_size(m.c)); int(address)+len(bytes) > size {
		return &ImageError{What: "size", Got: fmt.Sprintf("code up to byte %d", int(address)+len(bytes)),
			Want: fmt.Sprintf("at most the %d bytes that the flash of the processor has", size), Hint: "is it the image of another processor?"}
	}
	if len(bytes) > 0 && C.machine_load(m.c, (*C.uint8_t)(&bytes[0]), C.uint32_t(len(bytes)), C.uint32_t(address)) == 0 {
		return errors.New("no memory for the image")
	}
	return nil
}

// EEPROM is what is in the EEPROM.
func (m *Machine) EEPROM() []byte {
	bytes := make([]byte, C.machine_eeprom_size(m.c))
	if len(bytes) > 0 {
		C.machine_eeprom_get(m.c, (*C.uint8_t)(&bytes[0]), C.int(len(bytes)))
	}
	return bytes
}

// SetEEPROM writes the EEPROM from its start on. What is too large is an *ImageError.
func (m *Machine) SetEEPROM(bytes []byte) error {
	if size := int(C.machine_eeprom_size(m.c)); len(bytes) > size {
		return &ImageError{What: "EEPROM", Got: fmt.Sprintf("%d bytes", len(bytes)), Want: fmt.Sprintf("at most the %d of the processor", size)}
	}
	if len(bytes) > 0 {
		C.machine_eeprom_set(m.c, (*C.uint8_t)(&bytes[0]), C.int(len(bytes)))
	}
	return nil
}

// Run runs to the cycle until, or to what ends it before. It ends between two instructions, and so may end some cycles late.
func (m *Machine) Run(until uint64, stopWhenSent bool) Reason {
	return Reason(C.machine_run(m.c, C.uint64_t(until), truth(stopWhenSent)))
}

// StopAtChanges has runs end as soon as a watched port has changed, for those who have to act on it before anything else.
func (m *Machine) StopAtChanges() { C.machine_stop_at_changes(m.c) }

// RunBare runs a bare machine to the cycle until.
func (m *Machine) RunBare(until uint64) { C.machine_run_bare(m.c, C.uint64_t(until)) }

// SetPin has a pin driven from outside, high or low from this cycle on, also when that falls within an instruction: an
// input capture takes the count of that very cycle. Nothing that comes from outside needs to be told in order, but it must not
// lie before the cycle to which the machine was last asked to run.
func (m *Machine) SetPin(cycle uint64, p Pin, high bool) error {
	if C.machine_set_pin(m.c, C.uint64_t(cycle), C.char(p.Port), C.int(p.Bit), truth(high)) == 0 {
		return fmt.Errorf("pin %v: the processor has none, or there is no memory", p)
	}
	return nil
}

// Receive has a character arrive complete at the serial port at this cycle.
func (m *Machine) Receive(cycle uint64, b byte) {
	if C.machine_receive(m.c, C.uint64_t(cycle), C.uint8_t(b)) == 0 {
		panic("processor: no memory for a character")
	}
}

// Converted says what the channel sees that the converter samples.
func (m *Machine) Converted(millivolts uint32) { C.machine_converted(m.c, C.uint32_t(millivolts)) }

// Channel is the channel of the converter for which the last run ended, and SampledAt the cycle of the sample.
func (m *Machine) Channel() int { return int(C.machine_channel(m.c)) }

// SampledAt is the cycle at which the converter takes the sample for which the last run ended; Cycle may be a few later.
func (m *Machine) SampledAt() uint64 { return uint64(C.machine_sampled_at(m.c)) }

// Changes appends the changes of the watched ports that have gathered.
func (m *Machine) Changes(into []Change) []Change {
	var n C.int
	p := C.machine_changes(m.c, &n)
	for _, c := range unsafe.Slice(p, int(n)) {
		into = append(into, Change{uint64(c.cycle), byte(c.port), byte(c.value), c.more != 0})
	}
	return into
}

// SentBytes appends the bytes that were sent.
func (m *Machine) SentBytes(into []Sent) []Sent {
	var n C.int
	p := C.machine_sent_bytes(m.c, &n)
	for _, s := range unsafe.Slice(p, int(n)) {
		into = append(into, Sent{uint64(s.cycle), byte(s.byte)})
	}
	return into
}

// A Traced is a pin with its name in a trace.
type Traced struct {
	Name string
	Pin  Pin
}

// Trace has the simulator write its own trace of pins, outputs and inputs, into a VCD file until the machine is freed.
func (m *Machine) Trace(file string, pins []Traced) error {
	name := C.CString(file)
	defer C.free(unsafe.Pointer(name))
	if C.machine_trace(m.c, name) == 0 {
		return fmt.Errorf("the trace %s cannot be begun: there is one already, or no memory", file)
	}
	for _, p := range pins {
		name := C.CString(p.Name)
		added := C.machine_trace_pin(m.c, C.char(p.Pin.Port), C.int(p.Pin.Bit), name) != 0
		C.free(unsafe.Pointer(name))
		if !added {
			return fmt.Errorf("the trace %s: pin %v: the processor has none, or there are too many", file, p.Pin)
		}
	}
	if C.machine_trace_start(m.c) == 0 {
		return fmt.Errorf("the trace %s cannot be written", file)
	}
	return nil
}

// Cycle is the present cycle.
func (m *Machine) Cycle() uint64 { return uint64(C.machine_cycle(m.c)) }

// At is the address of the last instruction in bytes, and Next that of the next one.
func (m *Machine) At() uint32 { return uint32(C.machine_at(m.c)) }

// Next is the address of the next instruction in bytes.
func (m *Machine) Next() uint32 { return uint32(C.machine_next(m.c)) }

// Data is a byte of data memory, registers and RAM, as it is now; 0 beyond its end. Nothing happens by looking at it.
func (m *Machine) Data(address uint32) byte { return byte(C.machine_data(m.c, C.uint32_t(address))) }

// StackPointer is the processor's.
func (m *Machine) StackPointer() uint32 { return uint32(C.machine_sp(m.c)) }

// Resets counts how often the processor started anew by itself, as by its watchdog.
func (m *Machine) Resets() int { return int(C.machine_resets(m.c)) }

// Log is what the simulator last complained of.
func (m *Machine) Log() string { return C.GoString(C.machine_log(m.c)) }

// State says how the processor is.
func (m *Machine) State() State { return State(C.machine_state(m.c)) }
