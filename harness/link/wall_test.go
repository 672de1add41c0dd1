package link_test

import (
	"context"
	"io"
	"testing"
	"time"

	"bufferstop/harness/link"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// slow is more than any call here may take on a busy machine, and less than what hangs.
const slow = 5 * time.Second

// checkWall holds a link on the wall clock to the rules of Link. far is the other end, which connect makes anew.
func checkWall(t *testing.T, connect func(t *testing.T) (link.Link, io.ReadWriteCloser)) {
	t.Run("carries bytes both ways", func(t *testing.T) {
		near, far := connect(t)
		write(t, near, "there")
		p := make([]byte, 5)
		_, err := io.ReadFull(far, p)
		require.NoError(t, err)
		assert.Equal(t, "there", string(p))
		_, err = far.Write([]byte("back\r\n\x00\xff\x11\x13\x03"))
		require.NoError(t, err)
		assert.Equal(t, "back\r\n\x00\xff\x11\x13\x03", readAll(t, near, 11))
	})
	t.Run("read timeout is ErrTimeout, not earlier than allowed", func(t *testing.T) {
		near, _ := connect(t)
		for _, allowed := range []time.Duration{0, 3 * time.Millisecond, 35 * time.Millisecond} {
			start := time.Now()
			got, err := read(t, near, allowed)
			assert.Empty(t, got)
			require.ErrorIs(t, err, link.ErrTimeout)
			assert.GreaterOrEqual(t, time.Since(start), allowed)
			assert.Less(t, time.Since(start), slow)
		}
	})
	t.Run("read with no time takes what is there", func(t *testing.T) {
		near, far := connect(t)
		_, err := far.Write([]byte("x"))
		require.NoError(t, err)
		require.Eventually(t, func() bool {
			got, err := read(t, near, 0)
			return err == nil && got == "x"
		}, slow, time.Millisecond)
		n, err := near.Read(t.Context(), nil, time.Hour)
		require.NoError(t, err)
		assert.Zero(t, n)
	})
	t.Run("context ends a read soon, and the next read is whole", func(t *testing.T) {
		near, far := connect(t)
		best := time.Hour
		for range 5 { // the best of five: another process may hold the machine for longer than this
			ctx, cancel := context.WithCancel(t.Context())
			var cancelled time.Time
			timer := time.AfterFunc(25*time.Millisecond, func() { cancelled = time.Now(); cancel() })
			_, err := near.Read(ctx, make([]byte, 1), time.Hour)
			require.ErrorIs(t, err, context.Canceled)
			timer.Stop()
			best = min(best, time.Since(cancelled))
			_, err = near.Read(ctx, make([]byte, 1), time.Hour)
			require.ErrorIs(t, err, context.Canceled)
		}
		assert.Less(t, best, 20*time.Millisecond)
		_, err := far.Write([]byte("x"))
		require.NoError(t, err)
		assert.Equal(t, "x", readAll(t, near, 1))
	})
	t.Run("blocked writer gets ErrTimeout with the count, and goes on with the rest", func(t *testing.T) {
		near, far := connect(t)
		sent := fillUp(t, near)
		got := make([]byte, sent)
		_, err := io.ReadFull(far, got)
		require.NoError(t, err)
		assert.Equal(t, pattern(sent), got, "each byte counted arrives once")
		write(t, near, "alive")
		p := make([]byte, 5)
		_, err = io.ReadFull(far, p)
		require.NoError(t, err)
		assert.Equal(t, "alive", string(p))
	})
	t.Run("close frees a blocked writer", func(t *testing.T) {
		near, _ := connect(t)
		fillUp(t, near)
		start := time.Now()
		require.NoError(t, near.Close())
		assert.Less(t, time.Since(start), slow)
	})
	t.Run("context ends a blocked write", func(t *testing.T) {
		near, _ := connect(t)
		fillUp(t, near)
		ctx, cancel := context.WithTimeout(t.Context(), 20*time.Millisecond)
		defer cancel()
		_, err := near.Write(ctx, pattern(1<<24), time.Hour)
		require.ErrorIs(t, err, context.DeadlineExceeded)
	})
	t.Run("closed peer is ErrClosed after its last words", func(t *testing.T) {
		near, far := connect(t)
		require.NoError(t, far.Close())
		start := time.Now()
		_, err := read(t, near, time.Hour)
		require.ErrorIs(t, err, link.ErrClosed)
		require.Eventually(t, func() bool {
			_, err = near.Write(t.Context(), []byte("x"), time.Second)
			return err != nil // a network learns of it with the first answer
		}, slow, time.Millisecond)
		require.ErrorIs(t, err, link.ErrClosed)
		assert.Less(t, time.Since(start), slow)
	})
	t.Run("peer that goes during a blocked write is ErrClosed", func(t *testing.T) {
		near, far := connect(t)
		fillUp(t, near)
		timer := time.AfterFunc(20*time.Millisecond, func() { _ = far.Close() })
		defer timer.Stop()
		_, err := near.Write(t.Context(), pattern(1<<22), time.Hour)
		require.ErrorIs(t, err, link.ErrClosed)
	})
	t.Run("peer that goes during a read is ErrClosed", func(t *testing.T) {
		near, far := connect(t)
		timer := time.AfterFunc(20*time.Millisecond, func() { _ = far.Close() })
		defer timer.Stop()
		_, err := read(t, near, time.Hour)
		require.ErrorIs(t, err, link.ErrClosed)
	})
	t.Run("flood is read in pieces that fit", func(t *testing.T) {
		near, far := connect(t)
		const size = 200_000
		flooded := make(chan error, 1)
		go func() {
			_, err := far.Write(pattern(size))
			flooded <- err
		}()
		assert.Equal(t, string(pattern(size)), readAll(t, near, size))
		require.NoError(t, <-flooded)
	})
	t.Run("closed link is ErrClosed for good", func(t *testing.T) {
		near, _ := connect(t)
		require.NoError(t, near.Close())
		require.NoError(t, near.Close())
		_, err := read(t, near, time.Hour)
		require.ErrorIs(t, err, link.ErrClosed)
		_, err = near.Write(t.Context(), []byte("x"), time.Hour)
		require.ErrorIs(t, err, link.ErrClosed)
	})
}

// fillUp writes to a far end that does not read until a write times out twice, and returns how many bytes were counted.
func fillUp(t *testing.T, near link.Link) (sent int) {
	t.Helper()
	all := pattern(1 << 25)
	for timeouts := 0; timeouts < 2; {
		start := time.Now()
		n, err := near.Write(t.Context(), all[sent:], 50*time.Millisecond)
		assert.Less(t, time.Since(start), slow)
		require.ErrorIs(t, err, link.ErrTimeout)
		sent += n
		require.Less(t, sent, len(all))
		timeouts++
	}
	return sent
}

func readAll(t *testing.T, near link.Link, size int) string {
	t.Helper()
	var all []byte
	for p := make([]byte, 1000); len(all) < size; {
		n, err := near.Read(t.Context(), p, slow)
		require.NoError(t, err)
		require.NotZero(t, n)
		all = append(all, p[:n]...)
	}
	return string(all)
}

// pattern is text in which a byte lost or doubled shows.
func pattern(size int) []byte {
	p := make([]byte, size)
	for i := range p {
		p[i] = byte(i ^ i>>8 ^ i>>16)
	}
	return p
}
