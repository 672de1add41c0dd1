package conformance

import (
	"fmt"
	"testing"

	"bufferstop/harness/dcc"

	"github.com/stretchr/testify/require"
)

// spellings are the bytes of an instruction without the error byte, in every way in which they were typed: by a rule, and by a row of
// its own if there is one.
func spellings(t *testing.T, s *typed, i dcc.Instruction) (all []string) {
	t.Helper()
	add := func(a dcc.Address, rows ...string) {
		for _, address := range addressSpellings(t, s, a) {
			for _, row := range rows {
				all = append(all, address+" "+row)
			}
		}
	}
	rows := func(rule string, fields map[rune]int, own string) (found []string) {
		if rule != "" {
			found = append(found, s.bits(t, rule, fields))
		}
		if s.has(own) {
			found = append(found, s.bits(t, own, nil))
		}
		return found
	}
	switch i := i.(type) {
	case dcc.Speed:
		if i.Steps == dcc.Steps28 {
			add(i.Address, s.bits(t, speedName(i), nil)) // the table has them all
			break
		}
		code := i.Step + 1
		switch {
		case i.Emergency:
			code = 1
		case i.Step == 0:
			code = 0
		}
		add(i.Address, rows(fmt.Sprintf("128 steps, %v", i.Direction), map[rune]int{'S': code}, speedName(i))...)
	case dcc.BroadcastStop:
		name := "all stop"
		if i.Immediate {
			name = "all emergency stop"
		}
		if i.DirectionIgnored {
			name += " (direction may be ignored)"
		}
		all = []string{"00000000 " + s.bits(t, fmt.Sprintf("%s, %v", name, i.Direction), nil)}
	case dcc.Functions:
		add(i.Address, functionSpelling(t, s, i))
	case dcc.Consist:
		way := "normal"
		if i.Reversed {
			way = "reversed"
		}
		add(i.Address, rows("consist, "+way, map[rune]int{'K': i.Consist}, fmt.Sprintf("consist %d, %s", i.Consist, way))...)
	case dcc.MainWrite:
		add(i.Address, rows("write on the main", map[rune]int{'V': i.CV - 1, 'D': int(i.Value)}, mainName(i))...)
	case dcc.MainBit:
		require.True(t, i.Write)
		add(i.Address, rows("bit on the main", map[rune]int{'V': i.CV - 1, 'D': int(i.Value), 'B': i.Bit},
			fmt.Sprintf("bit %d of CV %d to %d on the main", i.Bit, i.CV, i.Value))...)
	case dcc.Accessory:
		all = rows("accessory", map[rune]int{'A': int(i.Decoder % 64), 'N': 7 - int(i.Decoder/64), 'C': int(flagged(i.Activate)),
			'P': int(i.Pair), 'O': int(i.Output)}, accessoryName(i))
	case dcc.AccessoryAspect:
		all = rows("signal", map[rune]int{'A': int(i.Address / 4 % 64), 'N': 7 - int(i.Address/256), 'P': int(i.Address % 4),
			'X': int(i.Aspect)}, fmt.Sprintf("signal %d aspect %d", i.Address, i.Aspect))
	default:
		require.Fail(t, "an instruction that nothing was typed of", "%T", i)
	}
	require.NotEmpty(t, all)
	return all
}

// addressSpellings are the bytes of an address, by the rule and by a row of its own.
func addressSpellings(t *testing.T, s *typed, a dcc.Address) (all []string) {
	kind := "short"
	if a.Long {
		kind = "long"
	}
	all = append(all, s.bits(t, kind+" address", map[rune]int{'A': int(a.Number)}))
	if own := fmt.Sprintf("%s %d", kind, a.Number); s.has(own) {
		all = append(all, s.bits(t, own, nil))
	}
	return all
}

// functionSpelling puts the rows of all functions that are on together: each has one bit more than the row with none.
func functionSpelling(t *testing.T, s *typed, i dcc.Functions) string {
	spelt := []byte(s.bits(t, noneOfGroup(i.Group), nil))
	for f := i.Group.First(); f <= i.Group.Last(); f++ {
		row := s.bits(t, fmt.Sprintf("F%d", f), nil)
		if i.States>>(f-i.Group.First())&1 == 0 {
			continue
		}
		for at := range spelt {
			if row[at] == '1' {
				spelt[at] = '1'
			}
		}
	}
	return string(spelt)
}

func speedName(i dcc.Speed) string {
	what := fmt.Sprintf("step %d", i.Step)
	switch {
	case i.Emergency:
		what = "emergency stop"
	case i.Step == 0:
		what = "stop"
	}
	if i.DirectionIgnored {
		what += " (direction may be ignored)"
	}
	return fmt.Sprintf("%d steps, %s, %v", i.Steps, what, i.Direction)
}

func mainName(i dcc.MainWrite) string {
	return fmt.Sprintf("write %d to CV %d on the main", i.Value, i.CV)
}

func accessoryName(i dcc.Accessory) string {
	state := "off"
	if i.Activate {
		state = "on"
	}
	return fmt.Sprintf("accessory decoder %d pair %d output %d %s", i.Decoder, i.Pair, i.Output, state)
}

// wholeName is the name that a whole packet would have among the typed ones.
func wholeName(i dcc.Instruction) string {
	kind := func(a dcc.Address) string {
		if a.Long {
			return fmt.Sprintf("long %d, ", a.Number)
		}
		return fmt.Sprintf("short %d, ", a.Number)
	}
	switch i := i.(type) {
	case dcc.Speed:
		return kind(i.Address) + speedName(i)
	case dcc.MainWrite:
		return kind(i.Address) + mainName(i)
	case dcc.Accessory:
		return accessoryName(i)
	}
	return ""
}
