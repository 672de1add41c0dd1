//go:build simavr

package firmware

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"bufferstop/harness/signal"
	"bufferstop/harness/written"
	"bufferstop/rigs/processor"
)

// A Board is the processor of a firmware file with an image in it, from one supply to the next.
type Board struct {
	Machine *processor.Machine
	image   *processor.Image
	pins    pins
	changes []processor.Change
	first   bool // nothing has been told yet
}

// An Edge is a change of an output of a board.
type Edge struct {
	Cycle  uint64
	Output int // in the order of the file
	Level  signal.Level
}

// NewBoard builds the processor with the image in its flash, at the instant at which it gets its supply. In its EEPROM is what was
// kept, or with nil what the image has for it. What the processor does not have is a *written.Error, what is too large for it a
// *processor.ImageError.
func NewBoard(f *File, image *processor.Image, kept []byte) (*Board, error) {
	m, err := newMachine(f)
	if err != nil {
		return nil, err
	}
	err = m.Flash(image)
	if err == nil && kept != nil {
		err = m.SetEEPROM(kept)
	}
	if err != nil {
		m.Free()
		return nil, err
	}
	return &Board{Machine: m, image: image, pins: powered(f.Outputs), first: true}, nil
}

// Edges appends the edges of the outputs that have gathered, in order of time.
func (b *Board) Edges(into []Edge) []Edge {
	if b.first { // without an enable pin there is power from the first instant on
		b.first = false
		into = b.pins.look(0, into)
	}
	b.changes = b.Machine.Changes(b.changes[:0])
	for _, c := range b.changes {
		if b.pins.change(c) {
			into = b.pins.look(c.Cycle, into)
		}
	}
	return into
}

// newMachine builds the processor of a firmware file, with its flash erased. What the processor does not have is a
// *written.Error.
func newMachine(f *File) (*processor.Machine, error) {
	m, err := processor.New(processor.Config{
		MCU: f.MCU, Clock: f.Clock, Millivolts: uint32(f.SupplyMillivolts), UART: f.UART, Watch: f.ports(),
	})
	var lacks *processor.Lacks
	if errors.As(err, &lacks) {
		return nil, f.lacks(lacks)
	}
	if err != nil {
		return nil, err
	}
	for i, o := range f.Outputs {
		if o.Channel >= 0 && !m.HasChannel(o.Channel) {
			m.Free()
			return nil, f.problem(fmt.Sprintf("firmware.output[%d].sense", i), fmt.Sprintf("ADC%d", o.Channel),
				"a channel of the converter of the "+f.MCU, "a processor without a converter has none")
		}
	}
	return m, nil
}

// wired are the pins of an output with their keys in the file.
func (o *Output) wired() []wiredPin {
	return []wiredPin{{"direction", o.Direction}, {"enable", o.Enable}, {"brake", o.Brake}, {"positive", o.Positive}, {"negative", o.Negative}}
}

type wiredPin struct {
	key string
	pin Pin
}

// ports are the letters of all ports that drive an output.
func (f *File) ports() string {
	var letters []byte
	for _, o := range f.Outputs {
		for _, p := range o.wired() {
			if p.pin.Port != 0 && !slices.Contains(letters, p.pin.Port) {
				letters = append(letters, p.pin.Port)
			}
		}
	}
	return string(letters)
}

// problem is a problem with the value at a path of the file.
func (f *File) problem(path, got, want, hint string) error {
	if f.document == nil {
		return &written.Error{File: f.Name, What: path, Got: got, Want: want, Hint: hint}
	}
	return f.document.Problem(path, got, want, hint)
}

// lacks words what a processor does not have, or that there is none of the name.
func (f *File) lacks(what *processor.Lacks) error {
	switch {
	case what.Processor:
		return f.problem("firmware.mcu", written.Quote(f.MCU), "a processor that the simulator knows",
			"it knows "+strings.Join(processor.Processors(), ", "))
	case what.Port == 0:
		return f.problem("firmware.uart.index", strconv.Itoa(f.UART), "a serial port of the "+f.MCU, "")
	}
	for i, o := range f.Outputs {
		for _, p := range o.wired() {
			if p.pin.Port == what.Port {
				return f.problem(fmt.Sprintf("firmware.output[%d].%s", i, p.key), fmt.Sprintf("port %c", what.Port), "a port of the "+f.MCU, "")
			}
		}
	}
	return what
}

// pins follows the ports of a processor and says what they make of the outputs.
type pins struct {
	outputs []Output
	port    [256]byte // what the pins of each port do, by its letter
	level   []signal.Level
}

// powered are the pins of a processor that has just got its supply.
func powered(outputs []Output) pins {
	return pins{outputs: outputs, level: make([]signal.Level, len(outputs))}
}

// change takes a change of a port, and reports whether its event is complete.
func (p *pins) change(c processor.Change) bool {
	p.port[c.Port] = c.Value
	return !c.More
}

// look appends an edge for each output whose level has changed.
func (p *pins) look(cycle uint64, into []Edge) []Edge {
	for i := range p.outputs {
		if level := p.of(&p.outputs[i]); level != p.level[i] {
			p.level[i] = level
			into = append(into, Edge{cycle, i, level})
		}
	}
	return into
}

// on tells whether a pin does what its name says. One that is no output is pulled low on the driver board, whatever the pull-up of
// the processor does.
func (p *pins) on(pin Pin) bool { return (p.port[pin.Port]>>pin.Bit&1 != 0) != pin.Inverted }

// of is the level of an output.
func (p *pins) of(o *Output) signal.Level {
	if o.Positive.Port != 0 {
		positive, negative := p.on(o.Positive), p.on(o.Negative)
		return p.either(positive, positive == negative)
	}
	switch {
	case o.Enable.Port != 0 && !p.on(o.Enable):
		return signal.Off
	case o.Brake.Port != 0 && p.on(o.Brake):
		return signal.Off // both ends of the rails are joined: no voltage
	}
	return p.either(p.on(o.Direction), false)
}

func (*pins) either(positive, off bool) signal.Level {
	switch {
	case off:
		return signal.Off
	case positive:
		return signal.Positive
	}
	return signal.Negative
}
