package box

import (
	"fmt"
	"time"

	"bufferstop/harness/station"
)

// An Event is something that happened in the box.
type Event struct {
	At    time.Duration // since the box got its supply
	What  What
	Track station.Track // of shorts, loads and power
	// Amperes are what the load draws from now on, or what flowed when power went.
	Amperes float64
	Whose   string // "station" or "probe", of faults and resets
	Text    string
}

// What happened.
type What int

// What can happen.
const (
	ShortCloses What = iota
	ShortOpens
	LoadChanges
	SupplyCut
	SupplyBack
	PowerOn  // the station drives a track
	PowerOff // the station has not driven it for a millisecond; a trip, if a short lay across it
	Fault    // a firmware has come to its end, see Text
	Resets   // a processor started anew by itself
	Slipped  // the machine is too slow: the box has lost as much time as Text says
)

// String is a line of a log without its time.
func (e Event) String() string {
	switch e.What {
	case ShortCloses:
		return fmt.Sprintf("%s track: the short closes", e.Track)
	case ShortOpens:
		return fmt.Sprintf("%s track: the short opens", e.Track)
	case LoadChanges:
		return fmt.Sprintf("%s track: the load draws %.0f mA", e.Track, 1000*e.Amperes)
	case SupplyCut:
		return "the station has no supply"
	case SupplyBack:
		return "the station has its supply again"
	case PowerOn:
		return fmt.Sprintf("%s track: power", e.Track)
	case PowerOff:
		return fmt.Sprintf("%s track: no power%s", e.Track, e.Text)
	case Fault:
		return fmt.Sprintf("the %s: %s", e.Whose, e.Text)
	case Resets:
		return fmt.Sprintf("the %s's processor has started anew by itself", e.Whose)
	case Slipped:
		return "this machine is too slow: " + e.Text
	}
	return "nothing that has a name"
}
