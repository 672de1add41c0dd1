package record

import (
	"fmt"
	"time"
)

// PacketWaveform draws one packet from the edges of its track and marks its parts: the preamble, and for each byte its
// start bit and its eight bits, and the end bit (S-9.2 A). The edges are reversals only, the first of them at the start
// of the preamble and the last at the end of the end bit, so that each bit takes two.
func PacketWaveform(title, track string, edges []Edge, preamble int, packet []byte) (Waveform, error) {
	bits := preamble + 9*len(packet) + 1
	if preamble < 1 || len(packet) == 0 || len(edges) != 2*bits+1 {
		return Waveform{}, fmt.Errorf("record: waveform %q: got %d edges, want %d for %d preamble bits and %d bytes",
			title, len(edges), 2*bits+1, preamble, len(packet))
	}
	for i, e := range edges {
		if e.Level == 0 || i > 0 && (e.Level != -edges[i-1].Level || e.At <= edges[i-1].At) {
			return Waveform{}, fmt.Errorf("record: waveform %q: edge %d at %v is no reversal", title, i, e.At)
		}
	}
	at := func(bit int) time.Duration { return edges[2*bit].At }
	w := Waveform{Title: title, Track: track, Edges: edges[:2*bits], End: at(bits)}
	mark := func(from, to int, kind PartKind, text string) {
		w.Parts = append(w.Parts, Part{From: at(from), To: at(to), Kind: kind, Text: text})
	}
	mark(0, preamble, Preamble, fmt.Sprintf("%d ones", preamble))
	for i, b := range packet {
		start := preamble + 9*i
		mark(start, start+1, StartBit, "0")
		kind := DataByte
		if i == len(packet)-1 {
			kind = ErrorByte
		}
		mark(start+1, start+9, kind, fmt.Sprintf("0x%02x", b))
		for bit := range 8 {
			mark(start+1+bit, start+2+bit, Bit, string('0'+rune(b>>(7-bit)&1)))
		}
	}
	mark(bits-1, bits, EndBit, "1")
	return w, nil
}
