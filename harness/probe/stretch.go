package probe

import (
	"encoding/binary"
)

// MaxDelta is the longest time that one item of a stretch can tell, in ticks.
const MaxDelta = 1<<14 - 1

// A Code is a level as a stretch has it.
type Code uint8

// The codes.
const (
	CodeOff      Code = 0
	CodePositive Code = 1
	CodeNegative Code = 2
	CodeNone     Code = 3 // of the levels of a stretch: the track is not looked at; of an item: nothing changes
)

// An Item is a step in time on one track: so many ticks after the item before (the first after the start of the stretch)
// the track goes to a level, or just nothing changes until then.
type Item uint16

// MakeItem makes an item. delta is at most MaxDelta.
func MakeItem(c Code, delta uint16) Item { return Item(uint16(c)<<14 | delta&MaxDelta) }

// Code is the level from then on, or CodeNone.
func (i Item) Code() Code { return Code(i >> 14) }

// Delta is the time since the item before, in ticks.
func (i Item) Delta() uint32 { return uint32(i & MaxDelta) }

// What was lost of a stretch.
const (
	LostEdgesMain        = 1 << 0
	LostEdgesProgramming = 1 << 1
	LostSamples          = 1 << 2
)

// A Stretch is all that happened from tick Start until tick Start+Length, that one excluded.
type Stretch struct {
	Start  uint32
	Length uint16
	// Levels are those at Start: bits 0 and 1 of track 0, bits 2 and 3 of track 1.
	Levels uint8
	Flags  uint8
	// Items are those of each track, in the order of the Hello.
	Items [MaxTracks][]Item
	// Values are current samples, Offset ticks after Start and Spacing ticks apart. The tracks of the Hello take turns,
	// beginning with the one of index First.
	Offset, Spacing uint16
	First           uint8
	Values          []uint16

	tracks int
}

// MaxCount is the highest count of a current sample.
const MaxCount = 1<<12 - 1

// Level is that of a track, by its id, at the start.
func (s *Stretch) Level(track uint8) Code { return Code(s.Levels >> (2 * track) & 3) }

func (s *Stretch) Append(dst []byte) []byte {
	le := binary.LittleEndian
	dst = le.AppendUint32(dst, s.Start)
	dst = le.AppendUint16(dst, s.Length)
	dst = append(dst, s.Levels, s.Flags)
	for i := range s.tracks {
		dst = append(dst, byte(len(s.Items[i])))
		for _, item := range s.Items[i] {
			dst = le.AppendUint16(dst, uint16(item))
		}
	}
	dst = append(dst, byte(len(s.Values)))
	if len(s.Values) > 0 {
		dst = le.AppendUint16(dst, s.Offset)
		dst = le.AppendUint16(dst, s.Spacing)
		dst = append(dst, s.First)
		for _, v := range s.Values {
			dst = le.AppendUint16(dst, v)
		}
	}
	return dst
}

// SetTracks says for how many tracks, those of the Hello, Append writes items.
func (s *Stretch) SetTracks(n int) { s.tracks = n }

// PayloadBytes is how long the payload is that Append writes.
func (s *Stretch) PayloadBytes() int {
	n := 8 + 1
	for i := range s.tracks {
		n += 1 + 2*len(s.Items[i])
	}
	if len(s.Values) > 0 {
		n += 5 + 2*len(s.Values)
	}
	return n
}

// Parse reads a payload into s, which it reuses; tracks is how many the probe's Hello names.
func (s *Stretch) Parse(payload []byte, tracks int) error {
	f := fields{t: TypeStretch, p: payload}
	s.tracks = tracks
	s.Start, s.Length, s.Levels, s.Flags = f.u32("start"), f.u16("length"), f.u8("levels"), f.u8("flags")
	for i := range s.Items {
		s.Items[i] = s.Items[i][:0]
	}
	for i := range tracks {
		n := int(f.u8("items"))
		p := f.take("items", 2*n)
		at := uint32(0)
		for len(p) > 0 {
			item := Item(binary.LittleEndian.Uint16(p))
			at += item.Delta()
			if at > uint32(s.Length) || at == uint32(s.Length) && item.Code() != CodeNone {
				f.at -= len(p) - 2
				f.must(false, 2, at, "before the end of the stretch")
				return f.end()
			}
			s.Items[i] = append(s.Items[i], item)
			p = p[2:]
		}
	}
	s.Offset, s.Spacing, s.First, s.Values = 0, 0, 0, s.Values[:0]
	if n := int(f.u8("samples")); n > 0 {
		s.Offset, s.Spacing = f.u16("offset"), f.u16("spacing")
		s.First = f.u8("first channel")
		if int(s.First) >= tracks {
			f.must(false, 1, s.First, "the index of a track")
		}
		p := f.take("values", 2*n)
		if p != nil && int(s.Offset)+(n-1)*int(s.Spacing) >= int(s.Length) {
			f.at -= 2 * n
			f.must(false, 5, s.Offset, "all samples before the end of the stretch")
			return f.end()
		}
		for len(p) > 0 {
			v := binary.LittleEndian.Uint16(p)
			if v > MaxCount {
				f.at -= len(p) - 2
				f.must(false, 2, v, "at most 4095")
				return f.end()
			}
			s.Values = append(s.Values, v)
			p = p[2:]
		}
	}
	return f.end()
}
