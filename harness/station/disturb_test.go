package station_test

import (
	"bytes"
	"testing"

	"bufferstop/harness/dcc"
	"bufferstop/harness/link"
	"bufferstop/harness/station"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestRawBytesReachTheStationAsTheyAreAndTheDriverComesIntoStepAgain(t *testing.T) {
	s := answering(t)
	s.to("half", at(0, "what?"))
	d := s.driver()
	require.NoError(t, d.Resynchronise(t.Context()))
	heard := len(s.heard)
	require.NoError(t, d.Disturb(t.Context(), []byte("\x00\xff\nhalf")))
	require.NoError(t, d.Resynchronise(t.Context()))
	assert.Equal(t, []string{"\x00\xff", "half", "*CLS;*IDN?"}, s.heard[heard:], "the half is ended before anything else is said")
	lines, _ := d.Unsolicited()
	require.Len(t, lines, 1)
	assert.Equal(t, "what?", lines[0].Text)
	_, err := d.Identify(t.Context())
	assert.Error(t, err, "which nobody has taught it")
	assert.Zero(t, d.LinkHealth().Noise())
}

func TestMoreThanAChunkIsAllHandedOver(t *testing.T) {
	s := answering(t)
	d := s.driver()
	require.NoError(t, d.Resynchronise(t.Context()))
	long := bytes.Repeat([]byte{'U'}, 10_000)
	require.NoError(t, d.Disturb(t.Context(), append(long, '\n')))
	require.NoError(t, d.Resynchronise(t.Context()))
	assert.Equal(t, string(long), s.heard[len(s.heard)-3], "an empty line ends what a station may hold")
}

func TestAClosedLinkTakesNoRawBytes(t *testing.T) {
	s := answering(t)
	d := s.driver()
	require.NoError(t, s.far.Close())
	require.ErrorIs(t, d.Disturb(t.Context(), []byte("x")), link.ErrClosed)
}

func TestBehindAnAdapterNothingIsRaw(t *testing.T) {
	f, err := station.ParseFile("a.station.toml", []byte("name = \"a\"\n[adapter]\ncommand = [\"./mine\"]\n[claims]\ntracks = [\"main\"]\n"), nil)
	require.NoError(t, err)
	clock := new(link.VirtualClock)
	near, _ := link.Pipe(clock, 0)
	err = f.Driver(near, clock).Disturb(t.Context(), []byte("x"))
	require.ErrorIs(t, err, station.ErrNotSupported)
	assert.ErrorContains(t, err, "mine")
}

func TestTheBeginningOfACommandIsNone(t *testing.T) {
	d := answering(t).driver()
	rapid.Check(t, func(t *rapid.T) {
		address := dcc.Short(uint16(rapid.IntRange(1, 127).Draw(t, "address")))
		c := station.SetSpeedCommand(address, dcc.Steps128, dcc.Forward, rapid.IntRange(0, 126).Draw(t, "step"))
		begun, err := d.Beginning(c)
		require.NoError(t, err)
		assert.NotEmpty(t, begun)
		assert.Empty(t, d.WouldAsk(begun))
		assert.Empty(t, d.WouldAsk(append(begun, '\n')))
	})
}

func TestGarbageThatWouldBeACommandIsKnownForOne(t *testing.T) {
	d := answering(t).driver()
	asked := d.WouldAsk([]byte("nonsense\nLOCO:FUNC 3,0,ON;:SYST:ERR?\n*IDN?\nTRAC:POW"))
	require.Len(t, asked, 2)
	assert.True(t, asked[0].Changes())
	assert.Equal(t, station.SetFunction, asked[0].Operation())
	assert.Equal(t, station.Identify, asked[1].Operation())
	assert.False(t, asked[1].Changes())
	every := make([]byte, 256)
	for i := range every {
		every[i] = byte(i)
	}
	assert.Empty(t, d.WouldAsk(every))
}

// In a terse language the half of one command is another one.
func TestAHalfThatItsEndMakesACommandIsKnownForOne(t *testing.T) {
	terse, err := station.ParseDialect("x", []byte(small+`
[words.direction]
forward = "F"
reverse = "R"
[operation.set_speed]
send = "E{address}{direction}{step}"
fixed = { steps = "28" }
[operation.stop]
send = "E{address}"
`))
	require.NoError(t, err)
	clock := new(link.VirtualClock)
	near, _ := link.Pipe(clock, 0)
	d := station.NewDriver(terse, near, clock)
	half, err := d.Beginning(station.SetSpeedCommand(dcc.Short(35), dcc.Steps28, dcc.Forward, 20))
	require.NoError(t, err)
	assert.Equal(t, "E35", string(half))
	asked := d.WouldAsk(half)
	require.Len(t, asked, 1)
	assert.Equal(t, station.Stop, asked[0].Operation())
}
