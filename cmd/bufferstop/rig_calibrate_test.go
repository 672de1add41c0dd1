package main

import (
	"bytes"
	"context"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"

	"bufferstop/harness"
	"bufferstop/harness/calibration"
	"bufferstop/harness/current"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/rigs"
	"bufferstop/rigs/simulated"
)

// probed is a simulated rig whose main track is looked at by a probe that is off in all that can be calibrated.
type probed struct {
	*simulated.Rig
	path     string
	resistor physic.ElectricCurrent // what the resistor draws that the user lays for the second look at the current
	looks    int
	level    uint16
}

const perCount = 5.0 / 1023 // amperes

func (p *probed) ProbeIdentity() calibration.Probe {
	return calibration.Probe{Name: "probe", Serial: 7, Clock: 16e6, SampleInterval: 500 * time.Microsecond,
		Channels: []calibration.Channel{{Track: station.Main, PerCount: perCount, Full: 1023, PerStep: 0.02, Top: 255, Continuous: 50}}}
}
func (p *probed) CalibrationPath() string  { return p.path }
func (p *probed) LoopLimit() time.Duration { return 5 * time.Millisecond }
func (p *probed) Safe() error              { p.level = 0; return p.Rig.Safe() }

// Sync has a probe whose second is 300 ppm too short.
func (p *probed) Sync(ctx context.Context) (calibration.SyncPair, error) {
	sent := p.Now()
	err := p.Wait(ctx, time.Millisecond)
	return calibration.SyncPair{Sent: sent, Received: p.Now(), Probe: time.Duration(float64(sent+500*time.Microsecond) / 1.0003)}, err
}

// seen is what a track showed in a while.
type seen struct {
	edges   []signal.Edge
	samples []current.Sample
}

func (s *seen) Edges(e []signal.Edge)      { s.edges = append(s.edges, e...) }
func (s *seen) Samples(e []current.Sample) { s.samples = append(s.samples, e...) }

func (p *probed) look(ctx context.Context, over time.Duration) (*seen, error) {
	s := new(seen)
	defer p.Track(station.Main).Listen(s)()
	return s, p.Wait(ctx, over)
}

func (p *probed) RawCurrent(ctx context.Context, _ station.Track, over time.Duration) (counts []uint16, err error) {
	if p.looks++; p.looks == 2 {
		if err := p.Track(station.Main).Load(p.resistor); err != nil {
			return nil, err
		}
	}
	s, err := p.look(ctx, over)
	for _, sample := range s.samples {
		amperes := float64(sample.Current) / float64(physic.Ampere)
		counts = append(counts, uint16(math.Round(amperes/1.05/perCount+3.4)))
	}
	return counts, err
}

func (p *probed) Spans(ctx context.Context, _ station.Track, over time.Duration) (all []calibration.Span, err error) {
	s, err := p.look(ctx, over)
	for i := 1; i < len(s.edges); i++ {
		all = append(all, calibration.Span{Length: s.edges[i].Time - s.edges[i-1].Time, Positive: s.edges[i-1].Level == signal.Positive})
	}
	return all, err
}

func (p *probed) Draw(_ context.Context, _ station.Track, level uint16) error {
	p.level = level
	return p.Track(station.Main).Load(physic.ElectricCurrent(level) * 20 * physic.MilliAmpere * 9 / 10)
}

func (p *probed) LoopTimes(ctx context.Context, _ station.Track, n int) (all []time.Duration, err error) {
	for range n {
		all = append(all, 3*time.Millisecond)
	}
	return all, p.Wait(ctx, time.Second)
}

// walked runs rig check --calibrate on the probed rig with what is typed, or with a file of answers.
func walked(t *testing.T, ctx context.Context, in io.Reader, answers string, path string) (p *probed, stdout, stderr string, err error) {
	t.Helper()
	inner, err := simulated.New(simulated.Options{Name: "r", Seed: 1})
	require.NoError(t, err)
	file, err := station.LoadFS(rigs.Files, "reference.station.toml")
	require.NoError(t, err)
	p = &probed{Rig: inner, path: path, resistor: 320 * physic.MilliAmpere}
	defer func() { require.NoError(t, p.Close()) }()
	var parsed *calibration.Answers
	if answers != "" {
		parsed, err = calibration.ParseAnswers("answers.toml", []byte(answers))
		require.NoError(t, err)
	}
	var out, errs bytes.Buffer
	root := newRoot()
	cmd, _, err := root.Find([]string{"rig", "check"})
	require.NoError(t, err)
	require.NoError(t, cmd.ParseFlags(nil))
	cmd.SetOut(&out)
	cmd.SetErr(&errs)
	cmd.SetIn(in)
	err = calibrate(ctx, cmd, &openRig{Rig: p, file: file}, parsed)
	return p, out.String(), errs.String(), err
}

// The resistor of 47 Ω draws 320 mA, so there are 15.04 V across it.
const wholeWalk = `supervised = true
[time]
over = "5s"
host_ppm = 1
[main]
zero = "go"
ohms = 47
tolerance = 0.5
accuracy = 1
resistor = "go"
reading = "15.04 V"
load = "go"
edges = "go"
loop = "go"
`

func TestAWalkIsKeptBesideTheRig(t *testing.T) {
	path := filepath.Join(t.TempDir(), "r.calibration.toml")
	p, stdout, stderr, err := walked(t, t.Context(), strings.NewReader(""), wholeWalk, path)
	require.NoError(t, err, stderr)
	assert.Equal(t, "calibration of \"probe\", number 7, kept in "+path+"\n", stdout)
	assert.Contains(t, stderr, "Caution: ")
	f, err := calibration.Load(path)
	require.NoError(t, err)
	assert.InDelta(t, 300, f.PPM(), f.Time.U)
	zero, gain, known := f.Current(station.Main)
	assert.True(t, known)
	assert.InDelta(t, 3.4, zero, f.Tracks[station.Main].Zero.U)
	assert.InDelta(t, 1.05, gain, f.Tracks[station.Main].Gain.U)
	assert.InDelta(t, 0.9, f.LoadGain(station.Main), f.Tracks[station.Main].Load.U)
	// Each stamp of the simulated probe is uncertain by its noise of 10 ns and its steps of 62.5 ns, which makes 29 ns of a time. The
	// station stamps its edges up to 200 ns late as well, which nothing here can tell from that: so it is a bound.
	edges := f.Tracks[station.Main].Edges
	assert.GreaterOrEqual(t, edges.Deviation, 28*time.Nanosecond)
	assert.LessOrEqual(t, edges.Deviation, 90*time.Nanosecond)
	assert.False(t, edges.Steady)
	assert.Equal(t, 3*time.Millisecond, f.Loop(station.Main).Median)
	assert.Nil(t, f.Tracks[station.Programming], "the probe has one track")
	assert.Zero(t, p.level)
}

func TestAWalkEndsWithTheWordAndWithTheInput(t *testing.T) {
	path := filepath.Join(t.TempDir(), "r.calibration.toml")
	for _, typed := range []string{"cancel\n", "", "yes\n", "yes\nskip\ngo\ncancel\n", "yes\r\nskip\r\n\r\n47\r\n\r\n\r\n\r\nCANCEL\r\n"} {
		p, stdout, stderr, err := walked(t, t.Context(), strings.NewReader(typed), "", path)
		var e exit
		require.ErrorAs(t, err, &e, "%q", typed)
		assert.Equal(t, verdict.ExitInterrupted, e.code)
		assert.ErrorIs(t, err, calibration.ErrCancelled)
		assert.Empty(t, stdout)
		assert.Contains(t, stderr, "Will you stay beside the bench")
		assert.Zero(t, p.level)
	}
	_, err := os.Stat(path)
	assert.ErrorIs(t, err, os.ErrNotExist)
}

// A user who thinks at a prompt lets the rig's time go on; an interrupt ends the wait.
func TestAWalkThatIsInterruptedAtAPromptEnds(t *testing.T) {
	in, keys := io.Pipe()
	defer keys.Close()
	ctx, cancel := context.WithCancel(t.Context())
	go func() {
		_, _ = keys.Write([]byte("yes\n"))
		time.Sleep(20 * time.Millisecond)
		cancel()
	}()
	p, _, _, err := walked(t, ctx, in, "", "nowhere")
	var e exit
	require.ErrorAs(t, err, &e)
	assert.Equal(t, verdict.ExitInterrupted, e.code)
	assert.Positive(t, p.Now())
}

func TestAWrongAnswerOfAFileIsTheUsersToMend(t *testing.T) {
	_, _, _, err := walked(t, t.Context(), strings.NewReader(""), strings.Replace(wholeWalk, "47", "-47", 1), "nowhere")
	var e exit
	assert.False(t, errors.As(err, &e), "exit code 2")
	assert.ErrorContains(t, err, `answer to main.ohms: got "-47", want a number of 1 to 10000 ohm, skip or cancel`)
	_, _, _, err = walked(t, t.Context(), strings.NewReader(""), "[time]\nover = \"5s\"\n", "nowhere")
	assert.ErrorContains(t, err, `answer to supervised: got "", want yes or cancel`)
}

func TestWhatCannotBeKeptIsShown(t *testing.T) {
	_, stdout, _, err := walked(t, t.Context(), strings.NewReader(""), wholeWalk, filepath.Join(t.TempDir(), "no", "such", "folder.toml"))
	var e exit
	require.ErrorAs(t, err, &e)
	assert.Equal(t, verdict.ExitFault, e.code)
	f, parsing := calibration.Parse("stdout", []byte(stdout))
	require.NoError(t, parsing)
	assert.InDelta(t, 300, f.PPM(), 5)
}

var _ harness.Rig = (*probed)(nil)
