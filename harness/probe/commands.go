package probe

import (
	"encoding/binary"
	"fmt"
)

// Version is the version of the protocol that this package speaks.
const Version = 1

// MaxTracks is how many tracks a probe can have.
const MaxTracks = 2

// The ids of the tracks.
const (
	Main        = 0
	Programming = 1
)

// The ranges of what commands carry. The source of each is README.md; all are our own choice.
const (
	MinStretch, MaxStretch               = 500, 4000   // µs
	MinSampleInterval, MaxSampleInterval = 100, 60_000 // µs
	MaxSteps                             = 16          // of one LOAD
	MaxRun                               = 10
	MinReflexBytes, MaxReflexBytes       = 3, 6
)

// A Message is what a frame carries.
type Message interface {
	Type() Type
	// Append appends the payload.
	Append(dst []byte) []byte
}

// AskHello asks who the probe is. The answer is a Hello.
type AskHello struct{ Version uint8 }

// Start has the probe send what happens, a Stretch after each StretchMicros; each track's current is sampled every
// SampleMicros, or never if that is zero.
type Start struct{ StretchMicros, SampleMicros uint16 }

// Stop ends that.
type Stop struct{}

// Alive tells that the host lives. It has no answer.
type Alive struct{}

// AskSync asks for the probe's time. The answer is a Sync with the same token.
type AskSync struct{ Token uint32 }

// AskStatus asks for the probe's counters. The answer is a Status.
type AskStatus struct{}

// A Step is a load for a time.
type Step struct {
	Level uint16 // in steps of the load, see TrackHello
	Hold  uint16 // in units of HoldUnit; 0, only in the last step: for ever
}

// HoldMicros is the unit of Step.Hold and of the times of a reflex, in microseconds.
const HoldMicros = 4

// Load lays steps of load across a track.
type Load struct {
	Track  uint8
	Behind bool   // behind what is queued, instead of replacing it
	At     uint32 // tick at which the first step takes effect
	Count  uint8
	Steps  [MaxSteps]Step // the first Count of them
}

// Short closes or opens the switch across a track.
type Short struct {
	Track  uint8
	On     bool
	MostMs uint16 // it opens by itself after that
}

// Supply switches the supply of the station.
type Supply struct{ On bool }

// AskMark asks for the tick of now under an id. The answer is a Mark.
type AskMark struct{ ID uint16 }

// Reflex has the probe answer a packet with a pulse of load by itself.
type Reflex struct {
	Track uint8
	Rule  uint8
	Run   uint8  // it fires at so many identical packets in a row
	Delay uint16 // from the end of the end bit, in units of HoldMicros
	Level uint16
	Width uint16 // in units of HoldMicros
	// Length is that of the packet, error byte included; 0 clears the rule.
	Length uint8
	Bytes  [MaxReflexBytes]byte
}

// Safe opens shorts, takes loads off, empties queues, clears reflexes and switches the supply on.
type Safe struct{}

func (AskHello) Type() Type  { return TypeAskHello }
func (Start) Type() Type     { return TypeStart }
func (Stop) Type() Type      { return TypeStop }
func (Alive) Type() Type     { return TypeAlive }
func (AskSync) Type() Type   { return TypeAskSync }
func (AskStatus) Type() Type { return TypeAskStatus }
func (Load) Type() Type      { return TypeLoad }
func (Short) Type() Type     { return TypeShort }
func (Supply) Type() Type    { return TypeSupply }
func (AskMark) Type() Type   { return TypeAskMark }
func (Reflex) Type() Type    { return TypeReflex }
func (Safe) Type() Type      { return TypeSafe }

func (m AskHello) Append(dst []byte) []byte { return append(dst, m.Version) }

func (m Start) Append(dst []byte) []byte {
	dst = binary.LittleEndian.AppendUint16(dst, m.StretchMicros)
	return binary.LittleEndian.AppendUint16(dst, m.SampleMicros)
}

func (Stop) Append(dst []byte) []byte  { return dst }
func (Alive) Append(dst []byte) []byte { return dst }

func (m AskSync) Append(dst []byte) []byte { return binary.LittleEndian.AppendUint32(dst, m.Token) }

func (AskStatus) Append(dst []byte) []byte { return dst }

func (m *Load) Append(dst []byte) []byte {
	dst = append(dst, m.Track, bit(m.Behind))
	dst = binary.LittleEndian.AppendUint32(dst, m.At)
	dst = append(dst, m.Count)
	for _, s := range m.Steps[:m.Count] {
		dst = binary.LittleEndian.AppendUint16(dst, s.Level)
		dst = binary.LittleEndian.AppendUint16(dst, s.Hold)
	}
	return dst
}

func (m Short) Append(dst []byte) []byte {
	return binary.LittleEndian.AppendUint16(append(dst, m.Track, bit(m.On)), m.MostMs)
}

func (m Supply) Append(dst []byte) []byte { return append(dst, bit(m.On)) }

func (m AskMark) Append(dst []byte) []byte { return binary.LittleEndian.AppendUint16(dst, m.ID) }

func (m Reflex) Append(dst []byte) []byte {
	dst = append(dst, m.Track, m.Rule, m.Run)
	dst = binary.LittleEndian.AppendUint16(dst, m.Delay)
	dst = binary.LittleEndian.AppendUint16(dst, m.Level)
	dst = binary.LittleEndian.AppendUint16(dst, m.Width)
	return append(append(dst, m.Length), m.Bytes[:m.Length]...)
}

func (Safe) Append(dst []byte) []byte { return dst }

func bit(on bool) byte {
	if on {
		return 1
	}
	return 0
}

// ParseCommand reads the payload of a frame to the probe. What does not depend on a probe's ratings is checked here. The
// error is a *MessageError, or ErrUnknownType.
func ParseCommand(t Type, payload []byte) (Message, error) {
	f := fields{t: t, p: payload}
	var m Message
	switch t {
	case TypeAskHello:
		m = AskHello{f.u8("version")}
	case TypeStart:
		m = parseStart(&f)
	case TypeStop:
		m = Stop{}
	case TypeAlive:
		m = Alive{}
	case TypeAskSync:
		m = AskSync{f.u32("token")}
	case TypeAskStatus:
		m = AskStatus{}
	case TypeLoad:
		m = parseLoad(&f)
	case TypeShort:
		m = parseShort(&f)
	case TypeSupply:
		m = Supply{f.flag("on")}
	case TypeAskMark:
		m = AskMark{f.u16("id")}
	case TypeReflex:
		m = parseReflex(&f)
	case TypeSafe:
		m = Safe{}
	default:
		return nil, fmt.Errorf("%w: %v to the probe", ErrUnknownType, t)
	}
	if err := f.end(); err != nil {
		return nil, err
	}
	return m, nil
}

func parseStart(f *fields) Start {
	var m Start
	m.StretchMicros = f.u16("stretch")
	f.must(m.StretchMicros >= MinStretch && m.StretchMicros <= MaxStretch, 2, m.StretchMicros, "500 to 4000 µs")
	m.SampleMicros = f.u16("sample interval")
	f.must(m.SampleMicros == 0 || m.SampleMicros >= MinSampleInterval && m.SampleMicros <= MaxSampleInterval, 2,
		m.SampleMicros, "0, or 100 to 60000 µs")
	return m
}

func parseLoad(f *fields) *Load {
	m := new(Load)
	m.Track = f.track("track")
	m.Behind = f.flag("mode")
	m.At = f.u32("at")
	count := f.u8("count")
	f.must(count <= MaxSteps, 1, count, "0 to 16")
	if f.err != nil {
		return m
	}
	m.Count = count
	for i := range m.Steps[:count] {
		m.Steps[i].Level = f.u16("level")
		m.Steps[i].Hold = f.u16("hold")
		f.must(m.Steps[i].Hold > 0 || i == int(count)-1, 2, 0, "at least 1, but in the last step")
	}
	return m
}

func parseShort(f *fields) Short {
	m := Short{Track: f.track("track"), On: f.flag("on"), MostMs: f.u16("most")}
	f.must(!m.On || m.MostMs > 0, 2, m.MostMs, "at least 1 ms")
	return m
}

func parseReflex(f *fields) Reflex {
	m := Reflex{Track: f.track("track"), Rule: f.u8("rule"), Run: f.u8("run")}
	run := f.at - 1
	m.Delay, m.Level, m.Width = f.u16("delay"), f.u16("level"), f.u16("width")
	m.Length = f.u8("length")
	f.must(m.Length == 0 || m.Length >= MinReflexBytes && m.Length <= MaxReflexBytes, 1, m.Length, "0, or 3 to 6")
	if f.err == nil && m.Length > 0 && (m.Run < 1 || m.Run > MaxRun) {
		f.err = &MessageError{Type: f.t, Offset: run, What: "run", Got: fmt.Sprint(m.Run), Want: "1 to 10"}
	}
	if f.err != nil {
		m.Length = 0 // so that Append of what is not valid does not fail
		return m
	}
	copy(m.Bytes[:m.Length], f.take("bytes", int(m.Length)))
	return m
}
