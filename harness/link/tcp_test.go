package link_test

import (
	"context"
	"io"
	"net"
	"testing"
	"time"

	"bufferstop/harness/link"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// overTCP connects a link with a station on this machine.
func overTCP(t *testing.T) (link.Link, io.ReadWriteCloser) {
	t.Helper()
	noLeak(t)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer func() { require.NoError(t, listener.Close()) }()
	near, err := link.Open(t.Context(), "tcp://"+listener.Addr().String())
	require.NoError(t, err)
	far, err := listener.Accept()
	require.NoError(t, err)
	t.Cleanup(func() { _, _ = near.Close(), far.Close() })
	return near, far
}

func TestTCPKeepsTheRulesOfLink(t *testing.T) { checkWall(t, overTCP) }

func TestTCPPeerThatResetsIsErrClosed(t *testing.T) {
	near, far := overTCP(t)
	require.NoError(t, far.(*net.TCPConn).SetLinger(0)) // makes Close a reset
	require.NoError(t, far.Close())
	_, err := read(t, near, time.Hour)
	require.ErrorIs(t, err, link.ErrClosed)
}

func TestTCPPeerThatSpeaksAndClosesIsReadFirst(t *testing.T) {
	near, far := overTCP(t)
	_, err := far.Write([]byte("last words"))
	require.NoError(t, err)
	require.NoError(t, far.Close())
	assert.Equal(t, "last words", readAll(t, near, 10))
	_, err = read(t, near, time.Hour)
	require.ErrorIs(t, err, link.ErrClosed)
}

func TestTCPDialSaysWhereNobodyAnswers(t *testing.T) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	address := listener.Addr().String()
	require.NoError(t, listener.Close())
	_, err = link.DialTCP(t.Context(), address, time.Second)
	require.ErrorContains(t, err, "tcp://"+address+" does not answer")
	_, err = link.Open(t.Context(), "rfc2217://"+address+"?baud=9600")
	require.ErrorContains(t, err, "rfc2217://"+address+" does not answer")
	assert.NotContains(t, err.Error(), "tcp://")
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	_, err = link.DialTCP(ctx, address, time.Second)
	require.ErrorIs(t, err, context.Canceled)
}
