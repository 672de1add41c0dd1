//go:build simavr

package claims

import (
	"slices"
	"sync"
	"testing"

	protocol "bufferstop/harness/probe"
	"bufferstop/rigs/processor"

	"github.com/stretchr/testify/require"
)

// Times in the tests are cycles, which are the probe's ticks as well.
const (
	clock       = 16_000_000
	second      = uint64(clock)
	millisecond = second / 1000
	microsecond = millisecond / 1000
	character   = 10 * clock / 2_000_000 // at 2 Mbaud
)

const (
	two = "atmega2560"
	one = "atmega328p"
)

type pins struct {
	sign, absent processor.Pin
	channel      int
}

// tracksOf are the input pins of the tracks, in the order in which the probe names them.
var tracksOf = map[string][]pins{
	two: {{processor.Pin{Port: 'L', Bit: 0}, processor.Pin{Port: 'E', Bit: 4}, 0}, {processor.Pin{Port: 'L', Bit: 1}, processor.Pin{Port: 'E', Bit: 5}, 1}},
	one: {{processor.Pin{Port: 'B', Bit: 0}, processor.Pin{Port: 'D', Bit: 2}, 0}},
}

// A seen edge is one that a track had or that the probe told of.
type seen struct {
	at    int64
	level protocol.Code
}

type sampled struct {
	at    int64
	value uint16
}

// A board is the probe's processor with something on its pins.
type board struct {
	t      testing.TB
	m      *processor.Machine
	mcu    string
	tracks []pins
	free   func() // also ends the trace
	// voltage says what a channel of the converter sees, in millivolts.
	voltage func(channel int, cycle uint64) uint32
	taken   [2][]sampled // what it saw, with cycles
	changes []processor.Change

	hello   *protocol.Hello
	line    uint64 // when the line to the probe is free again
	seq     uint8
	framer  protocol.Framer
	next    uint8 // sequence number of the next frame from the probe
	begun   bool
	answers []protocol.Message
	sends   []byte
	bytes   int
	// What the stretches have told so far, in ticks without wraps.
	stretches, shortest, longest int
	gaps, lostEdges, lostSamples int
	until                        int64 // the end of the last one
	ticks                        int64
	told                         [2][]seen
	level                        [2]protocol.Code
	values                       [2][]sampled
	stretch                      protocol.Stretch
	each                         func(*protocol.Stretch) // if not nil, instead of told and values
}

// newBoard is a probe that has just got its supply, with no voltage on any track.
func newBoard(t testing.TB, b *build, mcu string) *board {
	t.Helper()
	m, err := processor.New(processor.Config{MCU: mcu, Clock: clock, Millivolts: 5000, UART: 0, Watch: map[string]string{two: "ACG", one: "BD"}[mcu]})
	require.NoError(t, err)
	p := &board{t: t, m: m, mcu: mcu, tracks: tracksOf[mcu], voltage: func(int, uint64) uint32 { return 0 }}
	p.free = sync.OnceFunc(m.Free)
	t.Cleanup(p.free)
	require.NoError(t, m.Flash(b.image(t, mcu)))
	for i := range p.tracks {
		p.pin(0, p.tracks[i].absent, true)
		p.pin(0, p.tracks[i].sign, false)
	}
	p.run(10 * millisecond) // most of it paints the stack
	p.hello = p.ask(protocol.AskHello{Version: protocol.Version}).(*protocol.Hello)
	return p
}

func (b *board) pin(cycle uint64, p processor.Pin, high bool) {
	if err := b.m.SetPin(cycle, p, high); err != nil {
		b.t.Fatal(err)
	}
}

// rails puts a level on a track at a cycle, as the comparators show it: SIGN keeps its last state without voltage.
func (b *board) rails(cycle uint64, track int, level protocol.Code) {
	p := b.tracks[track]
	if level != protocol.CodeOff {
		b.pin(cycle, p.sign, level == protocol.CodePositive)
	}
	b.pin(cycle, p.absent, level == protocol.CodeOff)
}

// run runs to a cycle and gathers what comes.
func (b *board) run(until uint64) {
	for b.m.Cycle() < until {
		switch b.m.Run(until, false) {
		case processor.Converting:
			channel, at := b.m.Channel(), b.m.SampledAt()
			mv := b.voltage(channel, at)
			b.m.Converted(mv)
			if b.begun {
				b.taken[channel] = append(b.taken[channel], sampled{int64(at), uint16(mv * 1023 / 5000)})
			}
		case processor.Stopped:
			b.t.Fatalf("the processor stopped: state %v, %s", b.m.State(), b.m.Log())
		}
		b.gather()
	}
}

func (b *board) gather() {
	b.changes = b.m.Changes(b.changes)
	b.sends = b.sends[:0]
	for _, s := range b.m.SentBytes(nil) {
		b.sends = append(b.sends, s.Byte)
	}
	b.take(b.sends)
}

// take takes what the probe sends.
func (b *board) take(bytes []byte) {
	b.bytes += len(bytes)
	for {
		frame, left, ok := b.framer.Next(bytes)
		if !ok {
			return
		}
		bytes = left
		b.frame(frame)
	}
}

func (b *board) frame(f protocol.Frame) {
	if f.Seq != b.next {
		b.t.Fatalf("frame %d from the probe where %d was next", f.Seq, b.next)
	}
	b.next++
	if f.Type == protocol.TypeStretch {
		if err := b.stretch.Parse(f.Payload, len(b.tracks)); err != nil {
			b.t.Fatal(err)
		}
		b.tell(&b.stretch)
		return
	}
	m, err := protocol.ParseReport(f.Type, f.Payload, len(b.tracks))
	if err != nil {
		b.t.Fatal(err)
	}
	b.answers = append(b.answers, m)
}

// tell takes a stretch apart.
func (b *board) tell(s *protocol.Stretch) {
	start := b.unwrap(s.Start)
	if b.stretches > 0 && start != b.until {
		b.gaps++
	}
	if b.stretches == 0 || start != b.until {
		for i := range b.tracks {
			b.level[i] = 255
		}
	}
	b.stretches++
	b.shortest, b.longest = min(b.shortest, int(s.Length)), max(b.longest, int(s.Length))
	b.until = start + int64(s.Length)
	b.lostEdges += int(s.Flags&1 + s.Flags>>1&1)
	b.lostSamples += int(s.Flags >> 2 & 1)
	if b.each != nil {
		b.each(s)
		return
	}
	for i := range b.tracks {
		id := i
		if b.mcu == one {
			id = protocol.Programming
		}
		if level := s.Level(uint8(id)); b.level[i] != level {
			if b.level[i] != 255 {
				b.t.Fatalf("track %d: the stretch at tick %d begins with level %d after level %d", i, start, level, b.level[i])
			}
			b.level[i] = level
		}
		at := start
		for _, item := range s.Items[i] {
			at += int64(item.Delta())
			if item.Code() == protocol.CodeNone {
				continue
			}
			if item.Code() == b.level[i] {
				b.t.Fatalf("track %d: level %d at tick %d is no change", i, item.Code(), at)
			}
			b.level[i] = item.Code()
			b.told[i] = append(b.told[i], seen{at, item.Code()})
		}
	}
	for k, v := range s.Values {
		channel := (int(s.First) + k) % len(b.tracks)
		b.values[channel] = append(b.values[channel], sampled{start + int64(s.Offset) + int64(k)*int64(s.Spacing), v})
	}
}

// unwrap makes a tick of 32 bits one of 64, near the last one.
func (b *board) unwrap(tick uint32) int64 {
	b.ticks += int64(int32(tick - uint32(b.ticks)))
	return b.ticks
}

// bytesAt has bytes arrive at the probe one after the other, the first not before a cycle. Returned is when the last has come.
func (b *board) bytesAt(cycle uint64, bytes []byte) uint64 {
	at := max(cycle, b.line, b.m.Cycle())
	for _, c := range bytes {
		at += character
		b.m.Receive(at, c)
	}
	b.line = at
	return at
}

// post sends a command; when its last byte has come is returned.
func (b *board) post(cycle uint64, m protocol.Message) uint64 {
	at := b.bytesAt(cycle, protocol.AppendFrame(nil, m.Type(), b.seq, m.Append(nil)))
	b.seq++
	return at
}

// ask sends a command and waits for its answer.
func (b *board) ask(m protocol.Message) protocol.Message {
	b.t.Helper()
	seq, have := b.seq, len(b.answers)
	limit := b.post(b.m.Cycle(), m) + 20*millisecond
	for b.m.Cycle() < limit {
		b.run(b.m.Cycle() + 100*microsecond)
		for i := have; i < len(b.answers); i++ {
			if of, ok := answers(b.answers[i], m, seq); ok {
				b.answers = slices.Delete(b.answers, i, i+1)
				return of
			}
		}
	}
	b.t.Fatalf("no answer to %T", m)
	return nil
}

// answers tells whether a message is the answer to a command.
func answers(got, to protocol.Message, seq uint8) (protocol.Message, bool) {
	switch g := got.(type) {
	case protocol.Done:
		return g, g.Of == seq && g.Command == to.Type()
	case protocol.Refused:
		return g, g.Of == seq && g.Command == to.Type()
	case protocol.Sync:
		return g, g.Of == seq
	case protocol.Status, *protocol.Hello, protocol.Mark:
		return g, got.Type() == to.Type()|0x80
	}
	return nil, false
}

// do sends a command that has to be carried out, and returns the tick of its answer.
func (b *board) do(m protocol.Message) uint32 {
	b.t.Helper()
	answer := b.ask(m)
	done, ok := answer.(protocol.Done)
	if !ok {
		b.t.Fatalf("%#v is answered by %#v", m, answer)
	}
	return done.Tick
}

// start has the probe tell what happens.
func (b *board) start(stretch, interval uint16) {
	b.t.Helper()
	b.begun = true
	b.shortest = 1 << 20
	b.do(protocol.Start{StretchMicros: stretch, SampleMicros: interval})
}

// zero is the cycle at which the probe's clock showed zero, by an edge on the first track: its time is exact.
func (b *board) zero() int64 {
	b.t.Helper()
	have := len(b.told[0])
	at := b.m.Cycle() + 10*microsecond
	level := protocol.CodePositive
	if b.level[0] == level {
		level = protocol.CodeNegative
	}
	b.rails(at, 0, level)
	b.run(at + 5*millisecond)
	require.Equal(b.t, have+1, len(b.told[0]), "edges while the clock is read")
	return int64(at) - b.told[0][have].at
}

// keepAlive sends signs of life when they are due: at the start of each run of a loop.
func (b *board) keepAlive() func(uint64) {
	next := uint64(0)
	return func(now uint64) {
		if now >= next {
			b.post(now, protocol.Alive{})
			next = now + 25*millisecond
		}
	}
}

func (b *board) status() protocol.Status {
	b.t.Helper()
	return b.ask(protocol.AskStatus{}).(protocol.Status)
}

// lossless requires that the probe has told everything, by its own account.
func (b *board) lossless() {
	b.t.Helper()
	require.Zero(b.t, b.gaps, "gaps between stretches")
	require.Zero(b.t, b.lostEdges, "stretches with lost edges")
	require.Zero(b.t, b.lostSamples, "stretches with lost samples")
	require.Zero(b.t, b.framer.Broken().Total(), "broken frames from the probe")
	s := b.status()
	require.Zero(b.t, s.EdgesLost, "edges lost")
	require.Zero(b.t, s.SamplesLost, "samples lost")
	require.Zero(b.t, s.CommandsBroken, "commands broken")
	require.Zero(b.t, s.InputOverruns, "input overruns")
	require.Zero(b.t, b.m.Resets(), "resets")
}
