package probe

import (
	"encoding/binary"
	"fmt"
)

// Features is what a probe can do.
type Features uint16

// The features.
const (
	SeesEdges   Features = 1 << iota // edges
	SeesOff                          // tells off from a level
	SeesCurrent                      // current
	HasLoad                          // a load in steps
	HasShort                         // a switch across the rails
	HasSupply                        // a switch in the station's supply
	HasReflex                        // answers packets by itself
)

// MaxName is how long the name of a probe can be.
const MaxName = 24

// Hello is who the probe is and what it can do.
type Hello struct {
	Version  uint8
	Clock    uint32 // Hz
	Firmware uint16 // major in the upper byte, minor in the lower
	Serial   uint32
	Features Features
	// CommandBuffer is how many bytes of frames, as they go over the line, the probe holds unread.
	CommandBuffer uint16
	LoadQueue     uint8 // steps for each track
	ReflexRules   uint8
	Name          string // printable ASCII
	Tracks        []TrackHello
}

// TrackHello is what a probe can do on one track.
type TrackHello struct {
	ID                  uint8  // Main or Programming
	SenseMicroamps      uint32 // per count
	SenseZero           uint16 // counts without current
	SenseFull           uint16 // the highest count
	LoadMicroamps       uint32 // per step
	LoadTop             uint16 // the highest step
	LoadContinuous      uint16 // the highest step for ever
	LoadBriefMs         uint16 // how long above that
	ShortMilliohms      uint16 // 0: no switch
	ShortMostMs         uint16
	ThresholdMillivolts uint16 // of the comparators that tell off
	OffDelay            uint16 // ticks by which a change to off is late
}

func (m *Hello) Append(dst []byte) []byte {
	le := binary.LittleEndian
	dst = append(dst, m.Version)
	dst = le.AppendUint32(dst, m.Clock)
	dst = le.AppendUint16(dst, m.Firmware)
	dst = le.AppendUint32(dst, m.Serial)
	dst = le.AppendUint16(dst, uint16(m.Features))
	dst = le.AppendUint16(dst, m.CommandBuffer)
	dst = append(dst, m.LoadQueue, m.ReflexRules, byte(len(m.Name)))
	dst = append(dst, m.Name...)
	dst = append(dst, byte(len(m.Tracks)))
	for _, t := range m.Tracks {
		dst = append(dst, t.ID)
		dst = le.AppendUint32(dst, t.SenseMicroamps)
		dst = le.AppendUint16(dst, t.SenseZero)
		dst = le.AppendUint16(dst, t.SenseFull)
		dst = le.AppendUint32(dst, t.LoadMicroamps)
		for _, v := range [...]uint16{t.LoadTop, t.LoadContinuous, t.LoadBriefMs, t.ShortMilliohms, t.ShortMostMs,
			t.ThresholdMillivolts, t.OffDelay} {
			dst = le.AppendUint16(dst, v)
		}
	}
	return dst
}

func parseHello(payload []byte) (*Hello, error) {
	f := fields{t: TypeHello, p: payload}
	m := &Hello{Version: f.u8("version")}
	f.must(m.Version >= 1, 1, m.Version, "at least 1")
	m.Clock = f.u32("clock")
	f.must(m.Clock >= 1_000_000, 4, m.Clock, "at least 1000000 Hz")
	m.Firmware, m.Serial, m.Features = f.u16("firmware version"), f.u32("serial"), Features(f.u16("features"))
	m.CommandBuffer = f.u16("command buffer")
	f.must(m.CommandBuffer >= MinCommandBuffer, 2, m.CommandBuffer, fmt.Sprintf("at least %d bytes", MinCommandBuffer))
	m.LoadQueue, m.ReflexRules = f.u8("load queue"), f.u8("reflex rules")
	length := f.u8("length of the name")
	f.must(length <= MaxName, 1, length, "at most 24")
	name := f.take("name", int(length))
	for i, c := range name {
		if c < ' ' || c > '~' {
			f.at = f.at - len(name) + i + 1
			f.must(false, 1, fmt.Sprintf("%#02x", c), "printable ASCII")
			break
		}
	}
	m.Name = string(name)
	count := f.u8("tracks")
	f.must(count >= 1 && count <= MaxTracks, 1, count, "1 or 2")
	if f.err != nil {
		return nil, f.end()
	}
	for i := range int(count) {
		t := TrackHello{ID: f.track("track id")}
		f.must(i == 0 || t.ID != m.Tracks[0].ID, 1, t.ID, "another id than the first track's")
		t.SenseMicroamps, t.SenseZero, t.SenseFull = f.u32("sense per count"), f.u16("sense zero"), f.u16("sense full")
		f.must(t.SenseFull <= MaxCount, 2, t.SenseFull, "at most 4095")
		t.LoadMicroamps, t.LoadTop = f.u32("load per step"), f.u16("load top")
		t.LoadContinuous, t.LoadBriefMs = f.u16("load continuous"), f.u16("load brief")
		t.ShortMilliohms, t.ShortMostMs = f.u16("short resistance"), f.u16("short most")
		t.ThresholdMillivolts, t.OffDelay = f.u16("threshold"), f.u16("off delay")
		m.Tracks = append(m.Tracks, t)
	}
	return m, f.end()
}

// MinCommandBuffer is the least that a probe holds unread: two of the longest commands, a LOAD of MaxSteps steps, and
// signs of life between. Our own choice.
const MinCommandBuffer = 2*(frameOverhead+7+4*MaxSteps+2) + 2*(frameOverhead+2)
