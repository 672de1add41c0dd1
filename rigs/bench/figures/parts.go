package figures

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// A Part is one part of the probe, or several that are alike, by value and function. Its values are the only place where
// they stand: the figures letter them, the page lists them, and the checks with ngspice build their netlists of them.
type Part struct {
	// Names has one name or more: R101, R102.
	Names []string
	// Main and Programming are the values in Unit at the two tracks; equal for most.
	Main, Programming float64
	// Unit is Ω, F, A or V; empty for a part that has no single value.
	Unit string
	// Says is what else it must be: tolerance, power, voltage.
	Says string
	// Does is what it is for.
	Does string
}

// A Block is one of the circuits of a track, or the probe's own supply.
type Block struct {
	Name  string
	Parts []Part
}

// same is a part with one value at both tracks.
func same(names string, value float64, unit, says, does string) Part {
	return Part{strings.Split(names, " "), value, value, unit, says, does}
}

// two is a part with another value at the programming track.
func two(names string, main, programming float64, unit, says, does string) Part {
	return Part{strings.Split(names, " "), main, programming, unit, says, does}
}

// kind is a part that is chosen by what it can do.
func kind(names, says, does string) Part {
	return Part{Names: strings.Split(names, " "), Says: says, Does: does}
}

// Blocks is the whole list of parts. The first four blocks are needed once for each track.
var Blocks = []Block{
	{"Front end", []Part{
		same("R101 R102 R103 R104", 22e3, "Ω", "0.1 %, 0.25 W, 200 V", "rails to the four dividers"),
		same("R105 R106 R107 R108", 2.2e3, "Ω", "0.1 %", "dividers to ground"),
		same("R109 R110 R111 R112", 27.4e3, "Ω", "0.1 %", "two to ground, two to +5 V: the ±4 V of the window"),
		same("R113 R114", 1e3, "Ω", "1 %", "into the sign comparator, so that its hysteresis stays its own"),
		same("R115 R116 R117", 820e3, "Ω", "1 %", "hysteresis, and the bias that centres it"),
		same("R118", 12.1e3, "Ω", "1 %", "with C101: off is told 10 µs late"),
		same("C101", 1e-9, "F", "2 %, C0G", "with R118"),
		same("R119 R120", 10e3, "Ω", "1 %", "half of the 5 V, where off is told"),
		same("R121", 10e3, "Ω", "1 %", "into the third comparator"),
		same("R122", 1e6, "Ω", "1 %", "its hysteresis"),
		same("R123", 4.7e3, "Ω", "5 %", "pull-up of ABSENT"),
		kind("D101 D102 D103 D104", "two Schottky diodes in series, 30 V, at most 0.3 V at 1 mA", "hold the dividers between ground and 5 V"),
		kind("U101", "comparator, push-pull, 5 V, inputs to both rails, 50 ns", "sign"),
		kind("U102", "four comparators, open collector, 5 V, inputs 0 to 3.4 V, 0.4 to 1 µs at 50 mV, sinks 6 mA", "window, off; one is left over"),
	}},
	{"Current", []Part{
		two("F201 F202", 5, 2, "A", "time-lag, 5 × 20 mm, 250 V, in a covered holder", "one in each lead of the track"),
		two("R201", 20e-3, 80e-3, "Ω", "1 %, 2 W, four terminals", "sense"),
		kind("D201", "suppressor for both polarities, 26 V, 600 W", "between the rails"),
		kind("U201", "current-sense amplifier for both directions, gain 20, −4 to 60 V, 120 dB at dc, 90 dB at 50 kHz, 400 kHz, 50 µV", "sense"),
		kind("U202", "two op-amps, 12 V, rail to rail, 10 MHz, 8 V/µs, 0.25 mV", "magnitude: one for each direction"),
		kind("U203", "op-amp, as U202", "the 2.5 V, low in impedance"),
		same("R202 R203 R206 R207", 10e3, "Ω", "0.1 %", "into the magnitude"),
		same("R204 R205 R208 R209", 49.9e3, "Ω", "0.1 %", "its gain"),
		same("R210 R211", 10e3, "Ω", "0.1 %", "join the two"),
		same("C201", 10e-9, "F", "5 %, film or C0G", "with R210 and R211: a filter of 50 µs"),
		same("R212 R213", 10e3, "Ω", "0.1 %", "half of the 5 V"),
		same("C202", 1e-6, "F", "10 %", "quietens it"),
		kind("D202", "as D101", "holds the converter's pin between ground and 5 V"),
	}},
	{"Load", []Part{
		same("R301 R302 R303 R304 R305 R306 R307 R308 R316", 20e3, "Ω", "0.1 %", "ladder, 2R: a leg for each bit, and its end"),
		same("R309 R310 R311 R312 R313 R314 R315", 10e3, "Ω", "0.1 %", "ladder, R: from bit to bit"),
		kind("U301", "two op-amps, as U202, inputs down to ground", "behind the ladder; at the gate"),
		same("R317 R318", 20e3, "Ω", "0.1 %; 32 kΩ with a ladder of six bits", "scale of the load"),
		same("R319 R320", 2.05e3, "Ω", "0.1 %", "scale of the load"),
		same("R321", 10e6, "Ω", "5 %", "half a step of current at nought"),
		same("C301", 330e-12, "F", "5 %, C0G", "stability"),
		same("R322", 47, "Ω", "5 %", "at the gate, against oscillation"),
		same("R323", 100e3, "Ω", "5 %", "holds the gate down without a supply"),
		kind("Q301", "N-channel FET for linear use, 60 V or more, threshold 2 to 4 V, at most 12 nF; main: 0.3 K/W, safe operating area for dc 6 A at 22 V; programming: 1 K/W, 1.2 A at 22 V", "load, on a heat sink"),
		kind("S301", "thermal switch, opens at 80 °C, on the heat sink", "takes the 12 V from U301: the gate falls"),
		two("R324", 0.1, 0.5, "Ω", "1 %, 5 W", "source resistor, four wires"),
		kind("D301 D302 D303 D304", "Schottky diode, 60 V, 10 A", "rectifier, on the heat sink"),
		two("C302", 4.7e-6, 1e-6, "F", "10 %, film, 63 V", "feeds the load while the track reverses"),
	}},
	{"Short switch", []Part{
		kind("Q401 Q402", "N-channel FET, 60 V, 10 mΩ at 6 V from gate to source, 60 A", "the switch"),
		same("R401", 4.7e3, "Ω", "5 %", "from gate to source: opens it"),
		kind("D401", "Zener diode, 15 V", "protects the gates"),
		same("R402", 470, "Ω", "5 %", "into the gates"),
		kind("Q403", "PNP transistor, 40 V", "closes the switch"),
		kind("Q404", "NPN transistor, 40 V", "drives Q403"),
		same("R403 R406", 10e3, "Ω", "5 %", "hold both transistors off"),
		same("R404 R405", 4.7e3, "Ω", "5 %", "into their bases"),
	}},
	{"Supply and link", []Part{
		kind("K501", "relay, 12 V coil, change-over contact 10 A at 30 V dc", "supply switch of the station"),
		kind("Q501", "NPN transistor, 40 V, 0.5 A", "drives K501"),
		same("R501", 4.7e3, "Ω", "5 %", "into its base"),
		same("R502", 10e3, "Ω", "5 %", "holds it off"),
		kind("D501", "rectifier diode, 1 A", "takes the coil's current"),
		same("F501", 1, "A", "time-lag", "the probe's supply"),
		kind("U501", "regulator, 5 V, 1 A, 2 %", "5 V, unless the board's own is good for it"),
		kind("U502", "isolator for two signals, one each way, 10 Mbit/s, 1 kV or more", "between the probe and the computer"),
		same("C501 C502", 100e-6, "F", "25 V", "at 12 V and at 5 V"),
		kind("C503", "100 nF, ceramic, one at each U", "decoupling"),
	}},
}

// Track picks one of the two values of a part.
type Track int

// The two tracks, numbered as in the probe protocol.
const (
	Main Track = iota
	Programming
)

// Find gives the part of a name such as R101. It panics for a name that is not in the list, which is a mistake in a figure.
func Find(name string) Part {
	for _, block := range Blocks {
		for _, part := range block.Parts {
			for _, n := range part.Names {
				if n == name {
					return part
				}
			}
		}
	}
	panic("no part " + name)
}

// Value is the value of a part at a track in ohms, farads, amperes or volts.
func Value(name string, track Track) float64 {
	part := Find(name)
	if part.Unit == "" {
		panic(name + " has no value")
	}
	if track == Programming {
		return part.Programming
	}
	return part.Main
}

// Label is a part's value as a figure has it: "22 kΩ", or "20 | 80 mΩ" where the tracks differ, main first.
func Label(name string) string {
	part := Find(name)
	switch {
	case part.Unit == "":
		return ""
	case part.Main == part.Programming:
		return quantity(part.Main, part.Unit)
	}
	main, programming := quantity(part.Main, part.Unit), quantity(part.Programming, part.Unit)
	number, unit, _ := strings.Cut(main, " ")
	if strings.HasSuffix(programming, " "+unit) {
		return number + " | " + programming
	}
	return main + " | " + programming
}

// quantity writes a value with the prefix that leaves one to three digits before the point.
func quantity(value float64, unit string) string {
	prefixes := []struct {
		factor float64
		name   string
	}{{1e6, "M"}, {1e3, "k"}, {1, ""}, {1e-3, "m"}, {1e-6, "µ"}, {1e-9, "n"}, {1e-12, "p"}}
	for _, p := range prefixes {
		if value >= p.factor*(1-1e-9) || p.factor == 1e-12 {
			return strconv.FormatFloat(math.Round(value/p.factor*1e4)/1e4, 'g', -1, 64) + " " + p.name + unit
		}
	}
	panic("unreachable")
}

// Table is the list of parts of a block as the page has it, in Markdown.
func (b Block) Table() string {
	var s strings.Builder
	s.WriteString("| part | value | must be | does |\n|---|---|---|---|\n")
	for _, part := range b.Parts {
		value := "—"
		if part.Unit != "" {
			value = quantity(part.Main, part.Unit)
			if part.Programming != part.Main {
				value += ", programming " + quantity(part.Programming, part.Unit)
			}
		}
		fmt.Fprintf(&s, "| %s | %s | %s | %s |\n", span(part.Names), value, part.Says, part.Does)
	}
	return s.String()
}

// span writes names in a row as R101 to R104, and others one by one.
func span(names []string) string {
	var runs []string
	for i := 0; i < len(names); {
		j := i
		for j+1 < len(names) && follows(names[j], names[j+1]) {
			j++
		}
		switch j - i {
		case 0:
			runs = append(runs, names[i])
		case 1:
			runs = append(runs, names[i], names[j])
		default:
			runs = append(runs, names[i]+" to "+names[j])
		}
		i = j + 1
	}
	return strings.Join(runs, ", ")
}

func follows(a, b string) bool {
	m, err := strconv.Atoi(a[1:])
	n, err2 := strconv.Atoi(b[1:])
	return err == nil && err2 == nil && a[0] == b[0] && n == m+1
}
