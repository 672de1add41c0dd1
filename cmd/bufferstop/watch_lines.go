package main

import (
	"bufio"
	"cmp"
	"context"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"periph.io/x/conn/v3/physic"

	"bufferstop/harness/live"
	"bufferstop/harness/signal"
	"bufferstop/harness/verdict"
)

// A watchLines writes what is new as lines, where there is no screen to fill.
type watchLines struct {
	*watching
	textStyle
	out  *bufio.Writer
	news []news
}

// readersLooked is how often it is looked whether anybody reads the lines. Our own choice.
const readersLooked = time.Second

// writeLines watches and writes lines, with a summary at the end.
func (w *watchCommand) writeLines(ctx context.Context, cmd *cobra.Command, seen *watching) error {
	l := &watchLines{watching: seen, textStyle: textStyle{screenFor(cmd)}, out: bufio.NewWriterSize(cmd.OutOrStdout(), 1<<16)}
	seen.telling = true
	l.heading()
	looked := time.Now()
	err := seen.watch(ctx, w.pace, w.lasting, func() error {
		seen.passOn(cmd.ErrOrStderr())
		if time.Since(looked) >= readersLooked {
			looked = time.Now()
			if unread(cmd.OutOrStdout()) {
				return io.ErrClosedPipe
			}
		}
		return l.tell()
	})
	err = worse(err, seen.close(ctx))
	if ctx.Err() != nil {
		err = worse(err, exit{code: verdict.ExitInterrupted})
	}
	telling := l.tell()
	if telling == nil {
		l.summaries()
		telling = written(l.out.Flush())
	}
	return worse(err, telling)
}

// passOn writes what was said.
func (w *watching) passOn(out io.Writer) {
	w.mu.Lock()
	said := w.messages
	w.messages = nil
	w.mu.Unlock()
	for _, message := range said {
		fmt.Fprintf(out, "bufferstop: %s\n", message)
	}
}

// tell writes what is new, in the order in which it was decided.
func (l *watchLines) tell() error {
	l.mu.Lock()
	l.news, l.told = append(l.news[:0], l.told...), l.told[:0]
	l.mu.Unlock()
	slices.SortStableFunc(l.news, func(a, b news) int { return cmp.Compare(a.decided, b.decided) })
	for i := range l.news {
		n := &l.news[i]
		if n.event != nil {
			l.row(n.track, n.event.Time, "", "", l.eventWords(n.event))
			continue
		}
		l.row(n.track, n.line.First, preambleOf(&n.line), bytesOf(&n.line), l.meaningOf(&n.line))
	}
	return written(l.out.Flush())
}

// row writes one line: as decode does, with the track where there are several.
func (l *watchLines) row(track int, at time.Duration, ones, bytes, meaning string) {
	if len(l.names) > 1 {
		fmt.Fprintf(l.out, "%13s  %-11s  %4s  %-17s  %s\n", seconds(at), l.names[track], ones, bytes, meaning)
		return
	}
	fmt.Fprintf(l.out, row, seconds(at), ones, bytes, meaning)
}

func (l *watchLines) heading() {
	heading := fmt.Sprintf(row, "seconds", "ones", "bytes", "meaning")
	if len(l.names) > 1 {
		heading = fmt.Sprintf("%13s  %-11s  %4s  %-17s  %s\n", "seconds", "track", "ones", "bytes", "meaning")
	}
	l.out.WriteString(l.paint(dim, strings.TrimSuffix(heading, "\n")) + "\n")
}

func preambleOf(l *live.Line) string {
	if !l.IsPacket() {
		return ""
	}
	return fmt.Sprint(l.Preamble)
}

// bytesOf are the bytes of a packet, and a sign that there are more than are kept.
func bytesOf(l *live.Line) string {
	text := fmt.Sprintf("% x", []byte(l.Bytes()))
	if l.Length > len(l.Bytes()) {
		text += " …"
	}
	return text
}

// meaningOf says what a line is about.
func (s screen) meaningOf(l *live.Line) string {
	switch {
	case !l.IsPacket() && l.Count == 1:
		return s.paint(red, fmt.Sprintf("unusable for %s: %s", durationWords(l.Unusable), l.Reason))
	case !l.IsPacket():
		return s.paint(red, fmt.Sprintf("unusable for %s together: %s", durationWords(l.Unusable), l.Reason))
	case l.Fault != signal.None:
		return s.paint(red, "invalid, "+l.Fault.String())
	}
	return l.Meaning
}

func durationWords(d time.Duration) string { return verdict.Nanoseconds.Format(float64(d)) }

// eventWords says what a trip or an acknowledge was like.
func (s screen) eventWords(e *live.Event) string {
	if e.Trip != nil {
		return s.paint(red, fmt.Sprintf("trip after %s of overload, peak %s", durationWords(e.Trip.After().Round(time.Microsecond)),
			milliamperes(e.Trip.Peak)))
	}
	a := e.Acknowledge
	return s.paint(bold, fmt.Sprintf("acknowledge of %s, %s over %s", durationWords(a.Width.Round(time.Microsecond)), milliamperes(a.Amplitude),
		milliamperes(a.Baseline)))
}

// milliamperes is a current in words, rounded to the milliampere.
func milliamperes(i physic.ElectricCurrent) string {
	return verdict.Milliamperes.Format(float64((i + physic.MilliAmpere/2) / physic.MilliAmpere))
}

// summaries writes what was seen of each track.
func (l *watchLines) summaries() {
	var s live.Snapshot
	for i, name := range l.names {
		l.mu.Lock()
		l.tracks[i].Snapshot(&s)
		l.mu.Unlock()
		if len(l.names) > 1 {
			fmt.Fprintf(l.out, "\n%s", l.paint(bold, "the "+name+" track"))
		}
		if s.Total.Packets == 0 {
			fmt.Fprintf(l.out, "\n%d edges, no packets, %d unusable stretches\n", s.Total.Edges, s.Total.Unusable)
		} else {
			l.summary(&listing{out: l.out, folding: &folding{folded: s.Folded}}, &s.Total)
		}
		if s.Lost > 0 {
			fmt.Fprintf(l.out, "\n%d lost stretches, %s together\n", s.Lost, durationWords(s.LostTime))
		}
		if l.filters[i].Trips.Above > 0 {
			fmt.Fprintf(l.out, "\n%s above %s", plural(int(s.Trips), "trip"), milliamperes(l.filters[i].Trips.Above))
			if l.filters[i].Acknowledges.Threshold > 0 {
				fmt.Fprintf(l.out, ", %s", plural(int(s.Acknowledges), "acknowledge"))
			}
			l.out.WriteByte('\n')
		}
	}
}
