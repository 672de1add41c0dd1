package record

import (
	"time"

	"bufferstop/harness/verdict"
)

// A Histogram is how the values of one quantity on one track are spread, such as "one half-bit" on "main".
type Histogram struct {
	Name  string        `json:"name"`
	Track string        `json:"track,omitempty"`
	Unit  verdict.Unit  `json:"unit"`
	Limit verdict.Limit `json:"limit,omitzero"`
	Count int64         `json:"count"`
	Min   float64       `json:"min"`
	Mean  float64       `json:"mean"`
	Max   float64       `json:"max"`
	// Bins are in ascending order and do not overlap; empty ones may be left out.
	Bins []Bin `json:"bins"`
}

// A Bin counts the values from Low up to, and not including, High.
type Bin struct {
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
	Count int64   `json:"count"`
}

// A Waveform is a short stretch of a track as the probe saw it, with the parts of a packet marked.
type Waveform struct {
	Title string `json:"title"` // what the packet says, such as "locomotive 3: forward, step 10 of 28"
	Track string `json:"track,omitempty"`
	// Edges are in order of time; the last level holds until End.
	Edges []Edge        `json:"edges"`
	End   time.Duration `json:"end_ns"`
	// Parts mark spans of the waveform, in order of time.
	Parts []Part `json:"parts,omitempty"`
}

// An Edge is one change of the track: +1 positive, -1 negative, 0 off.
type Edge struct {
	At    time.Duration `json:"at_ns"`
	Level int           `json:"level"`
}

// A Part is a span of a packet.
type Part struct {
	From time.Duration `json:"from_ns"`
	To   time.Duration `json:"to_ns"`
	Kind PartKind      `json:"kind"`
	// Text says what the part carries, such as "0x03".
	Text string `json:"text,omitempty"`
}

// PartKind is what a part of a packet is called (S-9.2 A).
type PartKind string

// The parts of a packet on the track.
const (
	Preamble  PartKind = "preamble"
	StartBit  PartKind = "start bit" // before each byte; the first is the packet start bit
	DataByte  PartKind = "byte"
	ErrorByte PartKind = "error byte"
	EndBit    PartKind = "end bit"
	Bit       PartKind = "bit" // one bit of the byte before it in the list
)
