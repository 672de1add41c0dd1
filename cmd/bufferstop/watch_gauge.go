package main

import (
	"fmt"
	"math"
	"strings"

	"bufferstop/harness/live"
	"bufferstop/harness/signal"
	"bufferstop/harness/verdict"
)

// The quantities that have a gauge, and the ends of its scale in nanoseconds: the limits, and as much beyond as shows that
// something is beyond. A zero may be stretched to many times its length, so that its scale ends where one begins to be.
var gauged = []struct {
	quantity int // of live.Quantities
	from, to int64
	recent   func(live.Recent) live.Figures
}{
	{0, 53_000, 63_000, func(r live.Recent) live.Figures { return r.OneHalf }},
	{1, 90_000, 120_000, func(r live.Recent) live.Figures { return r.ZeroHalf }},
	{2, 0, 5_000, func(r live.Recent) live.Figures { return r.OneDifference }},
}

// Widths of the columns beside a gauge.
const (
	gaugeName    = 16
	gaugeNumber  = 8
	gaugeOutside = 8
)

// gauges are the half-bits of a track against their limits: a title and a line for each quantity.
func (v *watchView) gauges(track, width int) []string {
	s := &v.tracks[track]
	columns := fmt.Sprintf("%*s%*s%*s%*s%*s", gaugeNumber, "least", gaugeNumber, "mean", gaugeNumber, "most", gaugeNumber, "margin", gaugeOutside, "outside")
	room := width - gaugeName - len(columns) - 1
	small := room < 8 // no gauge, and no mean: 60 columns and fewer
	if small {
		columns = fmt.Sprintf("%*s%*s%*s", gaugeNumber, "least", gaugeNumber, "most", gaugeNumber, "margin")
	}
	about := fmt.Sprintf("%s, last %d s, µs", v.names[track], int(live.RecentSpan.Seconds()))
	if width >= 60 {
		about = "half-bits of " + about
	}
	lines := []string{v.title(about, strings.TrimLeft(columns, " "), width)}
	quantities := live.Quantities()
	for _, g := range gauged {
		q := quantities[g.quantity]
		f, total := g.recent(s.Recent), q.Of(&s.Total)
		line := fmt.Sprintf(" %-*s", gaugeName-1, q.Name)
		if small {
			if f.Count > 0 {
				line += strings.Repeat(" ", max(width-gaugeName-3*gaugeNumber, 0)) + fmt.Sprintf("%*s%*s", gaugeNumber, micro(float64(f.Least)), gaugeNumber, micro(float64(f.Most))) + v.margin(f.Margin(q.Limit), gaugeNumber)
			}
			lines = append(lines, line)
			continue
		}
		line += v.gauge(room, g.from, g.to, q.Limit, f, total) + " "
		if f.Count > 0 {
			line += fmt.Sprintf("%*s%*s%*s", gaugeNumber, micro(float64(f.Least)), gaugeNumber, micro(f.Mean()), gaugeNumber, micro(float64(f.Most)))
			line += v.margin(f.Margin(q.Limit), gaugeNumber)
		} else {
			line += strings.Repeat(" ", 4*gaugeNumber)
		}
		outside := fmt.Sprintf("%*d", gaugeOutside, total.Outside)
		if total.Outside > 0 {
			outside = v.paint(strong, outside)
		}
		lines = append(lines, line+outside)
	}
	return lines
}

// micro sets nanoseconds as microseconds: to the hundredth, or as far as there is room.
func micro(ns float64) string {
	if ns >= 999_995 {
		return fmt.Sprintf("%.1f", ns/1e3)
	}
	return fmt.Sprintf("%.2f", ns/1e3)
}

// margin is how far the worst is inside the limit. Its sign says on which side it is.
func (v *watchView) margin(ns int64, width int) string {
	text := fmt.Sprintf("%*s", width, micro(float64(ns)))
	if ns >= 0 {
		text = fmt.Sprintf("%*s", width, "+"+micro(float64(ns)))
	}
	if ns < 0 {
		return v.paint(strong, text)
	}
	return v.paint(green, text)
}

// gauge draws a scale with the limits in brackets, what was measured lately as a bar with its mean, and how far everything
// measured has reached as points of arrows.
func (v *watchView) gauge(width int, from, to int64, limit signal.Limit, f live.Figures, total *signal.Distribution) string {
	at := func(ns float64) int {
		return min(max(int(math.Round((ns-float64(from))/float64(to-from)*float64(width-1))), 0), width-1)
	}
	cells, colours := make([]rune, width), make([]string, width)
	set := func(i int, r rune, colour string) { cells[i], colours[i] = r, colour }
	low, high := at(float64(max(limit.Low, from))), at(float64(min(limit.High, to)))
	for i := range cells {
		set(i, '·', dim)
		if i >= low && i <= high {
			set(i, '─', dim)
		}
	}
	if limit.Low > from {
		set(low, '[', "")
	}
	if limit.High < to {
		set(high, ']', "")
	}
	if total.Count > 0 {
		set(at(float64(total.Min)), '<', "")
		set(at(float64(total.Max)), '>', "")
	}
	if f.Count > 0 {
		colour := green
		if f.Margin(limit) < 0 {
			colour = red
		}
		for i := at(float64(f.Least)); i <= at(float64(f.Most)); i++ {
			set(i, '━', colour)
		}
		set(at(f.Mean()), '●', colour)
	}
	var b strings.Builder
	for i := 0; i < width; {
		end := i
		for end < width && colours[end] == colours[i] {
			end++
		}
		if text := string(cells[i:end]); colours[i] != "" {
			b.WriteString(v.paint(colours[i], text))
		} else {
			b.WriteString(text)
		}
		i = end
	}
	return b.String()
}

// limitsPanel says what a station is held to, where that is written, and how the chosen track has kept it.
func (v *watchView) limitsPanel(width int) []string {
	s := &v.tracks[v.chosen]
	wide := width >= 110
	head := fmt.Sprintf(" %-16s %-18s %-24s", "", "limit", "source")
	if wide {
		head += fmt.Sprintf("%9s%12s%12s%12s", "outside", "least", "mean", "most")
	} else {
		head += fmt.Sprintf("%9s", "outside")
	}
	lines := []string{v.title(fmt.Sprintf("limits for a station, and %s since %s s", v.names[v.chosen], seconds(s.Begun)), "l closes", width), v.paint(dim, head)}
	for _, q := range live.Quantities() {
		unit := verdict.Nanoseconds
		if q.Name == "preamble" {
			unit = verdict.Count
		}
		d := q.Of(&s.Total)
		outside := fmt.Sprintf("%9d", d.Outside)
		if d.Outside > 0 {
			outside = v.paint(strong, outside)
		}
		line := fmt.Sprintf(" %-16s %-18s %-24s", q.Name, limitWords(q.Limit, unit), q.Source) + outside
		if width < 60 {
			line = fmt.Sprintf(" %s: %s, %s", q.Name, limitWords(q.Limit, unit), q.Source)
		}
		if wide && d.Count > 0 {
			line += fmt.Sprintf("%12s%12s%12s", unit.Format(float64(d.Min)), unit.Format(d.Mean()), unit.Format(float64(d.Max)))
		}
		lines = append(lines, line)
	}
	lines = append(lines, "")
	f := v.filters[v.chosen]
	if f.Trips.Above > 0 {
		lines = append(lines, fmt.Sprintf(" trip: more than %s, then nothing within %s (declared by the station, or our own choice)",
			milliamperes(f.Trips.Above), durationWords(f.Trips.Fall)))
	}
	if a := f.Acknowledges; a.Threshold > 0 {
		lines = append(lines, fmt.Sprintf(" acknowledge: %s more for %s to %s (S-9.2.3 D, July 2012: 60 mA, 5 to 7 ms; the rest is for the probe)",
			milliamperes(a.Threshold), durationWords(a.MinWidth), durationWords(a.MaxWidth)))
	}
	return append(lines, " in a gauge: [ ] limits, ━●━ the last seconds with their mean, < > everything since the beginning")
}
