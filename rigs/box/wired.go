//go:build simavr

package box

import (
	"slices"
	"time"
)

const (
	// offDelay is how long the capacitor behind the window comparator holds ABSENT low after the voltage went.
	offDelay = 10 * time.Microsecond
	// shortSiemens is a short of 60 mΩ: two transistors, fuse and leads, as the firmware of the probe says in its HELLO.
	shortSiemens = 1 / 0.060
)

// ports are the letters of the ports that act on the rails.
func (b *Board) ports() string {
	letters := []byte{b.Supply.Port}
	for _, t := range b.Tracks {
		letters = append(letters, t.Short.Port)
		for _, p := range t.Ladder {
			letters = append(letters, p.Port)
		}
	}
	slices.Sort(letters)
	return string(slices.Compact(letters))
}
