package serving_test

import (
	"context"
	"io"
	"net"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"bufferstop/harness/link"
	"bufferstop/harness/station"
	"bufferstop/rigs"
	"bufferstop/rigs/serving"
	"bufferstop/rigs/simulated"
	"bufferstop/rigs/wire"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// events keeps what a port tells, in order.
type events []serving.Event

func (e *events) tell(n serving.Notice) { *e = append(*e, n.Event) }

// until reads from a port until the condition holds, and returns what came.
func until(t *testing.T, p link.Link, condition func(came string) bool) string {
	t.Helper()
	came := ""
	b := make([]byte, 100)
	for end := time.Now().Add(10 * time.Second); !condition(came); {
		require.True(t, time.Now().Before(end), "only %q came", came)
		n, err := p.Read(t.Context(), b, 10*time.Millisecond)
		if err != nil {
			require.ErrorIs(t, err, link.ErrTimeout)
		}
		came += string(b[:n])
	}
	return came
}

func is(want string) func(string) bool { return func(came string) bool { return came == want } }

func TestClientsOfATCPPortComeAndGoOneAtATime(t *testing.T) {
	var heard events
	p, err := serving.TCP("127.0.0.1:0", heard.tell)
	require.NoError(t, err)
	defer p.Close()
	dial := func() net.Conn {
		conn, err := net.Dial("tcp", p.Address().TCP)
		require.NoError(t, err)
		t.Cleanup(func() { conn.Close() })
		return conn
	}
	n, err := p.Write(t.Context(), []byte("to nobody"), time.Second)
	require.NoError(t, err)
	assert.Equal(t, 9, n)

	first := dial()
	_, err = first.Write([]byte("one"))
	require.NoError(t, err)
	until(t, p, is("one"))
	second := dial()
	until(t, p, func(string) bool { return len(heard) == 2 })
	_, err = second.Read(make([]byte, 1))
	require.ErrorIs(t, err, io.EOF, "the second is hung up on")
	_, err = p.Write(t.Context(), []byte("two"), time.Second)
	require.NoError(t, err)
	got := make([]byte, 3)
	_, err = io.ReadFull(first, got)
	require.NoError(t, err)
	assert.Equal(t, "two", string(got), "the first has lost nothing, and got nothing that was said before it came")

	require.NoError(t, first.Close())
	until(t, p, func(string) bool { return len(heard) == 3 })
	third := dial()
	_, err = third.Write([]byte("three"))
	require.NoError(t, err)
	until(t, p, is("three"))
	assert.Equal(t, events{serving.Came, serving.Refused, serving.Went, serving.Came}, heard)
}

func TestAClosedPortSaysSoAndAnEndedContextEndsACall(t *testing.T) {
	for name, open := range map[string]func() (serving.Port, error){
		"tcp": func() (serving.Port, error) { return serving.TCP("127.0.0.1:0", func(serving.Notice) {}) },
		"pty": func() (serving.Port, error) { return serving.PTY("", func(serving.Notice) {}) },
	} {
		t.Run(name, func(t *testing.T) {
			p, err := open()
			require.NoError(t, err)
			ctx, cancel := context.WithTimeout(t.Context(), 20*time.Millisecond)
			defer cancel()
			_, err = p.Read(ctx, make([]byte, 1), time.Hour)
			require.ErrorIs(t, err, context.DeadlineExceeded)
			_, err = p.Write(ctx, []byte("x"), time.Hour)
			require.ErrorIs(t, err, context.DeadlineExceeded)
			require.NoError(t, p.Close())
			require.NoError(t, p.Close())
			_, err = p.Read(t.Context(), make([]byte, 1), time.Second)
			require.ErrorIs(t, err, link.ErrClosed)
		})
	}
}

func TestAnAddressThatIsTakenIsAnError(t *testing.T) {
	p, err := serving.TCP("127.0.0.1:0", func(serving.Notice) {})
	require.NoError(t, err)
	defer p.Close()
	_, err = serving.TCP(p.Address().TCP, func(serving.Notice) {})
	require.ErrorContains(t, err, "hint: host:port")
}

func TestTheStationGoesOnWhileClientsComeAndGo(t *testing.T) {
	rig, err := simulated.New(simulated.Options{Seed: 1})
	require.NoError(t, err)
	require.NoError(t, serving.FitDecoder(rig, serving.OrdinaryDecoder))
	defer rig.Close()
	p, err := serving.TCP("127.0.0.1:0", func(serving.Notice) {})
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	served := make(chan error)
	go func() { served <- wire.Serve(ctx, rig, p, true) }()

	file, err := station.LoadFS(rigs.Files, "reference.station.toml")
	require.NoError(t, err)
	talk := func(say func(d *station.Driver)) {
		l, err := p.Address().Open(t.Context())
		require.NoError(t, err)
		say(file.Driver(l, link.NewWallClock()))
		require.NoError(t, l.Close())
	}
	talk(func(d *station.Driver) { require.NoError(t, d.SetPower(t.Context(), station.Main, true)) })
	talk(func(d *station.Driver) {
		state, err := d.Power(t.Context(), station.Main)
		require.NoError(t, err)
		assert.Equal(t, station.On, state, "switched on by the client before")
		value, err := d.ReadCV(t.Context(), 1, "")
		require.NoError(t, err)
		assert.EqualValues(t, 3, value, "the decoder on the programming track answers")
	})
	cancel()
	require.NoError(t, <-served)
	require.NoError(t, p.Close())
}

func TestADecoderThatDoesNotExistIsNamed(t *testing.T) {
	rig, err := simulated.New(simulated.Options{})
	require.NoError(t, err)
	defer rig.Close()
	require.ErrorContains(t, serving.FitDecoder(rig, "steam"), `decoder "steam": want one of`)
	assert.Contains(t, serving.Decoders(), serving.OrdinaryDecoder)
}
