package probe

import (
	"fmt"
	"time"
)

// A LoadProfile is a course of load on a track.
type LoadProfile struct {
	// At is when the first step begins. Now has it begin at once instead. The probe begins at once as well when it hears of
	// the profile later than that; the steps keep their lengths.
	At  time.Duration
	Now bool
	// Behind puts the steps behind those that wait in the probe. Otherwise they replace them.
	Behind bool
	Steps  []LoadStep
}

// A LoadStep is a level of load for a time.
type LoadStep struct {
	Level uint16 // in steps of the load, see TrackHello.Level
	// Hold is rounded to 4 µs. What is longer than a step can be becomes several. Zero, in the last step only, is for ever;
	// after any other last step the load is zero.
	Hold time.Duration
}

// holdUnit is the unit of Step.Hold.
const holdUnit = HoldMicros * time.Microsecond

// longestHold is what a step can last.
const longestHold = 1<<16 - 1

// fill fills the message with the steps.
func (m *Load) fill(steps []LoadStep) error {
	m.Count = 0
	for i, s := range steps {
		if s.Hold < 0 || s.Hold == 0 && i < len(steps)-1 {
			return fmt.Errorf("probe: load step %d of %d: hold is %v, want more than 0s (0s in the last step: for ever)", i+1, len(steps), s.Hold)
		}
		left := (s.Hold + holdUnit/2) / holdUnit
		if s.Hold > 0 {
			left = max(left, 1)
		}
		for {
			if m.Count == MaxSteps {
				return fmt.Errorf("probe: load profile of %d steps: more than %d of at most %v", len(steps), MaxSteps, longestHold*holdUnit)
			}
			hold := min(left, longestHold)
			m.Steps[m.Count] = Step{Level: s.Level, Hold: uint16(hold)}
			m.Count++
			if left -= hold; left <= 0 {
				break
			}
		}
	}
	return nil
}

// A ReflexRule has the probe answer a packet by itself with a pulse of load.
type ReflexRule struct {
	Rule   int    // the rule's number, below ReflexRules of the Hello
	Packet []byte // error byte included
	Run    int    // at so many identical packets in a row: 1 to 10
	Delay  time.Duration
	Level  uint16
	Width  time.Duration
}

// message makes the command of the rule.
func (r ReflexRule) message(track int) (Reflex, error) {
	m := Reflex{Track: uint8(track), Rule: uint8(r.Rule), Run: uint8(r.Run), Level: r.Level, Length: uint8(len(r.Packet))}
	wrong := func(what string, got any, want string) (Reflex, error) {
		return m, fmt.Errorf("probe: reflex: %s is %v, want %s", what, got, want)
	}
	delay, width := (r.Delay+holdUnit/2)/holdUnit, (r.Width+holdUnit/2)/holdUnit
	m.Delay, m.Width = uint16(delay), uint16(width)
	switch {
	case r.Rule < 0 || r.Rule > 255:
		return wrong("rule", r.Rule, "0 to 255")
	case len(r.Packet) < MinReflexBytes || len(r.Packet) > MaxReflexBytes:
		return wrong("packet", fmt.Sprintf("%d bytes", len(r.Packet)), "3 to 6")
	case r.Run < 1 || r.Run > MaxRun:
		return wrong("run", r.Run, "1 to 10")
	case delay < 0 || delay > longestHold:
		return wrong("delay", r.Delay, fmt.Sprintf("0s to %v", longestHold*holdUnit))
	case width < 1 || width > longestHold:
		return wrong("width", r.Width, fmt.Sprintf("%v to %v", holdUnit, longestHold*holdUnit))
	}
	copy(m.Bytes[:], r.Packet)
	return m, nil
}
