package report

import (
	"strconv"

	"bufferstop/harness/record"
	"bufferstop/harness/verdict"
)

// captureFacts are what a page says of a recording that was judged, in the place of a rig.
func captureFacts(file string, c *record.Capture, uncertain string) factSheet {
	grid := ""
	if c.Grid > 0 {
		grid = verdict.Nanoseconds.Format(float64(c.Grid))
	}
	return factSheet{"Capture", []fact{
		{"file", file, true},
		{"SHA-256", c.SHA256, true},
		{"size", strconv.FormatInt(c.Size, 10) + " bytes", false},
		{"track", c.Track, false},
		{"signal", c.Signal, true},
		{"holds", strconv.FormatInt(c.Edges, 10) + " edges, " + strconv.FormatInt(c.Packets, 10) + " packets", false},
		{"length", seconds(c.Length), false},
		{"grid of the edges", grid, false},
		{"uncertainty", uncertain, false},
	}}
}

// captureLine is the same in one line.
func captureLine(r record.Rig) string {
	if r.Capture == nil {
		return ""
	}
	return r.File + ", " + r.Capture.Track + " track, SHA-256 " + r.Capture.SHA256
}
