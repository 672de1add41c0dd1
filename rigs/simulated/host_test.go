package simulated

import (
	"context"
	"encoding/binary"
	"io"
	"strings"
	"testing"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness/current"
	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"

	"github.com/stretchr/testify/require"
)

// ear is a listener with a receiver behind it.
type ear struct {
	receiver *signal.Receiver
	packets  []signal.Packet
	unusable []signal.Unusable
	edges    []signal.Edge
	samples  []current.Sample
	keep     bool
}

func newEar() *ear {
	e := &ear{}
	e.receiver = signal.NewReceiver(signal.StationReading(), e)
	return e
}

func (e *ear) Edges(edges []signal.Edge) {
	e.receiver.Edges(edges)
	if e.keep {
		e.edges = append(e.edges, edges...)
	}
}

func (e *ear) Samples(samples []current.Sample) {
	if e.keep {
		e.samples = append(e.samples, samples...)
	}
}

func (e *ear) Packet(p *signal.Packet) {
	if e.keep {
		e.packets = append(e.packets, p.Clone())
	}
}

func (e *ear) Unusable(u signal.Unusable) {
	if e.keep {
		e.unusable = append(e.unusable, u)
	}
}

// bench is a rig with ears on both tracks, as a test uses it.
type bench struct {
	*Rig
	t           require.TestingT
	main        *ear
	programming *ear
}

// newBench builds a rig and listens to both tracks, keeping all that is heard if keep is set.
func newBench(t require.TestingT, o Options, keep bool) *bench {
	r, err := New(o)
	require.NoError(t, err)
	b := &bench{Rig: r, t: t, main: newEar(), programming: newEar()}
	b.main.keep, b.programming.keep = keep, keep
	r.Track(station.Main).Listen(b.main)
	r.Track(station.Programming).Listen(b.programming)
	return b
}

// say sends a message.
func (b *bench) say(message string) {
	_, err := b.Link().Write(context.Background(), []byte(message+"\n"), time.Second)
	require.NoError(b.t, err)
}

// hear waits for one line, without its end.
func (b *bench) hear(timeout time.Duration) (string, error) {
	var line []byte
	var c [1]byte
	for {
		if _, err := b.Link().Read(context.Background(), c[:], timeout); err != nil {
			return string(line), err
		}
		if c[0] == '\n' {
			return string(line), nil
		}
		line = append(line, c[0])
	}
}

// ask sends a message and returns its response.
func (b *bench) ask(message string) string {
	b.say(message)
	line, err := b.hear(20 * time.Second)
	require.NoError(b.t, err, message)
	return line
}

// do sends a command that must be accepted.
func (b *bench) do(command string) {
	require.Equal(b.t, `0,"No error"`, b.ask(command+";:SYST:ERR?"), command)
}

func (b *bench) wait(d time.Duration) { require.NoError(b.t, b.Wait(context.Background(), d)) }

// powerUp switches the main track on and waits for the end of the power-up sequence.
func (b *bench) powerUp() {
	b.do("TRAC:POW MAIN,ON")
	b.wait(400 * time.Millisecond)
}

// fit lays a decoder on the programming track.
func (b *bench) fit(c fakedecoder.Config) *fakedecoder.Decoder {
	d, err := b.Track(station.Programming).Fit(c)
	require.NoError(b.t, err)
	return d
}

// clear forgets what was heard.
func (e *ear) clear() { e.packets, e.unusable, e.edges, e.samples = nil, nil, nil, nil }

// sum writes every edge and sample into a hash.
func (e *ear) sum(h io.Writer) {
	b := make([]byte, 0, 16*(len(e.edges)+len(e.samples)))
	for _, x := range e.edges {
		b = binary.LittleEndian.AppendUint64(b, uint64(x.Time)<<2|uint64(x.Level+1))
	}
	for _, x := range e.samples {
		b = binary.LittleEndian.AppendUint64(b, uint64(x.Time))
		b = binary.LittleEndian.AppendUint64(b, uint64(x.Current))
	}
	_, _ = h.Write(b) // a hash never fails
}

// meanings are the packets that were heard, without idle and repetitions.
func (e *ear) meanings() []string {
	var list []string
	seen := map[string]bool{}
	for _, p := range e.packets {
		m := dcc.Decode(p.Bytes).String()
		if !p.Bytes.IsIdle() && !seen[m] {
			seen[m] = true
			list = append(list, m)
		}
	}
	return list
}

// count is how often a packet was heard.
func (e *ear) count(p dcc.Packet) int {
	n := 0
	for i := range e.packets {
		if e.packets[i].Bytes.Equal(p) {
			n++
		}
	}
	return n
}

// faults are what in the signal could not be used, but for the off state.
func (e *ear) faults() []string {
	var list []string
	for _, u := range e.unusable {
		if u.Reason != signal.ReasonOff {
			list = append(list, u.Start.String()+" "+string(u.Reason))
		}
	}
	for _, p := range e.packets {
		if p.Fault != signal.None {
			list = append(list, p.Start.String()+" "+p.Fault.String())
		}
	}
	return list
}

// packet is the packet of an instruction.
func packet(i dcc.Instruction, err error) dcc.Packet {
	if err != nil {
		panic(err)
	}
	p, err := i.Packet()
	if err != nil {
		panic(err)
	}
	return p
}

func TestTheFirstEdgeTellsTheLevelOfTheTrack(t *testing.T) {
	b := newBench(t, Options{Nominal: true}, true)
	require.Equal(t, []signal.Edge{{Time: 0, Level: signal.Off}}, b.main.edges)
	b.powerUp()
	late := newEar()
	late.keep = true
	cancel := b.Track(station.Main).Listen(late)
	require.Len(t, late.edges, 1)
	require.Equal(t, b.Now(), late.edges[0].Time)
	require.NotEqual(t, signal.Off, late.edges[0].Level)
	b.wait(10 * time.Millisecond)
	require.Greater(t, len(late.edges), 60)
	cancel()
	cancel()
	n := len(late.edges)
	b.wait(10 * time.Millisecond)
	require.Len(t, late.edges, n)
	require.Nil(t, b.Track("siding"))
	require.True(t, strings.HasPrefix(b.ask("*IDN?"), "bufferstop,simulated station,"))
}
