package main

import (
	"fmt"
	"strings"
	"time"

	"github.com/charmbracelet/x/ansi"
	"periph.io/x/conn/v3/physic"

	"bufferstop/harness/live"
)

// Widths of what stands beside a chart.
const (
	chartLeft  = 14
	chartRight = 16
)

// charts are the currents of all tracks as strips, rows lines each, under one title.
func (v *watchView) charts(width, rows int) []string {
	columns := max(width-chartLeft-chartRight, 1)
	span := live.Spans[v.scale]
	title := fmt.Sprintf("current of the last %s, highest of each %s", durationWords(span*time.Duration(min(columns, live.Columns))), durationWords(span))
	lines := []string{v.title(title, "", width)}
	for i := range v.names {
		s := &v.tracks[i]
		shown := s.Charts[v.scale]
		shown = shown[max(len(shown)-columns, 0):]
		all := live.Sum(shown)
		top := topOf(all.Most)
		bars := chartRows(shown, columns, rows, top)
		left := make([]string, rows)
		left[0] = v.names[i]
		left[rows-1] = strings.TrimSpace(left[rows-1] + " to " + milliamperes(top))
		right := make([]string, rows)
		right[0] = "no current"
		if s.Sampled {
			right[0] = "now " + milliamperes(s.Current)
		}
		if all.Count > 0 {
			right[rows-1] = "most " + milliamperes(all.Most)
			if rows > 2 {
				right[1] = "mean " + milliamperes(all.Mean())
			}
		}
		for r := range rows {
			name := fmt.Sprintf(" %-*s", chartLeft-2, ansi.Truncate(left[r], chartLeft-2, "…"))
			lines = append(lines, name+"│"+v.paint(cyan, bars[r])+"│ "+right[r])
		}
	}
	return lines
}

// topOf is the current at the top of a strip: 1, 2 or 5 times a power of ten, at least 50 mA so that noise stays small.
func topOf(most physic.ElectricCurrent) physic.ElectricCurrent {
	for unit := 10 * physic.MilliAmpere; ; unit *= 10 {
		for _, times := range []physic.ElectricCurrent{1, 2, 5} {
			if top := unit * times; top >= max(most, 50*physic.MilliAmpere) {
				return top
			}
		}
	}
}

// eighths are the heights of a bar within one cell.
var eighths = []rune(" ▁▂▃▄▅▆▇█")

// chartRows draws the columns as bars, the newest on the right. Where nothing was measured nothing stands; a current too
// small to be a bar is a point.
func chartRows(columns []live.Column, width, rows int, top physic.ElectricCurrent) []string {
	cells := make([][]rune, rows)
	for r := range cells {
		cells[r] = []rune(strings.Repeat(" ", width))
	}
	steps := rows * 8
	for i, c := range columns {
		x := width - len(columns) + i
		if c.Count == 0 {
			continue
		}
		height := min(int(float64(c.Most)/float64(top)*float64(steps)), steps)
		if height == 0 {
			cells[rows-1][x] = '.'
			continue
		}
		for r := range rows {
			in := min(max(height-(rows-1-r)*8, 0), 8)
			cells[r][x] = eighths[in]
		}
	}
	lines := make([]string, rows)
	for r := range cells {
		lines[r] = string(cells[r])
	}
	return lines
}
