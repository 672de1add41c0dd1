package fakedecoder_test

import (
	"strings"
	"testing"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"

	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
	"pgregory.net/rapid"
)

const (
	oneHalf      = 58 * time.Microsecond  // S-9.1 A (2020), nominal
	zeroHalf     = 100 * time.Microsecond // S-9.1 A (2020), nominal
	longPreamble = 20                     // S-9.2.3 E (July 2012)
)

// rails is a track with a decoder on it, and a hand that sends.
type rails struct {
	*fakedecoder.Decoder
	t     time.Duration
	level signal.Level
	// watch, when set, is told the demand at the start of every half-bit and at every change within.
	watch func(t time.Duration, i physic.ElectricCurrent)
}

// testing.TB as far as rapid has it too.
type tester interface {
	Helper()
	Errorf(format string, args ...any)
	FailNow()
}

var (
	_ tester = (*testing.T)(nil)
	_ tester = (*rapid.T)(nil)
)

// lay lays a decoder on powered rails.
func lay(t tester, c fakedecoder.Config) *rails {
	t.Helper()
	d, err := fakedecoder.New(c)
	require.NoError(t, err)
	r := &rails{Decoder: d}
	r.on()
	return r
}

// ordinary is the ordinary decoder, altered.
func ordinary(alter ...func(*fakedecoder.Config)) fakedecoder.Config {
	c := fakedecoder.Default()
	for _, a := range alter {
		a(&c)
	}
	return c
}

func (r *rails) edge(l signal.Level) {
	r.level = l
	r.Edge(signal.Edge{Time: r.t, Level: l})
}

func (r *rails) on() { r.edge(signal.Positive) }

// cut takes the voltage away for d.
func (r *rails) cut(d time.Duration) {
	r.edge(signal.Off)
	r.t += d
	r.on()
}

// hold leaves the track as it is for d.
func (r *rails) hold(d time.Duration) {
	end := r.t + d
	for at := r.t; r.watch != nil; {
		r.watch(at, r.Current(at))
		next, ok := r.NextChange(at)
		if !ok || next >= end {
			break
		}
		at = next
	}
	r.t = end
}

// half lets the half-bit that began with the last edge end after d.
func (r *rails) half(d time.Duration) {
	r.hold(d)
	r.edge(-r.level)
}

// bits sends ones and zeros.
func (r *rails) bits(bits []byte) {
	for _, b := range bits {
		d := zeroHalf
		if b != 0 {
			d = oneHalf
		}
		r.half(d)
		r.half(d)
	}
}

// text sends a bit string as the standards print it, n times.
func (r *rails) text(n int, s string) {
	var bits []byte
	for _, c := range strings.ReplaceAll(s, " ", "") {
		bits = append(bits, byte(c-'0'))
	}
	for range n {
		r.bits(bits)
	}
}

// send sends a packet n times, with the preamble of operations mode.
func (r *rails) send(n int, p dcc.Packet) {
	for range n {
		r.bits(p.AppendBits(nil, 14))
	}
}

// instruct sends an instruction once.
func (r *rails) instruct(t tester, i dcc.Instruction) {
	t.Helper()
	p, err := i.Packet()
	require.NoError(t, err)
	r.send(1, p)
}

// program sends a packet n times with the long preamble.
func (r *rails) program(n int, p dcc.Packet) {
	for range n {
		r.bits(p.AppendBits(nil, longPreamble))
	}
}

var reset, idle = dcc.Seal(0, 0), dcc.Seal(0xff, 0)

// ask runs a service-mode sequence as S-9.2.3 E (July 2012) has it for direct mode, three resets, n of the packet and
// six resets, and reports whether an acknowledge came.
func (r *rails) ask(n int, p dcc.Packet) bool {
	before := r.Counters().Acknowledges
	r.program(3, reset)
	r.program(n, p)
	r.program(6, reset)
	return r.Counters().Acknowledges > before
}

// Direct-mode packets, written out so that they do not depend on the codec: 0111CCAA AAAAAAAA DDDDDDDD.
func verify(cv int, value byte) dcc.Packet { return direct(0x74, cv, value) }
func write(cv int, value byte) dcc.Packet  { return direct(0x7c, cv, value) }
func verifyBit(cv, bit int, value byte) dcc.Packet {
	return direct(0x78, cv, 0xe0|value<<3|byte(bit))
}
func writeBit(cv, bit int, value byte) dcc.Packet { return direct(0x78, cv, 0xf0|value<<3|byte(bit)) }

func direct(code byte, cv int, value byte) dcc.Packet {
	return dcc.Seal(code|byte((cv-1)>>8), byte(cv-1), value)
}
