package box

import (
	"fmt"
	"slices"
	"strings"

	"bufferstop/harness/station"
	"bufferstop/rigs/processor"
)

// A Board is how a capture probe is wired (rigs/bench/README.md): its processor, and what hangs on the pins.
type Board struct {
	MCU   string
	Clock int64 // in hertz
	UART  int
	Baud  int
	// Supply cuts the station's supply while it is high.
	Supply processor.Pin
	Tracks []BoardTrack
}

// A BoardTrack is a track of a board.
type BoardTrack struct {
	Track station.Track
	// Sign is high while the voltage is positive; Absent is low while there is voltage, and rises a little after it went.
	Sign, Absent processor.Pin
	// Ladder sets the load, the least bit first; Step is what a step draws, in amperes.
	Ladder []processor.Pin
	Step   float64
	// Short closes the short while it is high.
	Short processor.Pin
	// Channel of the converter that sees the magnitude of the current, and what it sees in volts for each ampere.
	Channel int
	Gain    float64
}

// port are all eight pins of a port, the least bit first.
func port(letter byte) (pins []processor.Pin) {
	for bit := range 8 {
		pins = append(pins, processor.Pin{Port: letter, Bit: bit})
	}
	return pins
}

var boards = []Board{
	{
		MCU: "atmega2560", Clock: 16_000_000, Baud: 2_000_000, Supply: processor.Pin{Port: 'G', Bit: 2},
		Tracks: []BoardTrack{
			{
				Track: station.Main, Sign: processor.Pin{Port: 'L', Bit: 0}, Absent: processor.Pin{Port: 'E', Bit: 4},
				Ladder: port('A'), Step: 0.020, Short: processor.Pin{Port: 'G', Bit: 0}, Channel: 0, Gain: 1,
			},
			{
				Track: station.Programming, Sign: processor.Pin{Port: 'L', Bit: 1}, Absent: processor.Pin{Port: 'E', Bit: 5},
				Ladder: port('C'), Step: 0.004, Short: processor.Pin{Port: 'G', Bit: 1}, Channel: 1, Gain: 4,
			},
		},
	},
	{
		MCU: "atmega328p", Clock: 16_000_000, Baud: 2_000_000, Supply: processor.Pin{Port: 'B', Bit: 2},
		Tracks: []BoardTrack{{
			Track: station.Programming, Sign: processor.Pin{Port: 'B', Bit: 0}, Absent: processor.Pin{Port: 'D', Bit: 2},
			Ladder: append(port('D')[3:], processor.Pin{Port: 'B', Bit: 3}), Step: 0.010,
			Short: processor.Pin{Port: 'B', Bit: 1}, Channel: 0, Gain: 4,
		}},
	},
}

// Boards are the processors of the boards that there are. The first is the ordinary one.
func Boards() (names []string) {
	for _, b := range boards {
		names = append(names, b.MCU)
	}
	return names
}

// BoardOf is the board with this processor. The error names those that there are.
func BoardOf(mcu string) (Board, error) {
	i := slices.IndexFunc(boards, func(b Board) bool { return b.MCU == mcu })
	if i < 0 {
		return Board{}, fmt.Errorf("a probe with the processor %+q: want one of %s", mcu, strings.Join(Boards(), ", "))
	}
	return boards[i], nil
}
