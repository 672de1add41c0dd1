//go:build simavr

package firmware

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"bufferstop/rigs/processor"
)

// Fault says how the firmware came to its end, when its processor has stopped this long after its start.
func (b *Board) Fault(after time.Duration) string {
	m := b.Machine
	where := "at " + b.place(m.At())
	var how string
	switch m.State() {
	case processor.RanOff:
		how, where = "ran off its code", fmt.Sprintf("from %s to %#x, where the image has nothing", b.place(m.At()), m.Next())
	case processor.Invalid:
		how = "met what is no instruction of the processor"
	case processor.SleepsForEver:
		how = "went to sleep with interrupts off, for ever"
	default:
		how = "crashed"
	}
	fault := fmt.Sprintf("the firmware %s %v after its start: %s, stack pointer %#x", how, after, where, m.StackPointer())
	if said := lastLine(m.Log()); said != "" {
		fault += fmt.Sprintf("; the simulator says %+q", said)
	}
	return fault
}

// place is an address in the flash, with the function that is there.
func (b *Board) place(address uint32) string {
	if name := b.image.Function(address); name != "" {
		return fmt.Sprintf("%#x in %s", address, printable(name))
	}
	return fmt.Sprintf("%#x", address)
}

// colour is how the simulator colours what it says.
var colour = regexp.MustCompile("\x1b\\[[0-9;]*m")

// lastLine is the last thing that the simulator complained of, as it is the one that stopped the processor.
func lastLine(log string) string {
	log = strings.TrimSuffix(strings.TrimSpace(colour.ReplaceAllString(log, "")), "avr_sadly_crashed") // its last words
	lines := strings.Split(strings.TrimSpace(log), "\n")
	line := strings.TrimSpace(lines[len(lines)-1])
	return line[:min(len(line), 200)]
}

// printable quotes a name that is not plain, as one in a hostile image.
func printable(name string) string {
	if quoted := strconv.QuoteToASCII(name); len(quoted) != len(name)+2 {
		return quoted
	}
	return name
}
