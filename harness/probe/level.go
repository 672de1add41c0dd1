package probe

import (
	"math"

	"bufferstop/harness/signal"

	"periph.io/x/conn/v3/physic"
)

// level is the signal's name of a code.
func (c Code) level() signal.Level {
	switch c {
	case CodePositive:
		return signal.Positive
	case CodeNegative:
		return signal.Negative
	}
	return signal.Off
}

// CodeOf is the code of a level.
func CodeOf(l signal.Level) Code {
	switch l {
	case signal.Positive:
		return CodePositive
	case signal.Negative:
		return CodeNegative
	}
	return CodeOff
}

// current is that of a count.
func (td *trackDelivery) current(count uint16) physic.ElectricCurrent {
	return physic.ElectricCurrent(math.Round((float64(count) - td.zero) * td.nanoamps))
}

// Has reports whether the probe has all the features.
func (h *Hello) Has(f Features) bool { return h.Features&f == f }

// Track returns what the probe can do on a track, by its id, or nil.
func (h *Hello) Track(id int) *TrackHello {
	for i := range h.Tracks {
		if int(h.Tracks[i].ID) == id {
			return &h.Tracks[i]
		}
	}
	return nil
}

// PerCount is the current that one count of a sample stands for.
func (t *TrackHello) PerCount() physic.ElectricCurrent {
	return physic.ElectricCurrent(t.SenseMicroamps) * physic.MicroAmpere
}

// FullScale is the highest current that can be measured.
func (t *TrackHello) FullScale() physic.ElectricCurrent {
	return (physic.ElectricCurrent(t.SenseFull) - physic.ElectricCurrent(t.SenseZero)) * t.PerCount()
}

// PerStep is the current of one step of the load.
func (t *TrackHello) PerStep() physic.ElectricCurrent {
	return physic.ElectricCurrent(t.LoadMicroamps) * physic.MicroAmpere
}

// MostLoad is the highest load, and ForEver the highest that it can keep for ever.
func (t *TrackHello) MostLoad() physic.ElectricCurrent {
	return physic.ElectricCurrent(t.LoadTop) * t.PerStep()
}

// ForEver is the highest load that it can keep for ever.
func (t *TrackHello) ForEver() physic.ElectricCurrent {
	return physic.ElectricCurrent(t.LoadContinuous) * t.PerStep()
}

// Level is the step of the load that is nearest to a current: false when the current is negative or beyond the top.
func (t *TrackHello) Level(i physic.ElectricCurrent) (level uint16, ok bool) {
	step := t.PerStep()
	if step <= 0 {
		return 0, i == 0
	}
	n := (i + step/2) / step
	if i < 0 || n > physic.ElectricCurrent(t.LoadTop) {
		return 0, false
	}
	return uint16(n), true
}

// Short is the resistance of the switch across the rails, zero where there is none.
func (t *TrackHello) Short() physic.ElectricResistance {
	return physic.ElectricResistance(t.ShortMilliohms) * physic.MilliOhm
}
