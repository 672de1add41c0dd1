package figures

import "math"

// Symbols in the manner of IEC 60617 (from memory): resistors and fuses as rectangles, comparators and amplifiers as
// triangles, which more readers know than the standard's rectangle.

// side is where the name and value of a part stand.
type side int

const (
	above side = iota // of a part that lies
	below
	right // of a part that stands
	left
)

// letter writes name and value of a part whose middle is at x, y.
func (f *Figure) letter(x, y float64, at side, name, value string) {
	switch {
	case at == above || at == below:
		base := y - 12
		if at == below {
			base = y + 22
		}
		f.named(x, base, middle, name, value)
	default:
		anchor, dx := start, 15.0
		if at == left {
			anchor, dx = end, -15
		}
		if value == "" {
			f.text(x+dx, y+5, anchor, "", name)
			return
		}
		f.text(x+dx, y-3, anchor, "", name)
		f.text(x+dx, y+14, anchor, "v", value)
	}
}

// between draws the leads of a part with two ends around a middle of a length, and gives middle and direction.
func (f *Figure) between(x1, y1, x2, y2, length float64) (x, y, dx, dy float64) {
	whole := math.Hypot(x2-x1, y2-y1)
	dx, dy = (x2-x1)/whole, (y2-y1)/whole
	x, y = (x1+x2)/2, (y1+y2)/2
	f.wire(x1, y1, x-dx*length/2, y-dy*length/2)
	f.wire(x+dx*length/2, y+dy*length/2, x2, y2)
	return x, y, dx, dy
}

func (f *Figure) body2(x, y, dx, dy, length, width float64, class string) {
	hx, hy := math.Abs(dx)*length/2+math.Abs(dy)*width/2, math.Abs(dy)*length/2+math.Abs(dx)*width/2
	f.add(`<rect class="%s" x="%g" y="%g" width="%g" height="%g"/>`, class, x-hx, y-hy, 2*hx, 2*hy)
	f.solid(x-hx, y-hy, x+hx, y+hy, "body")
}

// resistor draws one from point to point, which lie in a row or a column, with its value from the list of parts.
func (f *Figure) resistor(x1, y1, x2, y2 float64, at side, name string) {
	f.resistorAs(x1, y1, x2, y2, at, name, Label(name))
}

func (f *Figure) resistorAs(x1, y1, x2, y2 float64, at side, name, value string) {
	x, y, dx, dy := f.between(x1, y1, x2, y2, 36)
	f.body2(x, y, dx, dy, 36, 13, "l")
	f.letter(x, y, at, name, value)
}

func (f *Figure) fuse(x1, y1, x2, y2 float64, at side, name string) {
	x, y, dx, dy := f.between(x1, y1, x2, y2, 36)
	f.body2(x, y, dx, dy, 36, 13, "l")
	f.wire(x-18*dx, y-18*dy, x+18*dx, y+18*dy)
	f.letter(x, y, at, name, Label(name))
}

func (f *Figure) capacitor(x1, y1, x2, y2 float64, at side, name string) {
	x, y, dx, dy := f.between(x1, y1, x2, y2, 8)
	for _, s := range []float64{-4, 4} {
		f.wire(x+s*dx-11*dy, y+s*dy-11*dx, x+s*dx+11*dy, y+s*dy+11*dx)
	}
	if name != "" {
		f.letter(x, y, at, name, Label(name))
	}
}

// Kinds of diodes, by the shape of the cathode.
const (
	plain = iota
	schottky
	zener
	suppressor
)

// diode conducts from the first point to the second.
func (f *Figure) diode(x1, y1, x2, y2 float64, at side, kind int, name string) {
	x, y, dx, dy := f.between(x1, y1, x2, y2, 16)
	p := func(along, across float64) (float64, float64) {
		return x + along*dx - across*dy, y + along*dy + across*dx
	}
	line := func(points ...float64) {
		var out []float64
		for i := 0; i < len(points); i += 2 {
			px, py := p(points[i], points[i+1])
			out = append(out, px, py)
		}
		f.wire(out...)
	}
	if kind == suppressor {
		line(-8, -7, -8, 7, 0, 0, -8, -7)
		line(8, -7, 8, 7, 0, 0, 8, -7)
		line(-4, -10, 0, -8, 0, 8, 4, 10)
	} else {
		line(-8, -8, -8, 8, 8, 0, -8, -8)
		switch kind {
		case schottky:
			line(4, -5, 4, -8, 8, -8, 8, 8, 12, 8, 12, 5)
		case zener:
			line(4, -10, 8, -8, 8, 8, 12, 10)
		default:
			line(8, -8, 8, 8)
		}
	}
	f.letter(x, y, at, name, "")
}

// clamp draws two diodes that hold a node between ground and +5 V.
func (f *Figure) clamp(x, y float64, at side, name string) {
	f.diode(x, y, x, y-44, at, schottky, name)
	f.supply(x, y-44, "+5 V")
	f.diode(x, y+44, x, y, at, schottky, "")
	f.ground(x, y+44)
	f.dot(x, y)
}

// amplifier draws a triangle with its inputs at x, gap above and below y, and gives the x of its output, which is at y.
func (f *Figure) amplifier(x, y, gap float64, plusAbove bool, name string) float64 {
	half, tip := gap+14, x+1.55*(gap+14)
	f.wire(x, y-half, x, y+half, tip, y, x, y-half)
	upper, lower := "−", "+"
	if plusAbove {
		upper, lower = lower, upper
	}
	f.text(x+5, y-gap+5, start, "", upper)
	f.text(x+5, y+gap+5, start, "", lower)
	f.text(x+22, y+half+3, start, "s", name)
	return tip
}

// fet draws an N-channel FET with its gate at x, y and the other two at x+30: the drain 30 above, or below if turned.
func (f *Figure) fet(x, y float64, turned bool, name string) {
	s := 1.0
	if turned {
		s = -1
	}
	f.wire(x, y, x+12, y)
	f.wire(x+12, y-13, x+12, y+13)
	for _, d := range []float64{-13, 0, 13} {
		f.wire(x+17, y+d-5, x+17, y+d+5)
	}
	f.wire(x+17, y-13*s, x+30, y-13*s, x+30, y-30*s)
	f.wire(x+17, y+13*s, x+30, y+13*s, x+30, y+30*s)
	f.wire(x+17, y, x+30, y, x+30, y+13*s)
	f.add(`<path class="f" d="M%g %gl8 -4v8z"/>`, x+18, y)
	// The body diode, which conducts from source to drain.
	f.wire(x+30, y+13*s, x+42, y+13*s, x+42, y+5*s)
	f.wire(x+42, y-5*s, x+42, y-13*s, x+30, y-13*s)
	f.wire(x+36, y-5*s, x+48, y-5*s)
	f.wire(x+36, y+5*s, x+48, y+5*s, x+42, y-5*s, x+36, y+5*s)
	f.text(x+54, y+5, start, "", name)
}

// transistor draws a bipolar one with its base at x, y and the others at x+30: the collector above and the emitter below of
// an NPN, the other way round of a PNP.
func (f *Figure) transistor(x, y float64, pnp bool, name string) {
	f.wire(x, y, x+14, y)
	f.wire(x+14, y-14, x+14, y+14)
	f.wire(x+14, y-6, x+30, y-18, x+30, y-30)
	f.wire(x+14, y+6, x+30, y+18, x+30, y+30)
	if pnp { // the arrow points from the emitter, above, to the base
		f.add(`<path class="f" d="M%g %gl9 -1l-4.5 -6.5z"/>`, x+17, y-8)
	} else {
		f.add(`<path class="f" d="M%g %gl-9 -1l4.5 -6.5z"/>`, x+28, y+16.5)
	}
	f.text(x+38, y+5, start, "", name)
}

// ground draws the probe's ground, the track ground of the page.
func (f *Figure) ground(x, y float64) {
	f.wire(x, y, x, y+6)
	f.wire(x-9, y+6, x+9, y+6)
	f.wire(x-5.5, y+10, x+5.5, y+10)
	f.wire(x-2, y+14, x+2, y+14)
}

// supply draws the end of a wire at a supply, above it.
func (f *Figure) supply(x, y float64, name string) {
	f.wire(x-8, y, x+8, y)
	f.text(x, y-6, middle, "s", name)
}

// supplyBelow does the same for a wire that ends downwards.
func (f *Figure) supplyBelow(x, y float64, name string) {
	f.wire(x-8, y, x+8, y)
	f.text(x, y+15, middle, "s", name)
}

// port draws the end of a wire that goes on elsewhere: at the left or right edge of the figure.
func (f *Figure) port(x, y float64, anchor, name string) {
	f.add(`<circle class="l w" cx="%g" cy="%g" r="3.5"/>`, x, y)
	dx := -8.0
	if anchor == start {
		dx = 8
	}
	f.text(x+dx, y+5, anchor, "", name)
}

// block draws a box with lines of text in its middle.
func (f *Figure) block(x, y, w, h float64, lines ...string) {
	f.add(`<rect class="l" x="%g" y="%g" width="%g" height="%g" rx="4"/>`, x, y, w, h)
	for _, side := range [][4]float64{{x, y, x + w, y}, {x, y + h, x + w, y + h}, {x, y, x, y + h}, {x + w, y, x + w, y + h}} {
		f.solid(side[0], side[1], side[2], side[3], "block")
	}
	top := y + h/2 - 8.5*float64(len(lines)-1) + 5
	for i, line := range lines {
		class := ""
		if i > 0 {
			class = "s"
		}
		f.text(x+w/2, top+17*float64(i), middle, class, line)
	}
}
