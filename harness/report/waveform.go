package report

import (
	"fmt"
	"html/template"
	"time"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"bufferstop/harness/record"
)

// A lane is the stretch of a waveform that is drawn in one strip: the preamble, or one byte with its start bit.
type lane struct {
	from, to time.Duration
	parts    []record.Part
}

// lanes cuts a waveform at its start bits. A waveform without parts is one lane.
func lanes(w record.Waveform) []lane {
	if len(w.Edges) == 0 {
		return nil
	}
	current := lane{from: w.Edges[0].At}
	var all []lane
	for _, part := range w.Parts {
		if part.Kind == record.StartBit && len(current.parts) > 0 {
			current.to = part.From
			all = append(all, current)
			current = lane{from: part.From}
		}
		current.parts = append(current.parts, part)
	}
	current.to = w.End
	return append(all, current)
}

// waveform draws one strip per lane, all on one scale of time.
func waveform(w record.Waveform) ([]template.HTML, error) {
	all := lanes(w)
	var longest time.Duration = 1
	for _, l := range all {
		longest = max(longest, l.to-l.from)
	}
	var strips []template.HTML
	for i, l := range all {
		label := fmt.Sprintf("Waveform, strip %d of %d:%s", i+1, len(all), laneWords(l))
		strip, err := figure(figureWidth, 92, label, func(c draw.Canvas) { drawLane(c, w, l, longest) })
		if err != nil {
			return nil, err
		}
		strips = append(strips, strip)
	}
	return strips, nil
}

// laneWords says what is in a lane, for those who cannot see it.
func laneWords(l lane) string {
	words := ""
	for _, part := range l.parts {
		if part.Kind != record.Bit {
			words += " " + string(part.Kind) + " " + part.Text
		}
	}
	return words
}

func drawLane(c draw.Canvas, w record.Waveform, l lane, longest time.Duration) {
	const margin = 6
	x := func(t time.Duration) vg.Length {
		return c.Min.X + margin + (c.Max.X-c.Min.X-2*margin)*vg.Length(float64(t-l.from)/float64(longest))
	}
	bottom := c.Min.Y + 32
	level := func(v int) vg.Length { return bottom + vg.Length(1+v)*17 }
	hair := draw.LineStyle{Color: inkLine, Width: 0.7}

	// Parts: a tick at each border, the name above, the bits below the wave.
	for _, part := range l.parts {
		middle := (x(part.From) + x(part.To)) / 2
		if part.Kind == record.Bit {
			c.FillText(textStyle(inkText, 9.5, draw.XCenter, draw.YTop), vg.Point{X: middle, Y: bottom - 3}, visible(part.Text, 4))
			c.StrokeLine2(hair, x(part.To), bottom-2, x(part.To), level(1)+2)
			continue
		}
		c.StrokeLine2(draw.LineStyle{Color: inkFaint, Width: 0.8}, x(part.From), bottom-12, x(part.From), level(1)+14)
		c.StrokeLine2(draw.LineStyle{Color: inkFaint, Width: 0.8}, x(part.To), bottom-12, x(part.To), level(1)+14)
		text, name := visible(string(part.Kind), 40), part.Text
		style := textStyle(inkText, 10, draw.XCenter, draw.YBottom)
		switch part.Kind {
		case record.StartBit, record.EndBit:
			// Too narrow for its name; the name stands where there is room.
			c.FillText(textStyle(inkText, 9.5, draw.XCenter, draw.YTop), vg.Point{X: middle, Y: bottom - 3}, visible(part.Text, 4))
			text, name = map[record.PartKind]string{record.StartBit: "start", record.EndBit: "end"}[part.Kind], ""
		}
		if name != "" {
			text += ", " + visible(name, 40)
		}
		c.FillText(style, vg.Point{X: middle, Y: level(1) + 5}, text)
	}

	// The wave.
	c.StrokeLine2(hair, x(l.from), level(0), x(l.to), level(0))
	var path vg.Path
	pen := func(at time.Duration, v int) {
		point := vg.Point{X: x(at), Y: level(v)}
		if len(path) == 0 {
			path.Move(point)
			return
		}
		path.Line(point)
	}
	for i, e := range w.Edges {
		end := w.End
		if i+1 < len(w.Edges) {
			end = w.Edges[i+1].At
		}
		if end <= l.from || e.At >= l.to {
			continue
		}
		pen(max(e.At, l.from), e.Level)
		pen(min(end, l.to), e.Level)
	}
	c.SetLineStyle(draw.LineStyle{Color: inkSignal, Width: 1.5})
	c.Stroke(path)

	// The scale of time, counted from the start of the waveform.
	c.SetLineStyle(hair)
	axis := c.Min.Y + 13
	c.StrokeLine2(hair, x(l.from), axis, x(l.to), axis)
	step := 500 * time.Microsecond
	for longest/step > 8 {
		step *= 2
	}
	origin := w.Edges[0].At
	for t := (l.from - origin + step - 1) / step * step; t <= l.to-origin; t += step {
		at := x(origin + t)
		c.StrokeLine2(hair, at, axis, at, axis-3)
		align := draw.XCenter
		if at < c.Min.X+2*margin {
			align = draw.XLeft
		} else if at > c.Max.X-4*margin {
			align = draw.XRight
		}
		c.FillText(textStyle(inkFaint, 9.5, align, draw.YTop), vg.Point{X: at, Y: axis - 3},
			fmt.Sprintf("%g ms", float64(t)/1e6))
	}
}
