package figures

import "fmt"

// ladder is the R-2R ladder on a port, with the buffer behind it.
func ladder() *Figure {
	f := &Figure{File: "ladder.svg", width: 556, height: 250, title: "Load: ladder",
		says: "Eight pins of a port, bit 0 to bit 7, each through 20 kΩ to a chain of 10 kΩ resistors that ends in 20 kΩ to ground at the side of bit 0. An op-amp as a follower stands behind bit 7."}
	x := func(bit int) float64 { return 66 + 56*float64(bit) }
	f.wire(x(0), 130, 30, 130)
	f.resistorAs(30, 140, 30, 206, right, "R316", "")
	f.wire(30, 130, 30, 140)
	f.ground(30, 206)
	for bit := range 8 {
		f.port(x(bit), 34, middle, "")
		f.text(x(bit), 22, middle, "s", fmt.Sprint("bit ", bit))
		f.resistorAs(x(bit), 37.5, x(bit), 130, right, "", "")
		f.text(x(bit)+10, 88, start, "s", fmt.Sprint("R", 301+bit))
		f.dot(x(bit), 130)
		if bit > 0 {
			f.resistorAs(x(bit-1), 130, x(bit), 130, below, fmt.Sprint("R", 308+bit), "")
		}
	}
	f.wire(x(7), 130, x(7)+26, 130, x(7)+26, 180, 300, 180, 300, 186)
	f.wire(300, 186, 300, 194, 314, 194)
	tip := f.amplifier(314, 210, 16, true, "")
	f.note(342, 197, start, "U301A")
	f.wire(314, 226, 300, 226, 300, 244, 388, 244, 388, 210)
	f.dot(388, 210)
	f.wire(tip, 210, 430, 210)
	f.port(433.5, 210, start, "level")
	f.note(70, 200, start, "R301 to R308, R316: "+Label("R301"), "R309 to R315: "+Label("R309"))
	return f
}

// load is the op-amp, the FET and the source resistor behind the rectifier.
func load() *Figure {
	f := &Figure{File: "load.svg", width: 556, height: 500, title: "Load: current sink behind a rectifier",
		says: "The op-amp U301B compares the level, scaled by R317 and R319 down to the rectifier's own negative end n, with the voltage of the source resistor R324, scaled by R318 and R320 in the same way, and drives the gate of Q301. Four diodes rectify the track; C302 lies behind them. R321 from +5 V lets a little current flow at nought."}
	const n = 460
	// Level to the + input, which stands below.
	f.port(20, 262, middle, "")
	f.text(14, 250, start, "", "level")
	f.resistor(23.5, 262, 104, 262, below, "R317")
	f.wire(104, 262, 210, 262)
	f.dot(120, 262)
	f.resistor(120, 310, 120, 390, left, "R319")
	f.wire(120, 262, 120, 310)
	f.wire(120, 390, 120, n)
	f.dot(160, 262)
	f.resistorAs(160, 300, 160, 372, left, "", "")
	f.wire(160, 262, 160, 300)
	f.supplyBelow(160, 372, "+5 V")
	f.text(172, 333, start, "", "R321")
	f.text(172, 350, start, "v", Label("R321"))
	// The − input: R318 to ground, R320 to the source, C301 from the output.
	f.resistor(40, 218, 104, 218, above, "R318")
	f.wire(40, 218, 32, 218)
	f.ground(32, 218)
	f.wire(104, 218, 210, 218)
	f.dot(185, 218)
	f.dot(140, 218)
	f.wire(140, 218, 140, 112, 160, 112)
	f.resistor(160, 112, 260, 112, above, "R320")
	f.wire(260, 112, 275, 112, 275, 180)
	f.wire(275, 180, 275, 400)
	f.wire(185, 218, 185, 172)
	f.capacitor(185, 172, 258, 172, above, "")
	f.named(221, 156, middle, "C301", Label("C301"))
	f.wire(258, 172, 290, 172, 290, 240)
	tip := f.amplifier(210, 240, 22, false, "U301B")
	f.wire(tip, 240, 296, 240)
	f.dot(290, 240)
	f.resistor(296, 240, 346, 240, below, "R322")
	f.wire(346, 240, 372, 240)
	f.fet(372, 240, false, "")
	f.text(424, 270, start, "", "Q301")
	f.dot(362, 240)
	f.resistor(362, 260, 362, 330, left, "R323")
	f.wire(362, 240, 362, 260)
	f.wire(362, 330, 402, 330)
	f.wire(402, 270, 402, 400)
	f.dot(402, 330)
	f.dot(402, 400)
	f.wire(275, 400, 402, 400)
	f.resistor(402, 400, 402, n, left, "R324")
	f.dot(402, n)
	// Rectifier.
	f.wire(402, 210, 402, 60)
	f.wire(120, n, 520, n)
	f.text(200, n-8, middle, "", "n")
	f.wire(402, 60, 520, 60)
	f.diode(466, 196, 466, 60, right, schottky, "")
	f.diode(520, 196, 520, 60, right, schottky, "")
	f.diode(466, n, 466, 260, right, schottky, "")
	f.diode(520, n, 520, 260, right, schottky, "")
	f.note(460, 110, end, "D301")
	f.note(514, 110, end, "D302")
	f.note(460, 400, end, "D303")
	f.note(514, 400, end, "D304")
	f.dot(466, 60)
	f.dot(466, n)
	f.wire(466, 196, 466, 260)
	f.wire(520, 196, 520, 260)
	f.dot(466, 205)
	f.dot(520, 235)
	f.wire(466, 205, 480, 205)
	f.wire(520, 235, 534, 235)
	f.port(483.5, 205, middle, "")
	f.port(537.5, 235, middle, "")
	f.text(483, 196, start, "s", "A")
	f.text(534, 224, start, "s", "B")
	f.dot(402, 60)
	f.wire(402, 60, 366, 60)
	f.capacitor(366, 60, 366, 112, left, "C302")
	f.text(366, 128, middle, "s", "n")
	f.note(14, 24, start, "Main | programming.", "n is no ground: it stands a diode", "above the lower rail, and no", "other track may share it.")
	f.note(14, 420, start, "+12 V comes", "to U301", "through S301.")
	return f
}
