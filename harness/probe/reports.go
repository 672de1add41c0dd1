package probe

import (
	"encoding/binary"
	"fmt"
)

// Done answers a command that was carried out.
type Done struct {
	Of      uint8 // the command's sequence number
	Command Type
	Tick    uint32
}

// Refused answers a command that was not. It is an error.
type Refused struct {
	Of      uint8
	Command Type
	Reason  Reason
}

// Sync is the probe's time when the command to which it is the answer had come.
type Sync struct {
	Of          uint8
	Tick, Token uint32
}

// Status is what a probe counts since its reset.
type Status struct {
	Tick, UptimeMs, EdgesLost     uint32
	SamplesLost, FramesDropped    uint16
	CommandsBroken, InputOverruns uint16
	Refused, OpenedByItself       uint16
	ResetCause                    uint8
}

// What says what an Occurrence is.
type What uint8

// What can happen in a probe.
const (
	ShortOpenedSilent What = 1 // the short was opened: the host fell silent
	ShortOpenedTime   What = 2 // the short was opened: its time was over
	LoadOffSilent     What = 3 // the load was taken off: the host fell silent
	LoadOffRating     What = 4 // the load was taken off: its rating
	ReflexFired       What = 5
	ReflexesOffSilent What = 6 // the reflexes were cleared: the host fell silent
)

func (w What) String() string {
	switch w {
	case ShortOpenedSilent:
		return "short opened: host silent"
	case ShortOpenedTime:
		return "short opened: its time was over"
	case LoadOffSilent:
		return "load taken off: host silent"
	case LoadOffRating:
		return "load taken off: above its rating for too long"
	case ReflexFired:
		return "reflex fired"
	case ReflexesOffSilent:
		return "reflexes cleared: host silent"
	}
	return fmt.Sprintf("occurrence %d", uint8(w))
}

// Occurrence tells what happened in the probe.
type Occurrence struct {
	Tick   uint32
	What   What
	Track  uint8
	Detail uint8 // of ReflexFired: the rule
}

// Mark is the tick at which a mark was set.
type Mark struct {
	ID   uint16
	Tick uint32
}

func (*Hello) Type() Type     { return TypeHello }
func (*Stretch) Type() Type   { return TypeStretch }
func (Done) Type() Type       { return TypeDone }
func (Refused) Type() Type    { return TypeRefused }
func (Sync) Type() Type       { return TypeSync }
func (Status) Type() Type     { return TypeStatus }
func (Occurrence) Type() Type { return TypeEvent }
func (Mark) Type() Type       { return TypeMark }

func (m Done) Append(dst []byte) []byte {
	return binary.LittleEndian.AppendUint32(append(dst, m.Of, byte(m.Command)), m.Tick)
}

func (m Refused) Append(dst []byte) []byte { return append(dst, m.Of, byte(m.Command), byte(m.Reason)) }

func (m Sync) Append(dst []byte) []byte {
	dst = binary.LittleEndian.AppendUint32(append(dst, m.Of), m.Tick)
	return binary.LittleEndian.AppendUint32(dst, m.Token)
}

func (m Status) Append(dst []byte) []byte {
	for _, v := range [...]uint32{m.Tick, m.UptimeMs, m.EdgesLost} {
		dst = binary.LittleEndian.AppendUint32(dst, v)
	}
	for _, v := range [...]uint16{m.SamplesLost, m.FramesDropped, m.CommandsBroken, m.InputOverruns, m.Refused,
		m.OpenedByItself} {
		dst = binary.LittleEndian.AppendUint16(dst, v)
	}
	return append(dst, m.ResetCause)
}

func (m Occurrence) Append(dst []byte) []byte {
	return append(binary.LittleEndian.AppendUint32(dst, m.Tick), byte(m.What), m.Track, m.Detail)
}

func (m Mark) Append(dst []byte) []byte {
	return binary.LittleEndian.AppendUint32(binary.LittleEndian.AppendUint16(dst, m.ID), m.Tick)
}

// ParseReport reads the payload of a frame from the probe; tracks is how many its Hello names. The error is a
// *MessageError, or ErrUnknownType.
func ParseReport(t Type, payload []byte, tracks int) (Message, error) {
	switch t {
	case TypeHello:
		return message(parseHello(payload))
	case TypeStretch:
		s := new(Stretch)
		return message(s, s.Parse(payload, tracks))
	case TypeDone:
		return message(parseDone(payload))
	case TypeRefused:
		return message(parseRefused(payload))
	case TypeSync:
		return message(parseSync(payload))
	case TypeStatus:
		return message(parseStatus(payload))
	case TypeEvent:
		return message(parseOccurrence(payload))
	case TypeMark:
		return message(parseMark(payload))
	}
	return nil, fmt.Errorf("%w: %v from the probe", ErrUnknownType, t)
}

func message[M Message](m M, err error) (Message, error) {
	if err != nil {
		return nil, err
	}
	return m, nil
}

func parseDone(payload []byte) (Done, error) {
	f := fields{t: TypeDone, p: payload}
	m := Done{f.u8("of"), Type(f.u8("command")), f.u32("tick")}
	return m, f.end()
}

func parseRefused(payload []byte) (Refused, error) {
	f := fields{t: TypeRefused, p: payload}
	m := Refused{f.u8("of"), Type(f.u8("command")), Reason(f.u8("reason"))}
	return m, f.end()
}

func parseSync(payload []byte) (Sync, error) {
	f := fields{t: TypeSync, p: payload}
	m := Sync{f.u8("of"), f.u32("tick"), f.u32("token")}
	return m, f.end()
}

func parseStatus(payload []byte) (Status, error) {
	f := fields{t: TypeStatus, p: payload}
	m := Status{Tick: f.u32("tick"), UptimeMs: f.u32("uptime"), EdgesLost: f.u32("edges lost"),
		SamplesLost: f.u16("samples lost"), FramesDropped: f.u16("frames dropped"),
		CommandsBroken: f.u16("commands broken"), InputOverruns: f.u16("input overruns"),
		Refused: f.u16("refused"), OpenedByItself: f.u16("opened by itself"), ResetCause: f.u8("reset cause")}
	return m, f.end()
}

func parseOccurrence(payload []byte) (Occurrence, error) {
	f := fields{t: TypeEvent, p: payload}
	m := Occurrence{f.u32("tick"), What(f.u8("what")), f.track("track"), f.u8("detail")}
	return m, f.end()
}

func parseMark(payload []byte) (Mark, error) {
	f := fields{t: TypeMark, p: payload}
	m := Mark{f.u16("id"), f.u32("tick")}
	return m, f.end()
}
