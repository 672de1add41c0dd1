package main

import (
	"fmt"
	"sort"

	"bufferstop/harness/live"
)

// roomForBytes and roomForOnes are the widths from which the list shows them.
const (
	roomForBytes = 70
	roomForOnes  = 100
)

// packetList is the list of the chosen track: rows lines, its title with them, the newest last.
func (v *watchView) packetList(width, rows int) []string {
	if rows <= 0 {
		return nil
	}
	total := rows
	s := &v.tracks[v.chosen]
	about := fmt.Sprintf("%s: %s, %d invalid", v.names[v.chosen], plural(int(s.Total.Packets), "packet"), s.Total.Invalid)
	if width >= roomForBytes {
		about = "packets of " + about + fmt.Sprintf(", %d folded", s.Folded)
	}
	if s.Lost > 0 {
		about += fmt.Sprintf(", lost %d× %s", s.Lost, durationWords(s.LostTime))
	}
	list := []string{v.title(about, "", width)}
	if rows--; rows >= 4 {
		list = append(list, v.paint(dim, packetColumns(width, "seconds", "times", "ones", "bytes", "meaning")))
		rows--
	}
	v.page = rows
	shown := v.visible(s.Lines, rows)
	for i := range shown {
		l := &shown[i]
		times := ""
		if l.Count > 1 {
			times = fmt.Sprintf("×%d", l.Count)
		}
		meaning := v.meaningOf(l)
		at := seconds(l.First)
		if width < roomForBytes {
			at = fmt.Sprintf("%.2f", l.First.Seconds())
		}
		list = append(list, packetColumns(width, at, times, preambleOf(l), bytesOf(l), meaning))
	}
	return exactly(list, total)
}

// packetColumns sets one line of the list.
func packetColumns(width int, at, times, ones, bytes, meaning string) string {
	switch {
	case width < roomForBytes:
		return fmt.Sprintf("%8s %6s %s", at, times, meaning)
	case width < roomForOnes:
		return fmt.Sprintf("%12s %6s  %-17s  %s", at, times, bytes, meaning)
	}
	return fmt.Sprintf("%13s %8s  %4s  %-17s  %s", at, times, ones, bytes, meaning)
}

// visible are the lines that have room: the newest, or those where the user has stopped to look.
func (v *watchView) visible(lines []live.Line, rows int) []live.Line {
	end := len(lines)
	if v.back > 0 {
		end = sort.Search(len(lines), func(i int) bool { return lines[i].Number > v.back })
		end = max(end, min(rows, len(lines))) // what was looked at may be gone
	}
	return lines[max(end-rows, 0):end]
}

// scroll moves through the list of the chosen track.
func (v *watchView) scroll(key string) {
	if len(v.tracks) == 0 {
		return
	}
	lines := v.tracks[v.chosen].Lines
	if len(lines) == 0 {
		return
	}
	newest := lines[len(lines)-1].Number
	oldest := min(lines[0].Number+uint64(max(v.page-1, 0)), newest) // the one at the foot, when the oldest stands at the top
	at, page := v.back, uint64(max(v.page-1, 1))
	if at == 0 {
		at = newest
	}
	at = max(at, oldest) // what was looked at may be gone
	switch key {
	case "up":
		at--
	case "down":
		at++
	case "pgup":
		at -= min(page, at)
	case "pgdown":
		at += page
	case "home":
		at = oldest
	case "end":
		at = newest
	default:
		return
	}
	v.back = max(at, oldest)
	if v.back >= newest {
		v.back = 0
	}
}

// eventList is the list of trips and acknowledges of both tracks: a title and at most rows more lines, the newest last.
func (v *watchView) eventList(width, rows int) []string {
	rows = max(rows, 2)
	trips, acknowledges := int64(0), int64(0)
	type event struct {
		live.Event
		track int
	}
	var all []event
	for i := range v.tracks {
		trips += v.tracks[i].Trips
		acknowledges += v.tracks[i].Acknowledges
		for _, e := range v.tracks[i].Events {
			all = append(all, event{e, i})
		}
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].Decided < all[j].Decided })
	list := []string{v.title(fmt.Sprintf("%s, %s", plural(int(trips), "trip"), plural(int(acknowledges), "acknowledge")), "", width)}
	for _, e := range all[max(len(all)-rows, 0):] {
		list = append(list, fmt.Sprintf("%13s  %-11s  %s", seconds(e.Time), v.names[e.track], v.eventWords(&e.Event)))
	}
	return exactly(list, rows+1)
}
