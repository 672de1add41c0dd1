package main

import (
	"context"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"bufferstop/harness/link"
)

func TestBytesAreShownAsRawTakesThem(t *testing.T) {
	assert.Equal(t, `"a\"\\\r\n\x1b[2J\xd0\x9d"`, quoteBytes([]byte("a\"\\\r\n\x1b[2JН")))
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.SliceOf(rapid.Byte()).Draw(t, "bytes")
		shown := quoteBytes(text)
		for _, c := range []byte(shown) {
			require.True(t, c >= ' ' && c <= '~')
		}
		again, err := strconv.Unquote(shown)
		require.NoError(t, err)
		require.Equal(t, string(text), again)
	})
}

func TestATapJoinsWhatBelongsTogetherAndIsBounded(t *testing.T) {
	ctx := context.Background()
	clock := new(link.VirtualClock)
	near, far := link.Pipe(clock, 0)
	wire := &tap{Link: near, clock: clock}
	receive := func(text string) {
		_, err := far.Write(ctx, []byte(text), time.Second)
		require.NoError(t, err)
		_, err = wire.Read(ctx, make([]byte, 1<<20), time.Second)
		require.NoError(t, err)
	}
	_, err := wire.Write(ctx, []byte("one\n"), time.Second)
	require.NoError(t, err)
	receive("tw")
	receive("o\nthree")
	require.NoError(t, clock.Wait(ctx, time.Second))
	receive("four")
	var got []string
	for _, e := range wire.take() {
		got = append(got, string(rune(e.Direction))+string(e.Bytes))
	}
	assert.Equal(t, []string{">one\n", "<two\n", "<three", "<four"}, got)
	assert.Empty(t, wire.take())

	for range 100 {
		receive(string(make([]byte, 1<<18)))
	}
	kept := 0
	for _, e := range wire.take() {
		kept += len(e.Bytes)
	}
	assert.LessOrEqual(t, kept, tapKept*tapBytes)
}

func TestTextOfUnknownOriginShowsHarmlessly(t *testing.T) {
	assert.Equal(t, `read "cv" 29 ü \x1b[2J\u202e\ufffd\n`, harmless("read \"cv\" 29 ü \x1b[2J\u202e\xff\n"))
}
