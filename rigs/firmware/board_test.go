//go:build simavr

package firmware

import (
	"testing"
	"time"

	"bufferstop/harness/current"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/rigs/processor"

	"github.com/stretchr/testify/require"
)

// boardFile is a board with both outputs, for small firmware.
const boardFile = `kind = "firmware"
name = "small board"
station.file = "reference.station.toml"
[firmware]
image = "station.elf"
mcu = "atmega328p"
clock = "16MHz"
start_time = "1ms"
[[firmware.output]]
track = "main"
direction = "PB1"
enable = "PB0"
sense = "ADC0"
sense_gain = "1V/A"
[[firmware.output]]
track = "programming"
direction = "PB3"
enable = "PB4"
sense = "ADC1"
sense_gain = "1V/A"
`

func board(t testing.TB) *File {
	t.Helper()
	f, err := Parse("board.rig.toml", []byte(boardFile))
	require.NoError(t, err)
	return f
}

// started is a rig with a small firmware. It is closed with the test.
func started(t testing.TB, f *File, image *processor.Image) *Rig {
	t.Helper()
	r, err := open(t.Context(), f, image, Options{Seed: 1})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, r.Close()) })
	return r
}

// serialC is the line of small firmware: 250 000 baud, which 16 MHz divide into without rest.
const serialC = `#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>
#include <stdbool.h>
#include <util/delay.h>
static inline void serial_start(void) { UCSR0A = _BV(U2X0); UBRR0 = 7; UCSR0B = _BV(RXEN0) | _BV(TXEN0); }
static inline void put(uint8_t b) { while (!(UCSR0A & _BV(UDRE0))); UDR0 = b; }
static inline uint8_t take(void) { while (!(UCSR0A & _BV(RXC0))); return UDR0; }
`

func quickLine(f *File) *File {
	f.Baud = 250_000
	return f
}

// sentBy is what the firmware has sent until now and in the next while.
func sentBy(t testing.TB, r *Rig, while time.Duration) []byte {
	t.Helper()
	require.NoError(t, r.Wait(t.Context(), while))
	b := make([]byte, 1<<16)
	n := r.line.ToHost.Take(r.now, b)
	return b[:n]
}

// seen keeps what the probe sees.
type seen struct {
	edges   []signal.Edge
	samples []current.Sample
}

func (s *seen) Edges(e []signal.Edge)      { s.edges = append(s.edges, e...) }
func (s *seen) Samples(c []current.Sample) { s.samples = append(s.samples, c...) }

func listen(t testing.TB, r *Rig, track station.Track) *seen {
	s := new(seen)
	t.Cleanup(r.Track(track).Listen(s))
	return s
}
