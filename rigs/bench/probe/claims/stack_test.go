//go:build simavr

package claims

import (
	"math/rand/v2"
	"testing"

	protocol "bufferstop/harness/probe"

	"github.com/stretchr/testify/assert"
)

// headroom is how many bytes of RAM have to be left between the variables and the lowest point of the stack.
const headroom = 128

// The stack never comes near the variables: with edges at the full rate, samples, commands of every kind, reflexes, loads and
// noise. stack.c paints it before anything runs.
func TestTheStackKeepsAwayFromTheVariables(t *testing.T) {
	for _, mcu := range []string{two, one} {
		b := newBoard(t, &healthy, mcu)
		r := rand.New(rand.NewPCG(9, 9))
		b.start(1000, 250)
		b.each = func(*protocol.Stretch) {}
		host := &busyHost{b: b, r: r}
		var signals []*signal
		for i, h := range b.hello.Tracks {
			signals = append(signals, &signal{b: b, track: i, at: b.m.Cycle() + 1000, level: protocol.CodePositive, half: func() uint64 { return 52*microsecond + r.Uint64N(20*microsecond) },
				off: func() uint64 { return r.Uint64N(200) / 199 * 3200 }})
			b.do(protocol.Reflex{Track: h.ID, Rule: uint8(i), Run: 1, Level: 1, Width: 10, Length: 3, Bytes: [6]byte{0xFF, 0, 0xFF}})
		}
		play(b, 20_000, func(now uint64) {
			host.turn()
			if r.IntN(50) == 0 {
				b.bytesAt(now, []byte{byte(r.Uint32()), byte(r.Uint32()), 0})
				host.waits = false
			}
		}, signals...)
		size, end := memory(t, healthy.path(t, mcu))
		low := end
		for b.m.Data(uint32(low)) == 0xC5 {
			low++
		}
		top := map[string]uint64{two: 0x2200, one: 0x900}[mcu]
		t.Logf("%s: %d bytes of variables, %d of stack at most, %d left", mcu, size, top-low, low-end)
		assert.GreaterOrEqual(t, int(low-end), headroom)
	}
}
