package simulated

import (
	"fmt"
	"slices"
	"strings"
)

// A Defect is one way in which real firmware goes wrong.
type Defect struct {
	// Name is short and lasting.
	Name string
	// Summary says what the station does.
	Summary string
	// Breaks lists the ids of the requirements that a station with this defect does not meet. Others may go with them where
	// the catalogue says that one of these implies them.
	Breaks []string

	apply func(*settings)
}

// Defects lists the seeded defects in the order of the requirements that they break.
func Defects() []Defect {
	return slices.Clone(defects)
}

// Find returns the defect of a name. The error lists those that are like it, or says how to list all.
func Find(name string) (Defect, error) {
	var like []string
	for _, d := range defects {
		if d.Name == name {
			return d, nil
		}
		for _, word := range strings.Split(strings.ToLower(name), "-") {
			if len(word) > 3 && strings.Contains(d.Name, word) {
				like = append(like, d.Name)
				break
			}
		}
	}
	hint := "`bufferstop defects` lists them"
	if len(like) > 0 {
		hint = "there is " + strings.Join(like, ", ")
	}
	return Defect{}, fmt.Errorf("simulated rig: no defect named %q; %s", name, hint)
}

// flaw makes an apply function of a change to the flaws.
func flaw(change func(*flaws)) func(*settings) {
	return func(s *settings) { change(&s.flaws) }
}

// Habit is the name of the habit of the stations that can have the defect; empty for those with the habits of the reference station.
func (d Defect) Habit() string {
	for _, h := range habits {
		for _, other := range h.defects {
			if other.Name == d.Name {
				return h.Name
			}
		}
	}
	return ""
}

// defects are those of every group, each in its own file.
var defects = slices.Concat(signalDefects, packetDefects, operationsDefects, accessoryDefects, depthDefects, linkDefects, powerDefects,
	serviceDefects, acknowledgeDefects, overloadDefects, voltDefects, cutoutDefects, latchedDefects)
