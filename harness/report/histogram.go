package report

import (
	"fmt"
	"html/template"
	"math"
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"bufferstop/harness/record"
	"bufferstop/harness/verdict"
)

// histogram draws how many values fell into each bin, with the limits as lines and what lies between them tinted. Counts
// are on a logarithmic scale, because one value outside among a million is what the reader looks for.
func histogram(h record.Histogram) (template.HTML, error) {
	low, high, wide := histogramRange(h)
	p := plot.New()
	p.BackgroundColor = nil
	p.X.Min, p.X.Max = low, high
	var most int64 = 1
	for _, bin := range h.Bins {
		most = max(most, bin.Count)
	}
	p.Y.Min, p.Y.Max = 0.7, math.Pow(10, math.Ceil(math.Log10(float64(most)*1.2)))
	p.Y.Scale = plot.LogScale{}
	p.Y.Tick.Marker = plot.TickerFunc(decades)
	p.X.Tick.Marker = plot.TickerFunc(func(from, to float64) []plot.Tick { return unitTicks(h.Unit, from, to, wide) })
	if wide {
		p.X.Scale = plot.LogScale{}
	}
	for _, axis := range []*plot.Axis{&p.X, &p.Y} {
		axis.Color = inkFaint
		axis.Width = 0.6
		axis.Padding = 0
		axis.Tick.Color = inkFaint
		axis.Tick.Width = 0.6
		axis.Tick.Length = 3
		axis.Label.TextStyle.Color = inkFaint
		axis.Label.TextStyle.Font = lettering(10)
		axis.Tick.Label.Color = inkFaint
		axis.Tick.Label.Font = lettering(10)
	}
	p.Y.Label.Text = "values"
	p.X.Label.Text = ""
	p.Add(bars(h))

	label := fmt.Sprintf("Histogram of %s: %d values from %s to %s, allowed %s", h.Name, h.Count, h.Unit.Format(h.Min),
		h.Unit.Format(h.Max), h.Unit.FormatLimit(h.Limit))
	return figure(figureWidth, 190, label, func(c draw.Canvas) { p.Draw(draw.Crop(c, 0, -8, 0, 0)) })
}

// histogramRange chooses the stretch of the axis to show: all values and, where they are near enough to be worth
// their room, the limits. Values that spread over more than a factor of twenty get a logarithmic axis.
func histogramRange(h record.Histogram) (low, high float64, wide bool) {
	low, high = h.Min, h.Max
	if len(h.Bins) > 0 {
		low, high = min(low, h.Bins[0].Low), max(high, h.Bins[len(h.Bins)-1].High)
	}
	wide = low > 0 && high > 20*low
	const near = 2.5
	first, last := low, high
	for _, bound := range []*float64{h.Limit.Min, h.Limit.Max} {
		if bound == nil || wide && *bound <= 0 {
			continue
		}
		if wide || *bound*near >= first && *bound <= last*near {
			low, high = min(low, *bound), max(high, *bound)
		}
	}
	if wide {
		return low / 1.3, high * 1.3, true
	}
	pad := max((high-low)*0.12, math.Abs(high)*1e-3, 1e-9)
	return low - pad, high + pad, false
}

// bars draws the bins, the limits and the tint between them.
type bars record.Histogram

func (b bars) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	shown := func(v float64) bool { return v >= p.X.Min && v <= p.X.Max }
	left, right := c.Min.X, c.Max.X
	if l := b.Limit.Min; l != nil && shown(*l) {
		left = x(*l)
	}
	if l := b.Limit.Max; l != nil && shown(*l) {
		right = x(*l)
	}
	if b.Limit.Bounded() {
		c.FillPolygon(inkAllowed, []vg.Point{{X: left, Y: c.Min.Y}, {X: right, Y: c.Min.Y}, {X: right, Y: c.Max.Y}, {X: left, Y: c.Max.Y}})
	}
	for _, bin := range b.Bins {
		if bin.Count < 1 || bin.High < p.X.Min || bin.Low > p.X.Max {
			continue
		}
		from, to := x(max(bin.Low, p.X.Min)), x(min(bin.High, p.X.Max))
		if short := vg.Length(1.4) - (to - from); short > 0 { // a bin must not vanish
			from, to = from-short/2, to+short/2
		}
		top := y(float64(bin.Count))
		c.FillPolygon(inkSignal, []vg.Point{{X: from, Y: c.Min.Y}, {X: to, Y: c.Min.Y}, {X: to, Y: top}, {X: from, Y: top}})
	}
	dashes := draw.LineStyle{Color: inkLimit, Width: 1.2, Dashes: []vg.Length{4, 2.5}}
	for _, l := range []struct {
		bound *float64
		text  string
		align draw.XAlignment
		shift vg.Length
	}{{b.Limit.Min, "at least ", draw.XLeft, 3}, {b.Limit.Max, "at most ", draw.XRight, -8}} {
		if l.bound == nil {
			continue
		}
		at, text := l.text+b.Unit.Format(*l.bound), textStyle(inkLimit, 10, l.align, draw.YTop)
		switch {
		case shown(*l.bound):
			c.StrokeLine2(dashes, x(*l.bound), c.Min.Y, x(*l.bound), c.Max.Y)
			c.FillText(text, vg.Point{X: x(*l.bound) + l.shift, Y: c.Max.Y}, at)
		case l.shift > 0:
			c.FillText(text, vg.Point{X: c.Min.X + l.shift, Y: c.Max.Y}, "‹ "+at)
		default:
			c.FillText(text, vg.Point{X: c.Max.X + l.shift, Y: c.Max.Y}, at+" ›")
		}
	}
}

// decades marks the powers of ten.
func decades(_, high float64) []plot.Tick {
	var ticks []plot.Tick
	for v, i := 1.0, 0; v <= high; v, i = v*10, i+1 {
		label := ""
		switch {
		case i >= 6:
			label = strconv.FormatFloat(v/1e6, 'f', -1, 64) + "M"
		case i >= 3:
			label = strconv.FormatFloat(v/1e3, 'f', -1, 64) + "k"
		default:
			label = strconv.FormatFloat(v, 'f', -1, 64)
		}
		ticks = append(ticks, plot.Tick{Value: v, Label: label})
	}
	return ticks
}

// unitTicks marks round values of the unit, five to eight of them, or the powers of ten with their double and quintuple
// on a logarithmic axis.
func unitTicks(unit verdict.Unit, low, high float64, logarithmic bool) []plot.Tick {
	var ticks []plot.Tick
	if logarithmic {
		for decade := math.Pow(10, math.Floor(math.Log10(low))); decade <= high; decade *= 10 {
			for _, factor := range []float64{1, 2, 5} {
				if v := decade * factor; v >= low && v <= high {
					ticks = append(ticks, plot.Tick{Value: v, Label: unit.Format(v)})
				}
			}
		}
		return thin(ticks, 6)
	}
	step := math.Pow(10, math.Floor(math.Log10((high-low)/5)))
	for _, factor := range []float64{1, 2, 5, 10} {
		if (high-low)/(step*factor) <= 6 {
			step *= factor
			break
		}
	}
	for i := math.Ceil(low / step); i*step <= high; i++ {
		ticks = append(ticks, plot.Tick{Value: i * step, Label: unit.Format(i * step)})
	}
	return thin(ticks, 7)
}

// thin takes away labels until no more than most are left; the marks stay.
func thin(ticks []plot.Tick, most int) []plot.Tick {
	every := (len(ticks) + most - 1) / most
	for i := range ticks {
		if every > 1 && i%every != 0 {
			ticks[i].Label = ""
		}
	}
	return ticks
}
