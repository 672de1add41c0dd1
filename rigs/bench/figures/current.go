package figures

// current is the sense resistor with its amplifier, and the two difference amplifiers that make a magnitude of it.
func current() *Figure {
	f := &Figure{File: "current.svg", width: 510, height: 780, title: "Current",
		says: "Lead A of the station goes through fuse F201 and sense resistor R201 to rail A; lead B goes through fuse F202 to rail B, and suppressor D201 lies between the rails. U201 amplifies the voltage of R201 twenty times around 2.5 V. One op-amp of U202 gives five times what is above 2.5 V, the other five times what is below. R210 and R211 join them into C201 and the converter's pin, held between ground and 5 V."}
	f.port(90, 40, end, "station B")
	f.port(90, 100, end, "station A")
	f.fuse(93.5, 40, 190, 40, above, "F202")
	f.wire(190, 40, 420, 40)
	f.fuse(93.5, 100, 190, 100, above, "F201")
	f.resistor(190, 100, 330, 100, above, "R201")
	f.wire(330, 100, 420, 100)
	f.diode(400, 40, 400, 100, left, suppressor, "D201")
	f.dot(400, 40)
	f.dot(400, 100)
	f.port(423.5, 40, start, "rail B")
	f.port(423.5, 100, start, "rail A")
	f.dot(204, 100)
	f.dot(316, 100)
	f.wire(204, 100, 204, 150)
	f.wire(316, 100, 316, 150)
	f.block(190, 150, 140, 66, "U201, × 20")
	f.text(204, 166, middle, "s", "+")
	f.text(316, 166, middle, "s", "−")
	f.text(324, 206, end, "s", "ref")
	f.text(196, 206, start, "s", "out")
	f.wire(190, 200, 100, 200)
	f.wire(330, 200, 350, 200)
	f.port(353.5, 200, start, "2.5 V")

	// Two buses: what U201 gives, and 2.5 V.
	f.wire(100, 200, 100, 498)
	f.port(60, 218, middle, "")
	f.text(60, 208, middle, "", "2.5 V")
	f.wire(60, 221.5, 60, 542)
	for i, a := range []struct {
		y                         float64
		minus, plus, ground, back string
		fromMinus, fromPlus       float64
		name                      string
	}{
		{322, "R203", "R202", "R204", "R205", 60, 100, "U202A"},
		{520, "R207", "R206", "R208", "R209", 100, 60, "U202B"},
	} {
		f.resistor(112, a.y-22, 196, a.y-22, above, a.minus)
		f.wire(a.fromMinus, a.y-22, 112, a.y-22)
		f.resistor(112, a.y+22, 196, a.y+22, below, a.plus)
		f.wire(a.fromPlus, a.y+22, 112, a.y+22)
		if i == 0 {
			f.dot(60, a.y-22)
			f.dot(100, a.y+22)
		}
		f.wire(196, a.y-22, 240, a.y-22)
		f.wire(196, a.y+22, 240, a.y+22)
		tip := f.amplifier(240, a.y, 22, false, a.name)
		f.dot(215, a.y-22)
		f.wire(215, a.y-22, 215, a.y-66, 235, a.y-66)
		f.resistor(235, a.y-66, 300, a.y-66, above, a.back)
		f.wire(300, a.y-66, 318, a.y-66, 318, a.y)
		f.dot(318, a.y)
		f.dot(215, a.y+22)
		f.resistor(215, a.y+22, 215, a.y+92, right, a.ground)
		f.ground(215, a.y+92)
		f.wire(tip, a.y, 330, a.y)
	}
	f.resistor(330, 322, 400, 322, above, "R210")
	f.wire(400, 322, 410, 322, 410, 520, 400, 520)
	f.resistor(330, 520, 400, 520, below, "R211")
	f.dot(410, 404)
	f.wire(410, 404, 470, 404)
	f.port(473.5, 404, middle, "")
	f.text(478, 392, middle, "", "ADC")
	f.capacitor(378, 404, 378, 452, left, "C201")
	f.ground(378, 452)
	f.wire(378, 404, 410, 404)
	f.clamp(446, 404, above, "")
	f.text(440, 478, start, "", "D202")

	// 2.5 V.
	f.supply(100, 652, "+5 V")
	f.resistor(100, 652, 100, 707, left, "R212")
	f.resistor(100, 707, 100, 764, left, "R213")
	f.ground(100, 764)
	f.dot(100, 707)
	f.wire(100, 707, 260, 707)
	f.capacitor(170, 707, 170, 764, right, "C202")
	f.ground(170, 764)
	f.dot(170, 707)
	tip := f.amplifier(260, 723, 16, true, "U203")
	f.wire(260, 739, 246, 739, 246, 764, 330, 764, 330, 723)
	f.dot(330, 723)
	f.wire(tip, 723, 380, 723)
	f.port(383.5, 723, start, "2.5 V")
	return f
}
