package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"strings"
	"text/tabwriter"
	"time"

	"bufferstop/harness/dcc"
	"bufferstop/harness/live"
	"bufferstop/harness/signal"
	"bufferstop/harness/verdict"
)

// A listing writes what a receiver finds in a capture, as it is found. It keeps no more of the capture than what --fold
// needs. A failure to write is kept by the buffer.
type listing struct {
	style
	out      *bufio.Writer
	listener dcc.Listener
	folding  *folding // nil without --fold
}

// A style is one way to write a listing.
type style interface {
	heading(l *listing)
	packet(l *listing, p *signal.Packet, meaning string)
	unusable(l *listing, u signal.Unusable)
	summary(l *listing, s *signal.Statistics)
}

func newListing(out *bufio.Writer, s style, fold bool) *listing {
	l := &listing{style: s, out: out}
	if fold {
		l.folding = &folding{told: map[live.Recipient]saying{}}
	}
	return l
}

func (l *listing) begin() { l.heading(l) }

func (l *listing) Packet(p *signal.Packet) {
	instruction := l.listener.Hear(p.Bytes, p.StartBit, p.End)
	if p.Fault == signal.None && l.folding.repeats(p) {
		return
	}
	l.packet(l, p, instruction.String())
}

func (l *listing) Unusable(u signal.Unusable) {
	// Long enough to be no gap for an answer of decoders, and too long for service mode.
	if u.Reason == signal.ReasonOff && u.End-u.Start >= dcc.ServiceModeTimeout {
		l.listener.PowerOff()
	}
	l.unusable(l, u)
}

func (l *listing) end(s *signal.Statistics) { l.summary(l, s) }

// A jsonStyle writes one object a line. Its field names are promised to users.
type jsonStyle struct{}

type packetLine struct {
	Type     string        `json:"type"`
	Start    time.Duration `json:"start_ns"`
	End      time.Duration `json:"end_ns"`
	Preamble int           `json:"preamble_bits"`
	Bytes    string        `json:"bytes"`
	Valid    bool          `json:"valid"`
	Meaning  string        `json:"meaning"`
	Fault    string        `json:"fault,omitempty"` // why it is not valid
}

type unusableLine struct {
	Type   string        `json:"type"`
	Start  time.Duration `json:"start_ns"`
	End    time.Duration `json:"end_ns"`
	Reason string        `json:"reason"`
}

type summaryLine struct {
	Type     string    `json:"type"`
	Edges    int64     `json:"edges"`
	Packets  int64     `json:"packets"`
	Invalid  int64     `json:"invalid_packets"`
	OneHalf  halfLines `json:"one_half_us"`
	ZeroHalf halfLines `json:"zero_half_us"`
	Folded   int64     `json:"folded_packets,omitempty"` // left out by --fold
}

// halfLines are the half-bits of one kind, in microseconds. The extremes and the mean of none are null.
type halfLines struct {
	Count int64    `json:"count"`
	Min   *float64 `json:"min"`
	Max   *float64 `json:"max"`
	Mean  *float64 `json:"mean"`
}

func halves(d *signal.Distribution) halfLines {
	h := halfLines{Count: d.Count}
	if d.Count > 0 {
		low, high, mean := float64(d.Min)/1e3, float64(d.Max)/1e3, d.Mean()/1e3
		h.Min, h.Max, h.Mean = &low, &high, &mean
	}
	return h
}

func (jsonStyle) heading(*listing) {}

func (jsonStyle) packet(l *listing, p *signal.Packet, meaning string) {
	line := packetLine{Type: "packet", Start: p.Start, End: p.End, Preamble: p.Preamble, Bytes: p.Bytes.String(),
		Valid: p.Fault == signal.None, Meaning: meaning}
	if !line.Valid {
		line.Fault = p.Fault.String()
	}
	writeLine(l.out, line)
}

func (jsonStyle) unusable(l *listing, u signal.Unusable) {
	writeLine(l.out, unusableLine{"unusable", u.Start, u.End, string(u.Reason)})
}

func (jsonStyle) summary(l *listing, s *signal.Statistics) {
	writeLine(l.out, summaryLine{"summary", s.Edges, s.Packets, s.Invalid, halves(&s.OneHalf), halves(&s.ZeroHalf),
		l.folding.count()})
}

// writeLine writes one of the lines above.
func writeLine(out *bufio.Writer, line any) {
	encoder := json.NewEncoder(out)
	encoder.SetEscapeHTML(false)
	_ = encoder.Encode(line) // none of the lines can fail to be JSON, and the buffer keeps a failure to write
}

// A textStyle writes lines to read, in columns.
type textStyle struct{ screen }

const row = "%13s  %4s  %-17s  %s\n"

func (t textStyle) heading(l *listing) {
	heading := fmt.Sprintf(row, "seconds", "ones", "bytes", "meaning")
	l.out.WriteString(t.paint(dim, strings.TrimSuffix(heading, "\n")) + "\n")
}

func (t textStyle) packet(l *listing, p *signal.Packet, meaning string) {
	if p.Fault != signal.None {
		meaning = t.paint(red, "invalid, "+p.Fault.String())
	}
	fmt.Fprintf(l.out, row, seconds(p.Start), fmt.Sprint(p.Preamble), fmt.Sprintf("% x", []byte(p.Bytes)), meaning)
}

func (t textStyle) unusable(l *listing, u signal.Unusable) {
	text := fmt.Sprintf("unusable for %s: %s", verdict.Nanoseconds.Format(float64(u.End-u.Start)), u.Reason)
	fmt.Fprintf(l.out, row, seconds(u.Start), "", "", t.paint(red, text))
}

// seconds sets a time on the track to the microsecond, which is what decides in DCC.
func seconds(d time.Duration) string { return fmt.Sprintf("%.6f", d.Seconds()) }

func (t textStyle) summary(l *listing, s *signal.Statistics) {
	fmt.Fprintf(l.out, "\n%d edges, %d packets, %d of them invalid, %d unusable stretches\n", s.Edges, s.Packets, s.Invalid,
		s.Unusable)
	if folded := l.folding.count(); folded > 0 {
		fmt.Fprintf(l.out, "%d packets that repeat others are left out\n", folded)
	}
	l.out.WriteByte('\n')
	table := tabwriter.NewWriter(l.out, 0, 0, 2, ' ', tabwriter.AlignRight)
	const name = "%-33s\t" // as wide as the longest, which sets the names on the left
	fmt.Fprintf(table, name+"count\tleast\tmean\tmost\tlimit\toutside\t\n", "")
	for _, q := range []struct {
		name string
		d    *signal.Distribution
		unit verdict.Unit
	}{
		{"one half-bit", &s.OneHalf, verdict.Nanoseconds},
		{"difference of the halves of a one", &s.OneDifference, verdict.Nanoseconds},
		{"zero half-bit", &s.ZeroHalf, verdict.Nanoseconds},
		{"whole zero", &s.ZeroTotal, verdict.Nanoseconds},
		{"preamble", &s.Preamble, verdict.Count},
		{"start to start", &s.Interval, verdict.Nanoseconds},
		{"same address again", &s.SameAddress, verdict.Nanoseconds},
	} {
		if q.d.Count == 0 {
			continue
		}
		fmt.Fprintf(table, name+"%d\t%s\t%s\t%s\t%s\t%d\t\n", q.name, q.d.Count, q.unit.Format(float64(q.d.Min)),
			q.unit.Format(q.d.Mean()), q.unit.Format(float64(q.d.Max)), limitWords(q.d.Limit(), q.unit), q.d.Outside)
	}
	table.Flush()
}

// limitWords tells a limit of the receiver as reports tell one.
func limitWords(l signal.Limit, unit verdict.Unit) string {
	limit := verdict.Limit{}
	if low := float64(l.Low); l.Low > 0 {
		limit.Min = &low
	}
	if high := float64(l.High); l.High < signal.Unlimited {
		limit.Max = &high
	}
	return unit.FormatLimit(limit)
}
