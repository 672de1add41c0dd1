package harness_test

import (
	"context"
	"os"
	"testing"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/link"
	"bufferstop/harness/link/linktest"
	"bufferstop/harness/station"
	"bufferstop/rigs"
	"bufferstop/rigs/simulated"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// wiredRig is a simulated rig with another wire to its station. Its plug comes out when the station is restarted, as that
// of a board that is a USB device.
type wiredRig struct {
	*simulated.Rig
	wire link.Link
	plug *linktest.Plug
}

func (r *wiredRig) Link() link.Link { return r.wire }

func (r *wiredRig) Restart(ctx context.Context) error {
	if r.plug != nil {
		r.plug.Pull()
	}
	return r.Rig.Restart(ctx)
}

func newRig(t *testing.T) *wiredRig {
	t.Helper()
	rig, err := simulated.New(simulated.Options{Seed: 1})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, rig.Close()) })
	return &wiredRig{Rig: rig, wire: rig.Link()}
}

// file is the reference station's, with something more in its dialect.
func file(t *testing.T, more string) *station.File {
	t.Helper()
	f, err := station.LoadFS(rigs.Files, "reference.station.toml")
	require.NoError(t, err)
	data, err := os.ReadFile("../rigs/reference.dialect.toml")
	require.NoError(t, err)
	f.Dialect, err = station.ParseDialect("reference.dialect.toml", append(data, more...))
	require.NoError(t, err)
	return f
}

const keepAlive = `
[keep_alive]
send = "*OPC?"
pattern = "1"
every = "10s"
`

func TestAWaitKeepsTheConnectionAlive(t *testing.T) {
	s := harness.NewSession(newRig(t), file(t, keepAlive))
	require.NoError(t, s.Station.Reset(t.Context()))
	begun := s.Rig.Now()
	entries := len(s.Log().Entries)
	require.NoError(t, s.Wait(t.Context(), 35*time.Second))
	assert.Equal(t, begun+35*time.Second, s.Rig.Now(), "and takes no longer for it")
	var said []string
	for _, e := range s.Log().Entries[entries:] {
		said = append(said, string(e.Direction)+string(e.Bytes))
	}
	assert.Equal(t, []string{">*OPC?\n", "<1\n", ">*OPC?\n", "<1\n", ">*OPC?\n", "<1\n"}, said)
	require.NoError(t, s.Close(t.Context()))
}

func TestAWaitEndsWhenTheStationDoesNotAnswerAnyMore(t *testing.T) {
	rig := newRig(t)
	s := harness.NewSession(rig, file(t, "\n[keep_alive]\nsend = \"*OPC?\"\npattern = \"never this\"\nevery = \"10s\"\ntimeout = \"1s\"\n"))
	require.NoError(t, s.Station.Reset(t.Context()))
	err := s.Wait(t.Context(), time.Minute)
	require.ErrorIs(t, err, station.ErrKeepAlive)
	assert.Less(t, rig.Now(), 13*time.Second)
}

func TestAWaitEndsWithItsContext(t *testing.T) {
	s := harness.NewSession(newRig(t), file(t, keepAlive))
	require.NoError(t, s.Station.Reset(t.Context()))
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	require.ErrorIs(t, s.Wait(ctx, time.Minute), context.Canceled)
}

func TestALinkThatGoesWithTheSupplyIsBackAfterARestart(t *testing.T) {
	rig := newRig(t)
	rig.plug = linktest.Plugged(rig.wire, rig)
	rig.plug.Limit, rig.plug.Absent = 10*time.Second, 2*time.Second
	rig.wire = rig.plug
	s := harness.NewSession(rig, file(t, ""))
	require.NoError(t, s.Station.Reset(t.Context()))
	require.NoError(t, s.Restart(t.Context()))
	_, err := s.Station.Identify(t.Context())
	require.NoError(t, err)
	assert.Zero(t, s.Station.Restarts())
	assert.Equal(t, 1, s.Station.LinkHealth().Reopened)
	require.NoError(t, s.Close(t.Context()))
}

func TestMakingSafeAsksASilentStationOnce(t *testing.T) {
	rig := newRig(t)
	rig.wire = linktest.Unread(rig.wire, rig, 0)
	s := harness.NewSession(rig, file(t, ""))
	begun := rig.Now()
	require.ErrorIs(t, s.Safe(t.Context()), station.ErrNotTaken)
	assert.Equal(t, 2*time.Second, rig.Now()-begun, "the time for handing over one message")
}

func TestALinkIsClosedAndOpenedAgainWhereTheRigCan(t *testing.T) {
	rig := newRig(t)
	s := harness.NewSession(rig, file(t, ""))
	require.NoError(t, s.Station.Reset(t.Context()))
	begun := rig.Now()
	require.NoError(t, s.Reopen(t.Context(), time.Second))
	assert.GreaterOrEqual(t, rig.Now()-begun, time.Second)
	_, err := s.Station.Identify(t.Context())
	require.NoError(t, err)
	require.NoError(t, s.Close(t.Context()))

	s = harness.NewSession(struct{ harness.Rig }{rig}, file(t, ""))
	require.ErrorIs(t, s.Reopen(t.Context(), time.Second), harness.ErrBeyond)
	require.NoError(t, s.Close(t.Context()))
}
