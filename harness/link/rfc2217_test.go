package link_test

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net"
	"regexp"
	"strings"
	"testing"
	"time"

	"bufferstop/harness/link"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestRFC2217KeepsTheRulesOfLink(t *testing.T) {
	checkWall(t, func(t *testing.T) (link.Link, io.ReadWriteCloser) {
		server := &comPortServer{}
		return connect(t, link.RFC2217Config{}, server), server
	})
}

func TestRFC2217AsksForTheWholeLineAndForTheControlLinesLast(t *testing.T) {
	server := &comPortServer{last: func(c []byte) bool { return c[0] == setControl && c[1] == 12 }}
	connect(t, link.RFC2217Config{Line: link.SerialConfig{Baud: 65280, Parity: link.ParityEven, StopBits: 2,
		DTR: link.LineAssert, RTS: link.LineRelease}}, server)
	assert.Equal(t, [][]byte{
		{10, 0}, {11, 0}, // no notifications of line and modem states
		{1, 0, 0, 255, 0}, // the baud rate: one whose bytes must be escaped
		{2, 8},            // data bits
		{3, 3},            // parity
		{4, 2},            // stop bits
		{5, 1},            // no flow control
		{12, 3},           // purge both ways
		{5, 8}, {5, 12},   // DTR on, RTS off
	}, server.asked)
}

func TestRFC2217HoldsTheControlLinesAndHasUsefulDefaults(t *testing.T) {
	server := &comPortServer{}
	connect(t, link.RFC2217Config{}, server)
	assert.Equal(t, [][]byte{{10, 0}, {11, 0}, {1, 0, 1, 0xc2, 0}, {2, 8}, {3, 1}, {4, 1}, {5, 1}, {12, 3}}, server.asked)
}

func TestRFC2217ServerMaySendEachByteOnItsOwn(t *testing.T) {
	server := &comPortServer{byteAByte: true}
	near := connect(t, link.RFC2217Config{Line: link.SerialConfig{Baud: 65280}}, server)
	server.tell(107, 0xff) // a modem state that must be escaped
	_, _ = server.Write([]byte("\xffa\xff\xff\r\x00b"))
	assert.Equal(t, "\xffa\xff\xff\r\x00b", readAll(t, near, 7))
}

func TestRFC2217ServerThatDoesNotDoWhatItIsAskedIsAnErrorThatSaysSo(t *testing.T) {
	grant := func(command byte, answer ...byte) *comPortServer {
		return &comPortServer{grants: func(c []byte) []byte {
			if c[0] == command {
				return answer
			}
			return append([]byte{c[0] + 100}, c[1:]...)
		}}
	}
	both := link.SerialConfig{DTR: link.LineAssert, RTS: link.LineAssert}
	for _, c := range []struct {
		name   string
		line   link.SerialConfig
		server *comPortServer
		want   string
	}{
		{"refuses COM port control", link.SerialConfig{}, &comPortServer{refuses: []byte{comPort}},
			"refuses COM port control (Telnet option 44, RFC 2217)"},
		{"refuses BINARY", link.SerialConfig{}, &comPortServer{refuses: []byte{binary}}, "refuses BINARY (Telnet option 0"},
		{"another baud rate", link.SerialConfig{}, grant(1, 101, 0, 0, 0x25, 0x80), "asked for baud=115200, the server sets 9600"},
		{"seven data bits", link.SerialConfig{}, grant(2, 102, 7), "asked for data bits=8, the server sets 7"},
		{"another parity", link.SerialConfig{Parity: link.ParityOdd}, grant(3, 103, 1), "asked for parity=odd, the server sets none"},
		{"other stop bits", link.SerialConfig{}, grant(4, 104, 3), "asked for stop=1, the server sets 1.5"},
		{"flow control", link.SerialConfig{}, grant(setControl, 105, 3), "asked for flow control=none, the server sets RTS/CTS"},
		{"no such value", link.SerialConfig{}, grant(3, 103, 99), "the server sets a value (99) that RFC 2217 does not have"},
		{"a baud rate of two bytes", link.SerialConfig{}, grant(1, 101, 0x25, 0x80),
			"confirms baud=115200 with the bytes 25 80, which are not the 4 of RFC 2217"},
		{"no bytes at all", link.SerialConfig{}, grant(2, 102), "confirms data bits=8 with the bytes , which are not the 1"},
		{"DTR stays off", both, &comPortServer{grants: func(c []byte) []byte {
			if c[0] == setControl && c[1] == 8 {
				return []byte{105, 9}
			}
			return append([]byte{c[0] + 100}, c[1:]...)
		}}, "asked for dtr=on, the server sets off (a port without control lines wants dtr=hold)"},
	} {
		t.Run(c.name, func(t *testing.T) {
			c.server.last = func([]byte) bool { return false }
			_, err := dial(t, link.RFC2217Config{Line: c.line, AgreeLimit: time.Minute}, c.server.agree)
			require.ErrorContains(t, err, c.want)
			require.ErrorContains(t, err, "link: rfc2217://127.0.0.1:")
			require.NotErrorIs(t, err, link.ErrTimeout)
		})
	}
}

func TestRFC2217ServerMayRefuseToSuppressGoAhead(t *testing.T) {
	server := &comPortServer{refuses: []byte{goAhead}}
	near := connect(t, link.RFC2217Config{}, server)
	_, _ = server.Write([]byte("a"))
	assert.Equal(t, "a", readAll(t, near, 1))
}

func TestRFC2217ServerThatDoesNotConfirmIsATimeoutThatNamesTheSetting(t *testing.T) {
	server := &comPortServer{grants: func(c []byte) []byte {
		if c[0] == setControl && c[1] == 8 {
			return nil // as Debian's ser2net does on a port without control lines
		}
		return append([]byte{c[0] + 100}, c[1:]...)
	}, last: func([]byte) bool { return false }}
	_, err := dial(t, link.RFC2217Config{Line: link.SerialConfig{DTR: link.LineAssert}, AgreeLimit: 300 * time.Millisecond}, server.agree)
	require.ErrorIs(t, err, link.ErrTimeout)
	require.ErrorContains(t, err, "did not confirm dtr=on within 300ms")
	require.ErrorContains(t, err, "a port without control lines wants dtr=hold")
}

func TestRFC2217PlainServersAreNamedAsSuch(t *testing.T) {
	brief := link.RFC2217Config{AgreeLimit: 200 * time.Millisecond}
	wait := func(conn net.Conn) { _, _ = io.Copy(io.Discard, conn) }
	t.Run("silent", func(t *testing.T) {
		_, err := dial(t, brief, wait)
		require.ErrorIs(t, err, link.ErrTimeout)
		require.ErrorContains(t, err, "did not agree to COM port control within 200ms; beside Telnet it sent nothing")
		require.ErrorContains(t, err, "use tcp://")
	})
	t.Run("talkative", func(t *testing.T) {
		_, err := dial(t, brief, func(conn net.Conn) {
			_, _ = conn.Write([]byte("\x1b[31mhello\r\n"))
			wait(conn)
		})
		require.ErrorIs(t, err, link.ErrTimeout)
		require.ErrorContains(t, err, `it sent "\x1b[31mhello\r\n"`)
		require.ErrorContains(t, err, "use tcp://")
	})
	t.Run("flooding", func(t *testing.T) {
		_, err := dial(t, brief, func(conn net.Conn) {
			for err := error(nil); err == nil; {
				_, err = conn.Write(bytes.Repeat([]byte("flood"), 1000))
			}
		})
		require.ErrorIs(t, err, link.ErrTimeout)
		assert.Less(t, len(err.Error()), 1000)
	})
	t.Run("echoing", func(t *testing.T) {
		_, err := dial(t, link.RFC2217Config{AgreeLimit: time.Minute}, func(conn net.Conn) {
			_, _ = conn.Write([]byte("boot\r\n"))
			_, _ = io.Copy(conn, conn)
		})
		require.ErrorContains(t, err, "sends our Telnet negotiation back")
		require.ErrorContains(t, err, "use tcp://")
	})
}

func TestRFC2217ConnectionThatIsCutWhileTheServerAgreesIsErrClosed(t *testing.T) {
	for name, words := range map[string]string{
		"at once":                        "",
		"in the middle of a negotiation": "\xff\xfd",
		"in a subnegotiation":            "\xff\xfd\x00\xff\xfb\x00\xff\xfd,\xff\xfa,\x65\x00",
		"by a server that is taken":      "Port already in use\r\n",
	} {
		t.Run(name, func(t *testing.T) {
			_, err := dial(t, link.RFC2217Config{AgreeLimit: time.Minute}, func(conn net.Conn) {
				_, _ = conn.Write([]byte(words))
				_, _ = conn.Read(make([]byte, 100)) // or the close would be a reset
				_ = conn.Close()
			})
			require.ErrorIs(t, err, link.ErrClosed)
			require.ErrorContains(t, err, "closed the connection and did not ")
			if strings.IndexByte(words, iac) < 0 && words != "" {
				require.ErrorContains(t, err, fmt.Sprintf("%+q", words))
			}
		})
	}
}

func TestRFC2217WriteWaitsWhileTheServerHasSuspendedIt(t *testing.T) {
	server := &comPortServer{}
	near := connect(t, link.RFC2217Config{}, server)
	server.tell(108)
	// Nobody reads, so the writes have to see it by themselves; on a busy machine not the first.
	written := 0
	require.Eventually(t, func() bool {
		n, err := near.Write(t.Context(), []byte("x"), 20*time.Millisecond)
		written += n
		if err == nil {
			return false
		}
		require.ErrorIs(t, err, link.ErrTimeout)
		require.ErrorContains(t, err, "the server has suspended us (RFC 2217 flow control)")
		return true
	}, slow, time.Millisecond)
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Millisecond)
	defer cancel()
	_, err := near.Write(ctx, []byte("x"), time.Hour)
	require.ErrorIs(t, err, context.DeadlineExceeded)

	_, _ = server.Write([]byte("meanwhile"))
	timer := time.AfterFunc(30*time.Millisecond, func() { server.tell(109) })
	defer timer.Stop()
	write(t, near, "go on")
	all := make([]byte, written+5)
	_, err = io.ReadFull(server, all)
	require.NoError(t, err)
	assert.Equal(t, strings.Repeat("x", written)+"go on", string(all))
	assert.Equal(t, "meanwhile", readAll(t, near, 9), "what came while the write waited is kept")
}

func TestRFC2217ServerThatSuspendsAndFloodsIsReadInFull(t *testing.T) {
	server := &comPortServer{}
	near := connect(t, link.RFC2217Config{}, server)
	flood := pattern(8 << 20)
	done := make(chan struct{})
	go func() {
		defer close(done)
		server.tell(108)
		_, _ = server.Write(flood)
		server.tell(109)
	}()
	require.Eventually(t, func() bool {
		_, err := near.Write(t.Context(), []byte("x"), 50*time.Millisecond)
		return err != nil && strings.Contains(err.Error(), "behind the data that waits to be read")
	}, slow, time.Millisecond)
	assert.Equal(t, string(flood), readAll(t, near, len(flood)))
	<-done
	write(t, near, "y")
}

func TestRFC2217CutWhileSuspendedIsErrClosed(t *testing.T) {
	server := &comPortServer{}
	near := connect(t, link.RFC2217Config{}, server)
	server.tell(108)
	_, _ = server.Write([]byte("x"))
	assert.Equal(t, "x", readAll(t, near, 1))
	timer := time.AfterFunc(20*time.Millisecond, func() { _ = server.Close() })
	defer timer.Stop()
	_, err := near.Write(t.Context(), []byte("x"), time.Hour)
	require.ErrorIs(t, err, link.ErrClosed)
}

func TestRFC2217NotificationsAreNoData(t *testing.T) {
	server := &comPortServer{}
	near := connect(t, link.RFC2217Config{}, server)
	server.tell(107, 0x30)
	server.tell(106, 0x02)
	_, err := read(t, near, 20*time.Millisecond)
	require.ErrorIs(t, err, link.ErrTimeout)
	server.send('a', iac, 241, iac, sb, comPort, 107, 0x10, iac, se, 'b')
	assert.Equal(t, "ab", readAll(t, near, 2))
}

func TestRFC2217ServerThatGoesBackOnItsWordIsErrClosedWithTheReason(t *testing.T) {
	for want, words := range map[string][]byte{
		"refuses COM port control":                 {iac, dont, comPort},
		"refuses BINARY":                           {iac, wont, binary},
		"asked for baud=115200, the server sets 1": {iac, sb, comPort, 101, 0, 0, 0, 1, iac, se},
		"a subnegotiation of more than 256 bytes":  append(append([]byte{iac, sb, comPort}, make([]byte, 257)...), iac, se),
	} {
		server := &comPortServer{}
		near := connect(t, link.RFC2217Config{}, server)
		server.send(append([]byte("last"), words...)...)
		assert.Equal(t, "last", readAll(t, near, 4))
		_, err := read(t, near, slow)
		require.ErrorIs(t, err, link.ErrClosed)
		require.ErrorContains(t, err, want)
		_, err = near.Write(t.Context(), []byte("x"), slow)
		require.ErrorIs(t, err, link.ErrClosed)
	}
}

func TestRFC2217DiscardsWhatIsOlderThanThePurge(t *testing.T) {
	server := &comPortServer{}
	server.grants = func(c []byte) []byte {
		if c[0] == purge {
			_, _ = server.Write([]byte("of an older session"))
		}
		return append([]byte{c[0] + 100}, c[1:]...)
	}
	near := connect(t, link.RFC2217Config{}, server)
	_, _ = server.Write([]byte("new"))
	assert.Equal(t, "new", readAll(t, near, 3))
}

func TestRFC2217AwaitsItsPatternAlsoInWhatCameBeforeTheLineWasSet(t *testing.T) {
	server := &comPortServer{}
	server.grants = func(c []byte) []byte {
		if c[0] == purge {
			_, _ = server.Write([]byte("boot\r\nversion 3 rea"))
		}
		return append([]byte{c[0] + 100}, c[1:]...)
	}
	near, err := dial(t, link.RFC2217Config{Line: link.SerialConfig{Await: regexp.MustCompile(`ready\r\n`), AwaitLimit: time.Minute}},
		func(conn net.Conn) {
			server.agree(conn)
			_, _ = server.Write([]byte("dy\r\nfirst"))
		})
	require.NoError(t, err)
	assert.Equal(t, []byte{purge, 2}, server.asked[len(server.asked)-1], "only what was on its way to the station")
	assert.Equal(t, "first", readAll(t, near, 5))
}

func TestRFC2217StationThatDoesNotStartIsErrTimeout(t *testing.T) {
	_, err := dial(t, link.RFC2217Config{Line: link.SerialConfig{Await: regexp.MustCompile("ready"), AwaitLimit: 50 * time.Millisecond}},
		(&comPortServer{}).agree)
	require.ErrorIs(t, err, link.ErrTimeout)
	require.ErrorContains(t, err, `: waiting for the station to start: got nothing, want a match of "ready" within 50ms`)
	require.ErrorContains(t, err, "link: rfc2217://127.0.0.1:")
}

func TestRFC2217SettlesAndDiscardsWhatTheBoardSaysMeanwhile(t *testing.T) {
	server := &comPortServer{}
	start := time.Now()
	near, err := dial(t, link.RFC2217Config{Line: link.SerialConfig{Settle: 100 * time.Millisecond}}, func(conn net.Conn) {
		server.agree(conn)
		_, _ = server.Write([]byte("chatter"))
	})
	require.NoError(t, err)
	assert.GreaterOrEqual(t, time.Since(start), 100*time.Millisecond)
	_, _ = server.Write([]byte("answer"))
	assert.Equal(t, "answer", readAll(t, near, 6))
}

func TestRFC2217DialEndsWithItsContext(t *testing.T) {
	noLeak(t)
	listener, err := net.Listen("tcp", "127.0.0.1:0") // which nobody serves
	require.NoError(t, err)
	defer listener.Close()
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Millisecond)
	defer cancel()
	_, err = link.DialRFC2217(ctx, link.RFC2217Config{Address: listener.Addr().String(), AgreeLimit: time.Hour})
	require.ErrorIs(t, err, context.DeadlineExceeded)
}

func TestRFC2217DialSaysWhatOfItsConfigurationIsWrong(t *testing.T) {
	for want, line := range map[string]link.SerialConfig{
		"parity":       {Parity: "perhaps"},
		"stop bits":    {StopBits: 3},
		"control line": {DTR: "maybe"},
		"baud":         {Baud: -1},
	} {
		_, err := link.DialRFC2217(t.Context(), link.RFC2217Config{Address: "127.0.0.1:1", Line: line})
		var wrong *link.AddressError
		require.ErrorAs(t, err, &wrong)
		assert.Equal(t, want, wrong.What)
	}
}
