package signal

import (
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// fieldCapture opens one of the recordings of real layouts that lie beside the project. They are not part of it.
func fieldCapture(t testing.TB, name string) *Capture {
	path := filepath.Join("..", "..", "..", "shared", "captures", name)
	if _, err := os.Stat(path); err != nil {
		t.Skipf("the field captures are not here: %v", err)
	}
	c, err := OpenCapture(path, nil)
	require.NoError(t, err)
	t.Cleanup(func() { c.Close() })
	return c
}

// receiveCapture reads a capture in one way to its end.
func receiveCapture(t testing.TB, c *Capture, reading Reading) (*heard, *Receiver) {
	h := new(heard)
	r := NewReceiver(reading, h)
	buf := make([]Edge, 1024)
	for {
		n, err := c.Read(buf)
		r.Edges(buf[:n])
		if err == io.EOF {
			break
		}
		require.NoError(t, err)
	}
	r.Finish(c.End())
	return h, r
}

// What was done while each was recorded is told by the README beside the captures; the bytes are the packets of S-9.2 and
// S-9.2.1 for it. The number of edges is that of the value changes in the file, counted with zgrep -c '^#.* '.
func TestFieldCapturesHoldWhatTheirRecordingTells(t *testing.T) {
	for _, c := range []struct {
		name    string
		edges   int64
		cut     []Unusable
		actions map[string]int // packets that must be there, and how often
	}{
		{"light-address-2.vcd.gz", 71759, []Unusable{{0, 5394 * us, ReasonCutAtStart}}, map[string]int{
			"029092": 52, // address 2, F0 on
			"028082": 23, // and off
		}},
		{"accessory-310.vcd.gz", 107225, nil, map[string]int{
			"8eeb65": 3, // decoder 78, pair 1: raw 313, which is 310 when the first number is raw 4
			"8ee36d": 3,
		}},
		{"accessory-120-121.vcd.gz", 137279, []Unusable{{0, 225 * us, ReasonCutAtStart}}, map[string]int{
			"9efe60": 3, "9eff61": 3, // decoder 30, pair 3: raw 123, which is 120
			"9ef668": 3, "9ef769": 3,
			"9ff867": 6, "9ff966": 3, // decoder 31, pair 0: raw 124, which is 121
			"9ff06f": 6, "9ff16e": 3,
		}},
	} {
		for _, reading := range readings {
			t.Run(c.name+" "+reading.Name, func(t *testing.T) {
				capture := fieldCapture(t, c.name)
				assert.Equal(t, time.Microsecond, capture.Resolution())
				h, r := receiveCapture(t, capture, reading)
				st := r.Statistics()
				assert.Equal(t, c.edges, st.Edges)
				assert.Equal(t, c.cut, h.unusable)
				assert.Zero(t, st.Invalid)
				assert.Equal(t, st.Packets, int64(len(h.packets)))
				seen := map[string]int{}
				for _, b := range h.bytes() {
					seen[b]++
				}
				for bytes, times := range c.actions {
					assert.Equal(t, times, seen[bytes], bytes)
				}
				assert.Zero(t, st.OneHalf.Outside)
				assert.Zero(t, st.ZeroHalf.Outside)
				assert.Zero(t, st.Preamble.Outside)
				assert.Zero(t, st.Interval.Outside)
			})
		}
	}
}
