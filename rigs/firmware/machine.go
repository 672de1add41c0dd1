//go:build simavr

package firmware

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
	"strconv"
	"strings"
	"unsafe"

	"bufferstop/harness/signal"
	"bufferstop/harness/written"
)

// machine is a simulated microcontroller with the image in its flash.
type machine struct{ c *C.machine }

// reason says why a run of the machine ended.
type reason int

const (
	atTime     reason = C.RUN_TIME
	edgesFull  reason = C.RUN_EDGES
	converting reason = C.RUN_CONVERT
	byteSent   reason = C.RUN_SENT
	stopped    reason = C.RUN_STOPPED
)

// state says how the processor is.
type state int

const (
	sleepsForEver state = C.MACHINE_SLEEPS_FOR_EVER
	crashed       state = C.MACHINE_CRASHED
	invalid       state = C.MACHINE_INVALID
	ranOff        state = C.MACHINE_RAN_OFF
)

// edge and sent are what the machine has done, with the cycle at which it did it.
type edge struct {
	cycle  uint64
	output int
	level  signal.Level
}

type sent struct {
	cycle uint64
	byte  byte
}

// levels of machine.h as those of harness/signal.
var levels = [...]signal.Level{C.LEVEL_OFF: signal.Off, C.LEVEL_POSITIVE: signal.Positive, C.LEVEL_NEGATIVE: signal.Negative}

// newMachine builds the processor of a firmware file, with its flash erased. What the processor does not have is a
// *written.Error.
func newMachine(f *File) (*machine, error) {
	if len(f.Outputs) > C.OUTPUTS_MOST {
		return nil, f.problem("firmware.output", fmt.Sprintf("%d outputs", len(f.Outputs)), fmt.Sprintf("at most %d", C.OUTPUTS_MOST), "")
	}
	mcu := C.CString(f.MCU)
	defer C.free(unsafe.Pointer(mcu))
	outputs := make([]C.machine_output, len(f.Outputs), len(f.Outputs)+1)
	for i, o := range f.Outputs {
		outputs[i] = C.machine_output{
			direction: pin(o.Direction), enable: pin(o.Enable), brake: pin(o.Brake),
			positive: pin(o.Positive), negative: pin(o.Negative),
		}
	}
	var trouble C.machine_trouble
	var port C.char
	c := C.machine_new(mcu, C.uint32_t(f.Clock), C.uint32_t(f.SupplyMillivolts), unsafe.SliceData(outputs), C.int(len(outputs)),
		C.char('0'+f.UART), &trouble, &port)
	if c == nil {
		return nil, f.lacks(trouble, byte(port))
	}
	m := &machine{c}
	for i, o := range f.Outputs {
		if o.Channel >= 0 && C.machine_has_channel(c, C.int(o.Channel)) == 0 {
			m.free()
			return nil, f.problem(fmt.Sprintf("firmware.output[%d].sense", i), fmt.Sprintf("ADC%d", o.Channel),
				"a channel of the converter of the "+f.MCU, "a processor without a converter has none")
		}
	}
	return m, nil
}

// problem is a problem with the value at a path of the file.
func (f *File) problem(path, got, want, hint string) error {
	if f.document == nil {
		return &written.Error{File: f.Name, What: path, Got: got, Want: want, Hint: hint}
	}
	return f.document.Problem(path, got, want, hint)
}

// lacks words what a processor does not have, or that there is none of the name.
func (f *File) lacks(trouble C.machine_trouble, port byte) error {
	switch trouble {
	case C.NO_MEMORY:
		return errors.New("no memory for a processor")
	case C.NO_PROCESSOR:
		return f.problem("firmware.mcu", written.Quote(f.MCU), "a processor that the simulator knows",
			"it knows "+strings.Join(processors(), ", "))
	case C.NO_UART:
		return f.problem("firmware.uart.index", strconv.Itoa(f.UART), "a serial port of the "+f.MCU, "")
	}
	for i, o := range f.Outputs {
		for _, p := range []struct {
			key string
			pin Pin
		}{{"direction", o.Direction}, {"enable", o.Enable}, {"brake", o.Brake}, {"positive", o.Positive}, {"negative", o.Negative}} {
			if p.pin.Port == port {
				return f.problem(fmt.Sprintf("firmware.output[%d].%s", i, p.key), fmt.Sprintf("port %c", port), "a port of the "+f.MCU, "")
			}
		}
	}
	return fmt.Errorf("the %s has no port %c", f.MCU, port)
}

// processors are the names of all that the simulator knows.
func processors() (names []string) {
	for i := 0; ; i++ {
		name := C.machine_processor(C.int(i))
		if name == nil {
			slices.Sort(names)
			return slices.Compact(names)
		}
		names = append(names, C.GoString(name))
	}
}

func pin(p Pin) C.machine_pin {
	c := C.machine_pin{port: C.char(p.Port), bit: C.uint8_t(p.Bit)}
	if p.Inverted {
		c.inverted = 1
	}
	return c
}

func (m *machine) free() { C.machine_free(m.c) }

// load writes a part of the image into the flash.
func (m *machine) load(address uint32, bytes []byte) error {
	if size := int(C.machine_flash_size(m.c)); int(address)+len(bytes) > size {
		return &ImageError{What: "size", Got: fmt.Sprintf("code up to byte %d", int(address)+len(bytes)),
			Want: fmt.Sprintf("at most the %d bytes that the flash of the processor has", size), Hint: "is it the image of another processor?"}
	}
	if len(bytes) > 0 && C.machine_load(m.c, (*C.uint8_t)(&bytes[0]), C.uint32_t(len(bytes)), C.uint32_t(address)) == 0 {
		return errors.New("no memory for the image")
	}
	return nil
}

func (m *machine) eeprom() []byte {
	bytes := make([]byte, C.machine_eeprom_size(m.c))
	if len(bytes) > 0 {
		C.machine_eeprom_get(m.c, (*C.uint8_t)(&bytes[0]), C.int(len(bytes)))
	}
	return bytes
}

func (m *machine) setEEPROM(bytes []byte) error {
	if size := int(C.machine_eeprom_size(m.c)); len(bytes) > size {
		return &ImageError{What: "EEPROM", Got: fmt.Sprintf("%d bytes", len(bytes)), Want: fmt.Sprintf("at most the %d of the processor", size)}
	}
	if len(bytes) > 0 {
		C.machine_eeprom_set(m.c, (*C.uint8_t)(&bytes[0]), C.int(len(bytes)))
	}
	return nil
}

// run runs to the cycle until, or to what ends it before.
func (m *machine) run(until uint64, stopWhenSent bool) reason {
	var stop C.int
	if stopWhenSent {
		stop = 1
	}
	return reason(C.machine_run(m.c, C.uint64_t(until), stop))
}

// runBare runs a machine without outputs to the cycle until.
func (m *machine) runBare(until uint64) { C.machine_run_bare(m.c, C.uint64_t(until)) }

// trace has the simulator write its own trace of the pins into a file until the machine is freed.
func (m *machine) trace(file string) error {
	name := C.CString(file)
	defer C.free(unsafe.Pointer(name))
	if C.machine_trace(m.c, name) == 0 {
		return fmt.Errorf("the trace %s cannot be written", file)
	}
	return nil
}

func (m *machine) converted(millivolts uint32) { C.machine_converted(m.c, C.uint32_t(millivolts)) }
func (m *machine) receive(b byte)              { C.machine_receive(m.c, C.uint8_t(b)) }
func (m *machine) cycle() uint64               { return uint64(C.machine_cycle(m.c)) }
func (m *machine) at() uint32                  { return uint32(C.machine_at(m.c)) }
func (m *machine) next() uint32                { return uint32(C.machine_next(m.c)) }
func (m *machine) stackPointer() uint32        { return uint32(C.machine_sp(m.c)) }
func (m *machine) channel() int                { return int(C.machine_channel(m.c)) }
func (m *machine) resets() int                 { return int(C.machine_resets(m.c)) }
func (m *machine) log() string                 { return C.GoString(C.machine_log(m.c)) }
func (m *machine) state() state                { return state(C.machine_state(m.c)) }

// edges appends the edges that have gathered.
func (m *machine) edges(into []edge) []edge {
	var n C.int
	p := C.machine_edges(m.c, &n)
	for _, e := range unsafe.Slice(p, int(n)) {
		into = append(into, edge{uint64(e.cycle), int(e.output), levels[e.level]})
	}
	return into
}

// sentBytes appends the bytes that were sent.
func (m *machine) sentBytes(into []sent) []sent {
	var n C.int
	p := C.machine_sent_bytes(m.c, &n)
	for _, s := range unsafe.Slice(p, int(n)) {
		into = append(into, sent{uint64(s.cycle), byte(s.byte)})
	}
	return into
}
