package signal

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// sigrok-cli is an independent reader of VCD files. Its decoder named timing measures from edge to edge; at a time scale of
// 1 ns its sample numbers are nanoseconds.
func TestSigrokSeesEveryHalfBitThatWeWrote(t *testing.T) {
	cli, err := exec.LookPath("sigrok-cli")
	if err != nil {
		t.Skip("sigrok-cli is not installed; it is the independent reader of this test")
	}
	random := rand.New(rand.NewPCG(7, 8))
	s := newStream(Negative)
	s.now = 3 * time.Millisecond
	s.edges[0].Time = s.now
	for range 4 {
		for _, bit := range randomPacket(random).AppendBits(nil, 14) {
			low, span := 95*us, int64(30*us)
			if bit == 1 {
				low, span = 55*us, int64(6*us)
			}
			s.halves(low+time.Duration(random.Int64N(span+1)), low+time.Duration(random.Int64N(span+1)))
		}
	}
	s.half(9900 * us) // one stretched half; more of them take long, because every nanosecond is a sample
	path := filepath.Join(t.TempDir(), "track.vcd")
	var file bytes.Buffer
	w := NewVCDWriter(&file, "main")
	for _, e := range s.edges {
		require.NoError(t, w.Edge(0, e))
	}
	require.NoError(t, w.End(s.now+100*us))
	require.NoError(t, w.Close())
	require.NoError(t, os.WriteFile(path, file.Bytes(), 0o600))

	out, err := exec.Command(cli, "-i", path, "-P", "timing:data=main", "-A", "timing=time",
		"--protocol-decoder-samplenum").CombinedOutput()
	require.NoError(t, err, "%s", out)
	var theirs [][2]time.Duration
	for line := range strings.Lines(string(out)) {
		var from, to time.Duration
		n, err := fmt.Sscanf(line, "%d-%d timing-1:", &from, &to)
		require.NoError(t, err, "%q after %d values", line, n)
		theirs = append(theirs, [2]time.Duration{from, to})
	}

	// Ours: from reversal to reversal, from the file as we read it. The first edge is the level at the beginning.
	r, err := NewVCDReader(bytes.NewReader(file.Bytes()))
	require.NoError(t, err)
	edges, err := readAll(r)
	require.NoError(t, err)
	var ours [][2]time.Duration
	for i := 2; i < len(edges); i++ {
		ours = append(ours, [2]time.Duration{edges[i-1].Time, edges[i].Time})
	}
	require.Greater(t, len(ours), 300)
	assert.Equal(t, ours, theirs)

	// And the halves that the receiver measures are these.
	_, receiver := receive(StationReading(), edges, r.End())
	st := receiver.Statistics()
	assert.Equal(t, int64(len(theirs)), st.OneHalf.Count+st.ZeroHalf.Count)
	var sum, longest time.Duration
	for _, half := range theirs {
		sum += half[1] - half[0]
		longest = max(longest, half[1]-half[0])
	}
	assert.Equal(t, int64(sum), st.OneHalf.sum+st.ZeroHalf.sum)
	assert.Equal(t, int64(longest), st.ZeroHalf.Max)
}
