package simulated

import (
	"context"
	"strings"
	"testing"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/rigs"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
	"pgregory.net/rapid"
)

// dialects are those that come with the program, beside the reference language: one of words and one of frames.
var dialects = []string{"words", "frames"}

func stationFile(t require.TestingT, dialect string) *station.File {
	file, err := station.LoadFS(rigs.Files, dialect+".station.toml")
	require.NoError(t, err)
	return file
}

// speaking is a bench whose station speaks a dialect, with a driver that does too.
func speaking(t require.TestingT, dialect string) (*bench, *station.Driver) {
	file := stationFile(t, dialect)
	b := newBench(t, Options{Nominal: true, Dialect: file.Dialect}, true)
	return b, file.Driver(b.Link(), b)
}

func TestEveryOperationWorksInEveryDialect(t *testing.T) {
	ctx := context.Background()
	for _, dialect := range append([]string{"reference"}, dialects...) {
		t.Run(dialect, func(t *testing.T) {
			b, d := speaking(t, dialect)
			decoder := b.fit(fakedecoder.Default())
			who, err := d.Identify(ctx)
			require.NoError(t, err)
			assert.Equal(t, "bufferstop simulated station 0 "+Version, strings.Join([]string{who.Maker, who.Model, who.Serial, who.Version}, " "))
			require.NoError(t, d.Reset(ctx))
			state, err := d.Power(ctx, station.Main)
			require.NoError(t, err)
			assert.Equal(t, station.PowerState("off"), state)
			require.NoError(t, d.SetPower(ctx, station.Main, true))
			state, err = d.Power(ctx, station.Main)
			require.NoError(t, err)
			assert.Equal(t, station.PowerState("on"), state)
			b.wait(400 * time.Millisecond)

			near, far := dcc.Short(3), dcc.Long(1000)
			require.NoError(t, d.SetSpeed(ctx, near, dcc.Steps28, dcc.Reverse, 5))
			require.NoError(t, d.SetSpeed(ctx, far, dcc.Steps128, dcc.Forward, 99))
			require.NoError(t, d.SetFunction(ctx, near, 4, true))
			require.NoError(t, d.SetAccessory(ctx, 1, 1))
			require.NoError(t, d.SetAspect(ctx, 1, 3))
			require.NoError(t, d.WriteOnMain(ctx, far, 3, 7))
			require.NoError(t, d.WriteBitOnMain(ctx, near, 29, 5, true))
			require.NoError(t, d.ClearAccessory(ctx, 1, 0))
			require.NoError(t, d.SetConsist(ctx, near, 34, true))
			require.NoError(t, d.ClearConsist(ctx, far))
			b.wait(200 * time.Millisecond) // or the stop takes the place of what waits
			require.NoError(t, d.Stop(ctx, near))
			require.NoError(t, d.Release(ctx, near))
			require.NoError(t, d.StopAll(ctx))
			b.wait(200 * time.Millisecond)
			for _, want := range []dcc.Instruction{
				dcc.Speed{Address: near, Steps: dcc.Steps28, Direction: dcc.Reverse, Step: 5},
				dcc.Speed{Address: far, Steps: dcc.Steps128, Direction: dcc.Forward, Step: 99},
				dcc.Functions{Address: near, Group: dcc.F0F4, States: 1 << 4},
				dcc.Accessory{Decoder: 1, Output: 1, Activate: true},
				dcc.AccessoryAspect{Address: 4, Aspect: 3},
				dcc.MainWrite{Address: far, CV: 3, Value: 7},
				dcc.MainBit{Address: near, CV: 29, Write: true, Bit: 5, Value: 1},
				dcc.Accessory{Decoder: 1},
				dcc.Consist{Address: near, Consist: 34, Reversed: true},
				dcc.Consist{Address: far},
				dcc.BroadcastStop{Direction: dcc.Forward, Immediate: true, DirectionIgnored: true},
			} {
				assert.Positive(t, b.main.count(packet(want, nil)), "%v in %v", want, b.main.meanings())
			}

			value, err := d.ReadCV(ctx, 1, station.Direct)
			require.NoError(t, err)
			assert.EqualValues(t, 3, value)
			require.NoError(t, d.WriteCV(ctx, 1, 44, ""))
			same, err := d.VerifyCV(ctx, 1, 44, "")
			require.NoError(t, err)
			assert.True(t, same)
			same, err = d.VerifyCV(ctx, 1, 45, "")
			require.NoError(t, err)
			assert.False(t, same)
			require.NoError(t, d.WriteBit(ctx, 1, 0, true))
			assert.EqualValues(t, 45, decoder.CV(1))
			require.NoError(t, b.Track(station.Main).Load(500*physic.MilliAmpere))
			b.wait(200 * time.Millisecond)
			i, err := d.Current(ctx, station.Main)
			require.NoError(t, err)
			assert.InDelta(t, 500*float64(physic.MilliAmpere), float64(i), float64(20*physic.MilliAmpere))
		})
	}
}

func TestWhatCannotBeDoneIsSaidInTheWordsOfTheDialect(t *testing.T) {
	ctx := context.Background()
	for _, dialect := range dialects {
		t.Run(dialect, func(t *testing.T) {
			b, d := speaking(t, dialect)
			_, err := d.ReadCV(ctx, 1, "")
			require.ErrorIs(t, err, station.ErrNoAcknowledge)
			for err, want := range map[error]string{
				d.SetAccessory(ctx, 1, 1):                                   "-221", // no power
				d.SetSpeed(ctx, dcc.Short(3), dcc.Steps28, dcc.Forward, 29): "-222",
				d.WriteCV(ctx, 5, 1, station.Register):                      "-222", // no register has CV 5
				d.WriteCV(ctx, 2, 1, station.AddressOnly):                   "-222",
			} {
				var refused *station.Refused
				require.ErrorAs(t, err, &refused, want)
				assert.Equal(t, want, refused.Code)
				assert.NotEmpty(t, refused.Text)
			}
			require.NoError(t, d.SetPower(ctx, station.Main, true))
			require.NoError(t, b.Track(station.Main).Short(100*physic.MilliOhm))
			b.wait(300 * time.Millisecond)
			state, err := d.Power(ctx, station.Main)
			require.NoError(t, err)
			assert.Equal(t, station.PowerState("tripped"), state)
			require.ErrorIs(t, d.SetAccessory(ctx, 1, 1), station.ErrTripped)
		})
	}
}

// Requests of the words, with their checksums, as the examples in the dialect file have them.
const (
	noneSuch  = "fly to the moon ~00\r\n"
	readCV29  = "get variable 29 ~72\r\n"
	readPower = "how is layout ~A2\r\n"
)

// answers are the lines that have come from the station, without ends and checksums.
func answers(t *testing.T, b *bench) []string {
	t.Helper()
	var said [8192]byte
	n, err := b.Link().Read(context.Background(), said[:], 0)
	require.NoError(t, err)
	var all []string
	for line := range strings.SplitSeq(strings.TrimSuffix(string(said[:n]), "\r\n"), "\r\n") {
		text, _, _ := strings.Cut(line, " ~")
		all = append(all, text)
	}
	return all
}

func TestARequestThatIsNoneIsRefusedAndTheNextIsAnswered(t *testing.T) {
	b, _ := speaking(t, "words")
	_, err := b.Link().Write(context.Background(), []byte(noneSuch+readPower), time.Second)
	require.NoError(t, err)
	b.wait(time.Second)
	assert.Equal(t, []string{"no -113 Undefined header", "it is dead"}, answers(t, b))
}

func TestAStationSaysThatItHasStartedOnlyAfterItsSupplyWasOff(t *testing.T) {
	ctx := context.Background()
	for _, dialect := range append([]string{"reference"}, dialects...) {
		t.Run(dialect, func(t *testing.T) {
			b, d := speaking(t, dialect)
			b.wait(time.Second)
			_, err := d.Identify(ctx)
			require.NoError(t, err)
			d.Unsolicited()
			require.NoError(t, b.Restart(ctx))
			b.wait(100 * time.Millisecond)
			said := b.Line().ToHost.Underway()
			if dialect == "reference" {
				assert.Empty(t, said)
				return
			}
			assert.NotEmpty(t, said)
			_, err = d.Identify(ctx)
			require.NoError(t, err)
			lines, _ := d.Unsolicited()
			require.Len(t, lines, 1)
			assert.Equal(t, "started", lines[0].Event)
		})
	}
}

func TestInEveryDialectRequestsWaitAndTheBufferOverruns(t *testing.T) {
	b, _ := speaking(t, "words")
	n := b.station.inter.(*speaker)
	_, err := b.Link().Write(context.Background(), []byte(readCV29+strings.Repeat(readPower, 40)), time.Second)
	require.NoError(t, err)
	b.wait(200 * time.Millisecond)
	assert.Positive(t, n.waits)
	assert.LessOrEqual(t, n.waits+n.length, b.settings.inputBuffer)
	b.wait(5 * time.Second)
	got := answers(t, b)
	require.Len(t, got, 41)
	assert.Equal(t, "nobody answers", got[0])
	fit := b.settings.inputBuffer / len(readPower)
	for i, text := range got[1:] {
		if i < fit {
			assert.Equal(t, "it is dead", text, "what fits waits, in order")
		} else {
			assert.Equal(t, "no -363 Input buffer overrun", text)
		}
	}
	assert.Zero(t, n.waits+n.length)
}

// Whatever comes, the station goes on working and its signal keeps the limits.
func TestNoiseDoesNotSpoilADialect(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		dialect := rapid.SampledFrom(dialects).Draw(t, "dialect")
		b, d := speaking(t, dialect)
		require.NoError(t, d.SetPower(context.Background(), station.Main, true))
		noise := rapid.SliceOfN(rapid.Byte(), 0, 400).Draw(t, "noise")
		_, err := b.Link().Write(context.Background(), noise, time.Second)
		require.NoError(t, err)
		b.wait(2 * time.Second)
		_, err = d.Identify(context.Background())
		if err != nil {
			_, err = d.Identify(context.Background()) // noise may have been the first half of a request
		}
		require.NoError(t, err)
		require.Empty(t, b.main.faults())
	})
}
