package simulated

import (
	"fmt"
	"math/rand/v2"

	"bufferstop/rigs/rails"
)

// form makes the station what the options say: its legal freedoms, its habit, and its defect last.
func (r *Rig) form(o *Options, draw *rand.Rand) error {
	var d Defect
	if o.Defect != "" {
		var err error
		if d, err = Find(o.Defect); err != nil {
			return err
		}
		if o.Habit == "" {
			o.Habit = d.Habit()
		}
		if habit := d.Habit(); habit != "" && o.Habit != habit {
			return fmt.Errorf("simulated rig: the defect %s is one of stations with the habit %q, got the habit %q", d.Name, habit, o.Habit)
		}
	}
	if o.Habit != "" {
		h, err := FindHabit(o.Habit)
		if err != nil {
			return err
		}
		if o.Nominal {
			draw = nil
		}
		h.apply(&r.settings, draw)
	}
	if d.apply != nil {
		d.apply(&r.settings)
	}
	return nil
}

// wired is the circuit of the rig file with what the station's builder has made of it. What the file leaves open is the station's; what
// is wrong with a station comes before the file.
func (s *settings) wired(c rails.Circuit) rails.Circuit {
	if c.Rise == 0 {
		c.Rise = s.rise
	}
	f := &s.flaws
	if f.supply > 0 {
		c.Supply = f.supply
	}
	if f.slowRise > 0 {
		c.Rise = f.slowRise
	}
	c.Uneven, c.Kink = f.uneven, f.kink
	return c.WithDefaults()
}
