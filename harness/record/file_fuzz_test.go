package record

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// A record may come from anywhere: it is refused, or can be written and read again as it is.
func FuzzRead(f *testing.F) {
	var b bytes.Buffer
	require.NoError(f, Write(&b, full(f)))
	f.Add(b.Bytes())
	f.Add([]byte(`{"schema": "bufferstop-record/1"}`))
	f.Add([]byte(`{"schema": "bufferstop-record/1", "station": {"claims": {"a": [{"b": null}, 1e300]}}}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		r, err := Read(bytes.NewReader(data))
		if err != nil {
			return
		}
		r.Conclude(r.RigTime, r.WallTime, false)
		var once, twice bytes.Buffer
		require.NoError(t, Write(&once, r))
		again, err := Read(bytes.NewReader(once.Bytes()))
		require.NoError(t, err)
		require.NoError(t, Write(&twice, again))
		require.Equal(t, once.String(), twice.String())
	})
}

// endless is a file that never ends.
type endless struct{ read int }

func (e *endless) Read(p []byte) (int, error) {
	copy(p, strings.Repeat(" ", len(p)))
	e.read += len(p)
	return len(p), nil
}

func TestAFileThatIsTooLargeIsNotReadToItsEnd(t *testing.T) {
	e := new(endless)
	_, err := Read(e)
	require.ErrorContains(t, err, "which no record is")
	require.Less(t, e.read, 2*MaxSize+1<<20)
}

func TestWhatIsNoFileIsNotWaitedFor(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, SaveFile(dir+"/"+FileName, "in the way", nil))
	_, err := Load(dir)
	require.ErrorContains(t, err, "no regular file")
}
