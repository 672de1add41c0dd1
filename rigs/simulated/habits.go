package simulated

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"time"
)

// A Habit is a way in which a station may be that others are not, all of it legal. The simulated station has one at a time, or those
// of the reference station.
type Habit struct {
	// Name is short and lasting.
	Name string
	// Summary says what the station does.
	Summary string
	// Station is the station file beside the rig files that come with the program, rigs.Files: it claims and declares the habit.
	Station string

	// apply gives the station the habit, and what it leaves free by r, nil for the middle of it.
	apply func(s *settings, r *rand.Rand)
	// defects are those that only stations with the habit can have.
	defects []Defect
}

// Habits lists the habits.
func Habits() []Habit { return slices.Clone(habits) }

// FindHabit returns the habit of a name. The error lists them.
func FindHabit(name string) (Habit, error) {
	for _, h := range habits {
		if h.Name == name {
			return h, nil
		}
	}
	return Habit{}, fmt.Errorf("simulated rig: no habit named %q; there is %s", name, habitNames())
}

// StationFile is the station file beside the rig files that come with the program, rigs.Files, which claims what the station of these
// options does: that of its habit, or of its defect's, or the reference station.
func (o Options) StationFile() string {
	habit := o.Habit
	if d, err := Find(o.Defect); err == nil && habit == "" {
		habit = d.Habit()
	}
	if h, err := FindHabit(habit); err == nil {
		return h.Station
	}
	return "reference.station.toml"
}

func habitNames() string {
	var names []string
	for _, h := range habits {
		names = append(names, strconv.Quote(h.Name))
	}
	return strings.Join(names, ", ")
}

var habits = []Habit{
	{"cutout", "the main track has a cutout for bi-directional communication after each packet", "cutout.station.toml", cutsOut, cutoutDefects},
	{"latched", "a track that has tripped stays off until it is switched on", "latched.station.toml",
		func(s *settings, _ *rand.Rand) { s.latched = true }, latchedDefects},
	{"unusual", "all that the standards leave free is far from the usual: times, preambles, repeats, order, numbering", "unusual.station.toml",
		unusual, nil},
}

// cutsOut leaves a cutout from 26 to 32 until 454 to 488 µs after the end bit, RCN-217 2.4 and S-9.3.2 2.4, both from memory. At least
// 17 ones are sent: five of them it takes, and 12 are what a decoder may want, S-9.2 A (July 2004).
func cutsOut(s *settings, r *rand.Rand) {
	begins, ends := 29*time.Microsecond, 471*time.Microsecond
	s.preamble = 17
	if r != nil {
		begins = 27*time.Microsecond + time.Duration(r.Int64N(4001))
		ends = 456*time.Microsecond + time.Duration(r.Int64N(30_001))
		s.preamble += r.IntN(6)
	}
	s.cutout = cutoutSettings{begins: begins, length: ends - begins}
}
