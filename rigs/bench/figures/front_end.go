package figures

// All gives the figures of the page in its order.
func All() []*Figure {
	return []*Figure{overview(), dividers(), comparators(), current(), ladder(), load(), short(), link()}
}

// dividers is the first half of the front end: from the rails to four voltages that a comparator bears.
func dividers() *Figure {
	f := &Figure{File: "dividers.svg", width: 400, height: 600, title: "Front end: dividers",
		says: "Each rail goes through 22 kΩ to two dividers. The nodes a and b have 2.2 kΩ and 27.4 kΩ to ground; the nodes a+ and b+ have 2.2 kΩ to ground and 27.4 kΩ to +5 V, which lifts them by what 4 V of the track make. Two diodes at each node hold it between ground and 5 V."}
	f.port(24, 34, middle, "")
	f.port(52, 34, middle, "")
	f.note(28, 22, middle, "rail A")
	f.note(74, 22, middle, "rail B")
	rows := []struct {
		y                                float64
		rail                             float64
		series, ground, other, diodes, n string
	}{
		{80, 24, "R103", "R107", "R111", "D103", "a+"},
		{220, 52, "R102", "R106", "R110", "D102", "b"},
		{360, 24, "R101", "R105", "R109", "D101", "a"},
		{500, 52, "R104", "R108", "R112", "D104", "b+"},
	}
	f.wire(24, 37.5, 24, 360)
	f.wire(52, 37.5, 52, 500)
	for i, r := range rows {
		f.wire(r.rail, r.y, 62, r.y)
		f.resistor(62, r.y, 150, r.y, above, r.series)
		if i == 0 || i == 1 {
			f.dot(r.rail, r.y)
		}
		f.resistor(150, r.y, 150, r.y+66, left, r.ground)
		f.ground(150, r.y+66)
		f.dot(150, r.y)
		f.resistor(200, r.y, 200, r.y+66, right, r.other)
		f.dot(200, r.y)
		if i == 0 || i == 3 {
			f.supplyBelow(200, r.y+66, "+5 V")
		} else {
			f.ground(200, r.y+66)
		}
		f.wire(150, r.y, 360, r.y)
		f.clamp(300, r.y, right, r.diodes)
		f.port(363.5, r.y, start, r.n)
	}
	return f
}

// comparators is the second half: what becomes SIGN and ABSENT of the four voltages.
func comparators() *Figure {
	f := &Figure{File: "comparators.svg", width: 480, height: 560, title: "Front end: comparators",
		says: "A comparator with hysteresis compares a with b and gives SIGN. Two comparators with open collectors compare a with b+ and b with a+; either pulls the capacitor C101 down while the track has more than 4 V of its polarity. R118 charges it when neither does, and a third comparator gives ABSENT."}
	// Sign.
	f.port(28, 88, end, "b")
	f.port(28, 132, end, "a")
	f.resistor(31.5, 88, 130, 88, above, "R114")
	f.resistor(31.5, 132, 130, 132, below, "R113")
	f.wire(130, 88, 220, 88)
	f.wire(130, 132, 220, 132)
	f.dot(150, 88)
	f.resistor(150, 88, 150, 28, right, "R116")
	f.wire(150, 28, 150, 24, 172, 24)
	f.resistor(172, 24, 330, 24, below, "R117")
	f.wire(330, 24, 346, 24, 346, 28)
	f.supplyBelow(346, 28, "+5 V")
	out := f.amplifier(220, 110, 22, false, "U101")
	f.wire(out, 110, 420, 110)
	f.dot(310, 110)
	f.wire(310, 110, 310, 178, 290, 178)
	f.resistor(290, 178, 190, 178, below, "R115")
	f.wire(190, 178, 180, 178, 180, 132)
	f.dot(180, 132)
	f.port(423.5, 110, middle, "")
	f.text(423.5, 98, middle, "", "SIGN")

	// Window: the joined collectors.
	for _, w := range []struct {
		y            float64
		plus, minus  string
		name         string
		belowOrAbove float64
	}{{270, "a+", "b", "U102A", 1}, {370, "b+", "a", "U102B", -1}} {
		f.port(32, w.y-16, end, w.plus)
		f.port(32, w.y+16, end, w.minus)
		f.wire(35.5, w.y-16, 60, w.y-16)
		f.wire(35.5, w.y+16, 60, w.y+16)
		tip := f.amplifier(60, w.y, 16, true, "")
		f.note(60, w.y-36, start, w.name)
		f.wire(tip, w.y, 150, w.y)
	}
	f.wire(150, 270, 150, 370)
	f.dot(150, 270)
	f.dot(150, 320)
	f.dot(150, 370)
	f.resistor(150, 270, 150, 214, right, "R118")
	f.supply(150, 214, "+5 V")
	f.capacitor(150, 370, 150, 424, right, "C101")
	f.ground(150, 424)

	// Off.
	f.resistor(150, 320, 260, 320, above, "R121")
	f.wire(260, 320, 290, 320)
	f.dot(272, 320)
	f.wire(272, 320, 272, 276, 282, 276)
	f.resistor(282, 276, 362, 276, above, "R122")
	f.wire(362, 276, 372, 276, 372, 342)
	f.dot(372, 342)
	tip := f.amplifier(290, 342, 22, true, "U102C")
	f.wire(tip, 342, 440, 342)
	f.dot(412, 342)
	f.resistor(412, 342, 412, 250, right, "R123")
	f.supply(412, 250, "+5 V")
	f.port(443.5, 342, middle, "")
	f.text(436, 364, middle, "", "ABSENT")
	f.wire(290, 364, 272, 364, 272, 440)
	f.dot(272, 440)
	f.resistor(272, 440, 272, 500, right, "R120")
	f.ground(272, 500)
	f.resistor(272, 440, 372, 440, above, "R119")
	f.wire(372, 440, 384, 440)
	f.wire(384, 440, 384, 430)
	f.supply(384, 430, "+5 V")
	f.note(24, 505, start, "U102A and U102B pull", "down only: their", "collectors are open.")
	return f
}
