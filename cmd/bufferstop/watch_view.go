package main

import (
	"fmt"
	"strings"
	"time"

	"charm.land/lipgloss/v2"
	"github.com/charmbracelet/x/ansi"

	"bufferstop/harness/live"
)

// More SGR parameters in use (ECMA-48 section 8.3.117).
const (
	green  = "32"
	cyan   = "36"
	strong = bold + ";" + red
)

// A watchView is one picture of what is watched. Every state is said in words or by a sign too, so that colour only helps.
type watchView struct {
	screen
	width, height int

	about, recording string
	pace             string // empty for that of the rig
	slow             bool   // and it cannot be kept
	names            []string
	filters          []live.Options
	asks             bool // there is a station
	waits            bool // a pause stops the time of what is watched
	late             int64

	now     time.Duration
	tracks  []live.Snapshot
	message string
	paused  bool
	over    bool
	chosen  int
	scale   int    // of the chart, an index of live.Spans
	back    uint64 // number of the newest line shown, while the user looks at older ones; 0 follows
	page    int    // lines of the list on the screen, when it was drawn
	limits  bool
	asking  *string
}

// The sizes from which the parts have room. Below, what matters least goes first.
const (
	roomForMessage   = 8
	roomForGauges    = 16
	roomForChart     = 22
	roomForEvents    = 32
	roomForTwo       = 28 // and
	roomForTwoAcross = 150
	roomForRates     = 78
	roomForCounts    = 110
	roomForPace      = 60
)

// draw sets the picture: exactly as many lines as the terminal has, none wider.
func (v *watchView) draw() string {
	if v.width <= 0 || v.height <= 0 {
		return ""
	}
	top := []string{v.header()}
	for i := range v.names {
		top = append(top, v.trackRow(i))
	}
	bottom := []string{v.foot()}
	if v.height >= roomForMessage {
		bottom = append([]string{v.messageRow()}, bottom...)
	}
	room := max(v.height-len(top)-len(bottom), 0)
	var body []string
	switch {
	case len(v.names) == 0:
	case v.limits:
		body = v.limitsPanel(v.width)
	case v.width >= roomForTwoAcross && v.height >= roomForTwo:
		body = v.across(room)
	default:
		body = v.stacked(room)
	}
	body = exactly(body, room)
	all := append(append(top, body...), bottom...)
	all = all[:min(len(all), v.height)]
	for i, line := range all {
		all[i] = ansi.Truncate(line, v.width, "…")
	}
	return strings.Join(all, "\n")
}

// exactly fills lines up to n, or leaves out the rest.
func exactly(lines []string, n int) []string {
	for len(lines) < n {
		lines = append(lines, "")
	}
	return lines[:n]
}

// stacked sets the parts one below the other.
func (v *watchView) stacked(room int) []string {
	var body []string
	if v.height >= roomForGauges {
		body = append(body, v.gauges(v.chosen, v.width)...)
	}
	if v.height >= roomForChart && v.hasCurrent() {
		rows := 2
		if v.height >= roomForEvents {
			rows = 3
		}
		body = append(body, v.charts(v.width, rows)...)
	}
	var events []string
	if v.height >= roomForEvents && v.hasCurrent() {
		events = v.eventList(v.width, (room-len(body))/4)
	}
	body = append(body, v.packetList(v.width, room-len(body)-len(events))...)
	return append(body, events...)
}

// across sets the packets on the left, and what is measured on the right.
func (v *watchView) across(room int) []string {
	right := min(96, v.width/2)
	left := v.width - right - 2
	var events, measured []string
	if v.hasCurrent() {
		events = v.eventList(left, room/4)
	}
	list := append(v.packetList(left, room-len(events)), events...)
	for i := range v.names {
		measured = append(measured, v.gauges(i, right)...)
		measured = append(measured, "")
	}
	if v.hasCurrent() {
		rows := min(max((room-len(measured)-1)/len(v.names)-1, 2), 12)
		measured = append(measured, v.charts(right, rows)...)
	}
	list, measured = exactly(list, room), exactly(measured, room)
	for i := range list {
		list[i] = pad(list[i], left) + "  " + measured[i]
	}
	return list
}

// pad makes a line as wide as it has to be.
func pad(line string, width int) string {
	line = ansi.Truncate(line, width, "…")
	return line + strings.Repeat(" ", max(width-lipgloss.Width(line), 0))
}

// hasCurrent tells whether there is a probe that measures currents.
func (v *watchView) hasCurrent() bool {
	for _, f := range v.filters {
		if f.Trips.Above > 0 {
			return true
		}
	}
	return false
}

// header is the first line: what is watched, its clock, and what is special now.
func (v *watchView) header() string {
	clock := fmt.Sprintf("%.1f s", v.now.Seconds())
	var now []string
	switch {
	case v.over:
		now = append(now, "ENDED")
	case v.paused && v.waits:
		now = append(now, "PAUSED")
	case v.paused:
		now = append(now, "PAUSED (the rig goes on)")
	}
	if v.recording != "" {
		now = append(now, "recording "+v.recording)
	}
	if v.late > 0 {
		now = append(now, fmt.Sprintf("%d edges too late for it", v.late))
	}
	pace := "pace " + v.pace
	if v.slow {
		pace += ", which cannot be kept"
	}
	if v.pace == "" || v.width < roomForPace {
		pace = ""
	}
	about := v.about
	parts := []string{v.paint(bold, about), v.paint(bold, clock), v.paint(dim, pace)}
	if v.width < roomForPace { // the clock before the name, which is cut
		parts = []string{v.paint(bold, clock)}
		if len(now) == 0 {
			parts = append(parts, about)
		}
	}
	if len(now) > 0 {
		parts = append(parts, v.paint(bold, strings.Join(now, "  ")))
	}
	return " " + strings.Join(notEmpty(parts), "   ")
}

func notEmpty(words []string) []string {
	var all []string
	for _, w := range words {
		if ansi.Strip(w) != "" {
			all = append(all, w)
		}
	}
	return all
}

// trackRow says how a track stands.
func (v *watchView) trackRow(i int) string {
	s := &v.tracks[i]
	mark := " "
	if i == v.chosen && len(v.names) > 1 {
		mark = ">"
	}
	state := v.state(s.State)
	if v.width < roomForRates {
		line := fmt.Sprintf("%s%s %s %.0f/s", mark, pad(v.names[i], min(v.nameWidth(), 11)), state, s.Recent.PacketRate())
		if s.Sampled {
			line += " " + milliamperes(s.Current)
		}
		return line
	}
	name := pad(v.names[i], v.nameWidth())
	if i == v.chosen {
		name = v.paint(bold, name)
	}
	line := fmt.Sprintf("%s %s  %s %5.0f packets/s %7.0f half-bits/s", mark, name, pad(state, 15), s.Recent.PacketRate(), s.Recent.HalfBitRate())
	if v.filters[i].Trips.Above > 0 {
		current := "no current"
		if s.Sampled {
			current = milliamperes(s.Current)
		}
		line += fmt.Sprintf(" %10s", current)
	}
	if v.width >= roomForCounts {
		line += v.counts(i, s)
	}
	return line
}

// nameWidth is how wide the names of the tracks are set.
func (v *watchView) nameWidth() int {
	const most = 20 // signals of captures may have long ones
	width := 0
	for _, name := range v.names {
		width = max(width, lipgloss.Width(name))
	}
	return min(width, most)
}

// counts are what has happened on a track since the beginning.
func (v *watchView) counts(i int, s *live.Snapshot) string {
	var words []string
	if v.filters[i].Trips.Above > 0 {
		trips := plural(int(s.Trips), "trip")
		if s.Trips > 0 {
			trips = v.paint(strong, trips)
		}
		words = append(words, trips)
	}
	if v.filters[i].Acknowledges.Threshold > 0 {
		words = append(words, plural(int(s.Acknowledges), "acknowledge"))
	}
	if len(words) == 0 {
		return ""
	}
	return "   " + strings.Join(words, ", ")
}

// state says how a track stands.
func (v *watchView) state(s live.State) string {
	switch s {
	case live.Positive, live.Negative, live.Lost:
		return v.paint(strong, string(s))
	case live.Signal:
		return v.paint(green, string(s))
	case live.Off, live.Unknown:
		return v.paint(dim, string(s))
	}
	return string(s)
}

// title is the line above a part, with what is said of it and the headings of its columns on the right.
func (v *watchView) title(text, columns string, width int) string {
	if columns != "" {
		columns = " " + columns
	}
	text = ansi.Truncate("── "+text+" ", max(width-lipgloss.Width(columns), 0), "…")
	rule := strings.Repeat("─", max(width-lipgloss.Width(text)-lipgloss.Width(columns), 0))
	return v.paint(dim, text+rule+columns)
}

// messageRow is what was said last, a command that is typed, or else the newest event.
func (v *watchView) messageRow() string {
	switch {
	case v.asking != nil:
		return v.paint(bold, " ask: "+harmless(*v.asking)+"_")
	case v.message != "":
		return v.paint(bold, " "+v.message)
	case v.back > 0:
		return v.paint(dim, " looking back; end follows again")
	}
	if v.height >= roomForEvents {
		return ""
	}
	newest, of := (*live.Event)(nil), 0
	for i := range v.tracks {
		if n := len(v.tracks[i].Events); n > 0 && (newest == nil || v.tracks[i].Events[n-1].Decided > newest.Decided) {
			newest, of = &v.tracks[i].Events[n-1], i
		}
	}
	if newest == nil {
		return ""
	}
	return fmt.Sprintf(" %s s %s: %s", seconds(newest.Time), v.names[of], v.eventWords(newest))
}

// foot tells the keys: as many as have room, those first that one misses most.
func (v *watchView) foot() string {
	type key struct {
		text  string
		order int // of leaving it out: the highest first
	}
	keys := []key{{"q quit", 0}, {"space pause", 2}, {"up down back", 7}, {"c clear", 6}}
	if len(v.names) > 1 {
		keys = append(keys, key{"t track", 4})
	}
	if v.asks {
		keys = append(keys, key{"+ - power", 1}, key{"0 all off", 3}, key{": ask", 8})
	}
	keys = append(keys, key{"l limits", 5})
	if v.hasCurrent() {
		keys = append(keys, key{"z scale", 9})
	}
	for most := 9; ; most-- {
		var words []string
		for _, k := range keys {
			if k.order <= most {
				words = append(words, k.text)
			}
		}
		line := " " + strings.Join(words, "  ")
		if most == 0 || lipgloss.Width(line) <= v.width {
			return v.paint(dim, line)
		}
	}
}
