//go:build simavr

package firmware

import (
	"context"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"
)

// slice is how far the processor runs at most before the rest of the rig is looked at: our own choice.
const slice = 4 * time.Millisecond

// Advance lets the world run to the time to, or with orByte until a byte has arrived at the host. The processor runs from
// one instant at which something reaches it from outside to the next.
func (r *Rig) Advance(ctx context.Context, to time.Duration, orByte bool) error {
	if r.closed {
		return errClosed
	}
	defer r.flush()
	return r.line.Run(ctx, to, orByte, func(to time.Duration) { r.step(min(to, r.now+slice), orByte) })
}

// step runs to the next instant at which something reaches the processor or the probe, and lets it happen.
func (r *Rig) step(to time.Duration, orByte bool) {
	t := min(to, r.line.ToStation.Arrives())
	for i := range r.output {
		t = min(t, r.output[i].SampleAt())
	}
	if r.running() {
		t = r.process(t, orByte)
	}
	r.now = max(r.now, t)
	if r.line.ToStation.Arrives() <= r.now {
		var b [1]byte
		r.line.ToStation.Take(r.now, b[:])
		if r.running() {
			r.machine.receive(b[0])
		}
	}
	for i := range r.output {
		if r.output[i].SampleAt() <= r.now {
			r.output[i].Sample(r.now)
		}
	}
}

func (r *Rig) running() bool { return r.machine != nil && r.fault == "" }

// process runs the processor up to t, or to a conversion or a byte that is sent, and returns the time that it is then.
func (r *Rig) process(t time.Duration, orByte bool) time.Duration {
	m := r.machine
	why := m.run(r.cycles(t), orByte)
	r.edges = m.edges(r.edges[:0])
	for _, e := range r.edges {
		r.output[e.output].Edge(r.instant(e.cycle), e.level)
	}
	r.sent = m.sentBytes(r.sent[:0])
	for _, s := range r.sent {
		r.line.ToHost.Put(r.instant(s.cycle), []byte{s.byte})
	}
	if why == atTime {
		return t
	}
	reached := r.instant(m.cycle())
	switch why {
	case converting:
		m.converted(r.millivolts(m.channel(), reached))
	case stopped:
		r.now = max(r.now, min(reached, t))
		r.stop()
	}
	return min(reached, t)
}

// millivolts is what a channel of the converter sees. One that is not wired sees nothing.
func (r *Rig) millivolts(channel int, t time.Duration) uint32 {
	for i, o := range r.file.Outputs {
		if o.Channel == channel {
			return uint32(r.output[i].Amperes(t)*o.Gain*1000 + 0.5)
		}
	}
	return 0
}

// stop notes how the firmware came to its end. Its pins stay as they are, which is the worst that can happen to a track.
func (r *Rig) stop() {
	m := r.machine
	where := "at " + r.place(m.at())
	var how string
	switch m.state() {
	case ranOff:
		how, where = "ran off its code", fmt.Sprintf("from %s to %#x, where the image has nothing", r.place(m.at()), m.next())
	case invalid:
		how = "met what is no instruction of the processor"
	case sleepsForEver:
		how = "went to sleep with interrupts off, for ever"
	default:
		how = "crashed"
	}
	r.fault = fmt.Sprintf("the firmware %s %v after its start: %s, stack pointer %#x", how, r.now-r.base, where, m.stackPointer())
	if said := lastLine(m.log()); said != "" {
		r.fault += fmt.Sprintf("; the simulator says %+q", said)
	}
}

// place is an address in the flash, with the function that is there.
func (r *Rig) place(address uint32) string {
	if name := r.image.Function(address); name != "" {
		return fmt.Sprintf("%#x in %s", address, printable(name))
	}
	return fmt.Sprintf("%#x", address)
}

// colour is how the simulator colours what it says.
var colour = regexp.MustCompile("\x1b\\[[0-9;]*m")

// lastLine is the last thing that the simulator complained of, as it is the one that stopped the processor.
func lastLine(log string) string {
	log = strings.TrimSuffix(strings.TrimSpace(colour.ReplaceAllString(log, "")), "avr_sadly_crashed") // its last words
	lines := strings.Split(strings.TrimSpace(log), "\n")
	line := strings.TrimSpace(lines[len(lines)-1])
	return line[:min(len(line), 200)]
}

// printable quotes a name that is not plain, as one in a hostile image.
func printable(name string) string {
	if quoted := strconv.QuoteToASCII(name); len(quoted) != len(name)+2 {
		return quoted
	}
	return name
}

func (r *Rig) flush() {
	for i := range r.output {
		r.output[i].Flush()
	}
}
