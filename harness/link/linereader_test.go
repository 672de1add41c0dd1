package link_test

import (
	"bytes"
	"context"
	"errors"
	"runtime"
	"strings"
	"testing"
	"time"

	"bufferstop/harness/link"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestLineReaderSplitsAtTheLineEnd(t *testing.T) {
	for _, end := range []string{"\n", "\r", "\r\n", "<end>"} {
		t.Run(end, func(t *testing.T) {
			var clock link.VirtualClock
			near, far := link.Pipe(&clock, 0)
			lines := link.NewLineReader(near, &clock, end, 20)
			write(t, far, "one"+end+end+"two <e\r"+"x"+end+"rest")
			for _, want := range []string{"one", "", "two <e\r" + "x"} {
				if end == "\r" && want == "two <e\rx" {
					want = "two <e"
				}
				line, err := lines.ReadLine(t.Context(), 0)
				require.NoError(t, err)
				assert.Equal(t, want, string(line.Text))
			}
		})
	}
}

func TestLineReaderTellsWhenTheLineEnded(t *testing.T) {
	var clock link.VirtualClock
	near, far := link.Pipe(&clock, 0)
	lines := link.NewLineReader(near, &clock, "\n", 20)
	clock.At(2*time.Millisecond, func() { write(t, far, "he") })
	clock.At(5*time.Millisecond, func() { write(t, far, "llo\n") })
	line, err := lines.ReadLine(t.Context(), time.Second)
	require.NoError(t, err)
	assert.Equal(t, link.Line{Text: []byte("hello"), Received: 5 * time.Millisecond}, line)
	assert.EqualValues(t, 6, lines.BytesRead())
}

func TestLineReaderKeepsAnUnfinishedLineOverATimeout(t *testing.T) {
	var clock link.VirtualClock
	near, far := link.Pipe(&clock, 0)
	lines := link.NewLineReader(near, &clock, "\r\n", 20)
	write(t, far, "half\r")
	_, err := lines.ReadLine(t.Context(), time.Second)
	require.ErrorIs(t, err, link.ErrTimeout)
	assert.Equal(t, time.Second, clock.Now())
	assert.Equal(t, "half\r", string(lines.Pending()))
	write(t, far, "\nnext")
	line, err := lines.ReadLine(t.Context(), 0)
	require.NoError(t, err)
	assert.Equal(t, "half", string(line.Text))
	assert.Equal(t, "next", string(pendingAfterTimeout(t, lines)))
	assert.Equal(t, "next", string(lines.Discard()))
	assert.Empty(t, lines.Pending())
}

func pendingAfterTimeout(t *testing.T, lines *link.LineReader) []byte {
	t.Helper()
	_, err := lines.ReadLine(t.Context(), 0)
	require.ErrorIs(t, err, link.ErrTimeout)
	return lines.Pending()
}

func TestLineReaderPassesOnTheErrorOfTheLink(t *testing.T) {
	var clock link.VirtualClock
	near, far := link.Pipe(&clock, 0)
	lines := link.NewLineReader(near, &clock, "\n", 20)
	write(t, far, "whole\nhalf")
	require.NoError(t, far.Close())
	line, err := lines.ReadLine(t.Context(), time.Second)
	require.NoError(t, err)
	assert.Equal(t, "whole", string(line.Text))
	_, err = lines.ReadLine(t.Context(), time.Second)
	require.ErrorIs(t, err, link.ErrClosed)
	assert.Equal(t, "half", string(lines.Pending()))
}

func TestLineOfAMegabyteIsCountedAndNotKept(t *testing.T) {
	var clock link.VirtualClock
	near, far := link.Pipe(&clock, 0)
	lines := link.NewLineReader(near, &clock, "\r\n", 100)
	const length = 1 << 20
	write(t, far, strings.Repeat("A", length)+"\r\nafter\r\n")

	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	_, err := lines.ReadLine(t.Context(), time.Second)
	runtime.ReadMemStats(&after)
	var long *link.LongLineError
	require.ErrorAs(t, err, &long)
	assert.Equal(t, &link.LongLineError{Limit: 100, Length: length, Start: bytes.Repeat([]byte("A"), 64), Ended: true}, long)
	assert.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(64<<10), "bytes allocated for it")

	line, err := lines.ReadLine(t.Context(), 0)
	require.NoError(t, err)
	assert.Equal(t, "after", string(line.Text))
}

func TestLineThatNeverEndsIsToldWhenTheTimeHasPassed(t *testing.T) {
	var clock link.VirtualClock
	near, far := link.Pipe(&clock, 0)
	lines := link.NewLineReader(near, &clock, "\n", 10)
	var talk func()
	talk = func() {
		write(t, far, "01234567")
		clock.At(clock.Now()+time.Millisecond, talk)
	}
	clock.At(0, talk)
	_, err := lines.ReadLine(t.Context(), 100*time.Millisecond)
	var long *link.LongLineError
	require.ErrorAs(t, err, &long)
	assert.False(t, long.Ended)
	assert.Equal(t, 100*time.Millisecond, clock.Now())
	assert.InDelta(t, 8*101, long.Length, 8)
	assert.Contains(t, err.Error(), "no line end yet")

	first := long.Length
	_, err = lines.ReadLine(t.Context(), 100*time.Millisecond)
	require.ErrorAs(t, err, &long)
	assert.InDelta(t, first+800, long.Length, 8, "the count goes on")
}

// endless always has bytes and never takes time.
type endless struct{}

func (endless) Read(_ context.Context, p []byte, _ time.Duration) (int, error) {
	return copy(p, bytes.Repeat([]byte{'A'}, len(p))), nil
}
func (endless) Write(_ context.Context, p []byte, _ time.Duration) (int, error) { return len(p), nil }
func (endless) Close() error                                                    { return nil }

func TestLineReaderIsNotHeldByAFarEndThatNeverPauses(t *testing.T) {
	var clock link.VirtualClock
	lines := link.NewLineReader(endless{}, &clock, "\n", 10)
	_, err := lines.ReadLine(t.Context(), 0)
	var long *link.LongLineError
	require.ErrorAs(t, err, &long)
	assert.False(t, long.Ended)
}

func TestLineAtTheLimitIsALine(t *testing.T) {
	for _, length := range []int{9, 10, 11} {
		var clock link.VirtualClock
		near, far := link.Pipe(&clock, 0)
		lines := link.NewLineReader(near, &clock, "\r\n", 10)
		text := strings.Repeat("x", length)
		write(t, far, text+"\r\n")
		line, err := lines.ReadLine(t.Context(), 0)
		if length <= 10 {
			require.NoError(t, err)
			assert.Equal(t, text, string(line.Text))
			continue
		}
		var long *link.LongLineError
		require.ErrorAs(t, err, &long)
		assert.Equal(t, &link.LongLineError{Limit: 10, Length: 11, Start: []byte(text), Ended: true}, long)
	}
}

// chunks delivers bytes in pieces of given sizes.
type chunks struct {
	rest  []byte
	sizes []int
}

func (c *chunks) Read(_ context.Context, p []byte, _ time.Duration) (int, error) {
	if len(c.rest) == 0 {
		return 0, link.ErrTimeout
	}
	size := len(c.rest)
	if len(c.sizes) > 0 {
		size, c.sizes = c.sizes[0], c.sizes[1:]
	}
	n := copy(p, c.rest[:min(size, len(c.rest))])
	c.rest = c.rest[n:]
	return n, nil
}
func (c *chunks) Write(context.Context, []byte, time.Duration) (int, error) { return 0, link.ErrClosed }
func (c *chunks) Close() error                                              { return nil }

// checkLines reads everything and compares it with a split of the whole.
func checkLines(t require.TestingT, data []byte, end string, limit int, sizes []int) {
	var clock link.VirtualClock
	lines := link.NewLineReader(&chunks{data, sizes}, &clock, end, limit)
	want := bytes.Split(data, []byte(end))
	rest := want[len(want)-1]
	for _, text := range want[:len(want)-1] {
		line, err := lines.ReadLine(context.Background(), 0)
		// A call with no time stops after so many bytes; the next one goes on.
		for calls := 0; errors.Is(err, link.ErrTimeout) || isUnended(err); calls++ {
			require.LessOrEqual(t, calls, len(data), "calls without a line")
			line, err = lines.ReadLine(context.Background(), 0)
		}
		if len(text) <= limit {
			require.NoError(t, err)
			require.Equal(t, string(text), string(line.Text))
			continue
		}
		var long *link.LongLineError
		require.ErrorAs(t, err, &long)
		require.True(t, long.Ended)
		require.Equal(t, len(text), long.Length)
		require.True(t, bytes.HasPrefix(text, long.Start))
	}
	_, err := lines.ReadLine(context.Background(), 0)
	require.Error(t, err)
	if len(rest) <= limit {
		require.ErrorIs(t, err, link.ErrTimeout)
		require.Equal(t, string(rest), string(lines.Pending()))
	}
}

func isUnended(err error) bool {
	var long *link.LongLineError
	return errors.As(err, &long) && !long.Ended
}

func TestLinesAreTheSameInWhateverPiecesTheyCome(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		end := rapid.SampledFrom([]string{"\n", "\r\n", "aab"}).Draw(t, "end")
		pieces := rapid.SliceOf(rapid.OneOf(rapid.Just(end), rapid.StringOf(rapid.SampledFrom([]rune("ab\r\nxyz"))))).Draw(t, "pieces")
		sizes := rapid.SliceOf(rapid.IntRange(1, 5)).Draw(t, "sizes")
		limit := rapid.IntRange(1, 12).Draw(t, "limit")
		checkLines(t, []byte(strings.Join(pieces, "")), end, limit, sizes)
	})
}

func FuzzLineReader(f *testing.F) {
	f.Add([]byte("one\ntwo\r\n\nrest"), "\n", 5, []byte{1, 2, 3})
	f.Add([]byte("\r\r\n\r\n"), "\r\n", 1, []byte{1})
	f.Add(bytes.Repeat([]byte("A"), 5000), "AB", 10, []byte{255})
	f.Fuzz(func(t *testing.T, data []byte, end string, limit int, pieces []byte) {
		if end == "" || len(end) > 8 || limit < 1 || limit > 1<<16 {
			t.Skip("the dialect allows no such line end or limit")
		}
		var sizes []int
		for _, p := range pieces {
			sizes = append(sizes, int(p)+1)
		}
		checkLines(t, data, end, limit, sizes)
	})
}

func BenchmarkLineReader(b *testing.B) {
	data := bytes.Repeat([]byte("6;0,\"No error\"\n"), 1000)
	var clock link.VirtualClock
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		lines := link.NewLineReader(&chunks{rest: data}, &clock, "\n", 100)
		for {
			if _, err := lines.ReadLine(b.Context(), 0); err != nil {
				break
			}
		}
	}
}
