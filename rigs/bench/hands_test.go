package bench

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/link"
	"bufferstop/harness/probe"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/harness/uncertainty"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
)

// A tool is a probe of which each pump brings the next millisecond, and which notes what it is told to do.
type tool struct {
	Hands                 // nothing else is asked of it
	opening error         // of a short
	piece   time.Duration // that is told at once; zero is a millisecond

	shorted, loaded time.Duration // when the newest of these orders was carried out

	mu   sync.Mutex
	now  time.Duration
	told []string
}

func (u *tool) note(what string) (now time.Duration) {
	u.mu.Lock()
	defer u.mu.Unlock()
	u.told = append(u.told, what)
	return u.now
}

func (u *tool) Hello() probe.Hello   { return boxHello() }
func (u *tool) Health() probe.Health { return probe.Health{} }

func (u *tool) Pump(_ context.Context, _ time.Duration, s probe.Sink) (bool, error) {
	u.mu.Lock()
	u.now += max(u.piece, time.Millisecond)
	now := u.now
	u.mu.Unlock()
	s.Complete(now)
	return true, nil
}

func (u *tool) Load(context.Context, int, probe.LoadProfile) (time.Duration, error) {
	u.loaded = u.note("load") + 5*time.Millisecond
	return u.loaded, nil
}

func (u *tool) Post(int, probe.LoadProfile) error {
	u.note("post")
	return nil
}

func (u *tool) Short(_ context.Context, _ int, on bool, _ time.Duration) (time.Duration, error) {
	u.shorted = u.note(fmt.Sprint("short ", on))
	return u.shorted, u.opening
}

func (u *tool) Safe(context.Context) (time.Duration, error) {
	return u.note("safe") + 5*time.Millisecond, nil
}

// handled is the side of a bench with the tool as its probe.
func handled(u *tool) *probed {
	p := &probed{eyes: u, hands: u, hello: u.Hello(), progress: time.Now(), sampleInterval: time.Millisecond}
	for _, t := range p.hello.Tracks {
		p.tracks[t.ID] = &probedTrack{rig: p, name: trackNames[t.ID], id: int(t.ID), rating: t, level: signal.Positive}
	}
	p.rate(&Probe{LoopTime: time.Millisecond})
	return p
}

// A twitch is a demand that changes at every millisecond.
type twitch struct{}

func (twitch) Edge(signal.Edge)   {}
func (w twitch) forecast() demand { return w }
func (twitch) Current(t time.Duration) physic.ElectricCurrent {
	return physic.ElectricCurrent(1+t/time.Millisecond%2) * 100 * physic.MilliAmpere
}
func (twitch) NextChange(t time.Duration) (time.Duration, bool) {
	return t.Truncate(time.Millisecond) + time.Millisecond, true
}

// The probe tells on while it is asked to take everything off, and the demand goes on with what it tells.
func TestNothingIsLaidAfterEverythingWasTakenOff(t *testing.T) {
	for name, off := range map[string]func(p *probed) error{
		"load": func(p *probed) error { return p.tracks[probe.Main].Open() },
		"safe": (*probed).Safe,
	} {
		u := new(tool)
		p := handled(u)
		require.NoError(t, p.Wait(t.Context(), time.Millisecond))
		main := p.tracks[probe.Main]
		main.playout.edge(signal.Edge{Time: p.now, Level: signal.Positive})
		main.playout.add(twitch{})
		require.NoError(t, p.Wait(t.Context(), 20*time.Millisecond))
		require.Contains(t, u.told, "post")
		require.NoError(t, off(p))
		require.NoError(t, p.Wait(t.Context(), 20*time.Millisecond))
		assert.Equal(t, name, u.told[len(u.told)-1])
	}
}

func TestTheLoadIsTakenOffAlsoWhenTheShortCannotBeOpened(t *testing.T) {
	u := &tool{opening: errors.New("it does not answer")}
	err := handled(u).tracks[probe.Main].Open()
	require.ErrorIs(t, err, harness.ErrRig)
	require.ErrorIs(t, err, u.opening)
	assert.Equal(t, []string{"short false", "load"}, u.told)
}

// The host knows of the probe only what has come over the link, so what it times by its commands is less certain than edges are.
func TestTimesFromACommandAreAsUncertainAsTheWayToTheProbeIsLong(t *testing.T) {
	p := handled(new(tool))
	p.late = 10 * time.Millisecond
	d := p.Describe()
	assert.InDelta(t, 2*10e6/math.Sqrt(3), d.Budget(uncertainty.CommandTime, station.Main).Expanded(0), 1)
	assert.Greater(t, d.Budget(uncertainty.AnswerTime, station.Main).Expanded(0), 16e6)
	assert.Less(t, d.Budget(uncertainty.EdgeTime, station.Main).Expanded(58_000), 1e3)

	rig, _ := boxed(t, Options{}, "")
	assert.Greater(t, rig.probed.late, time.Millisecond)
	assert.Less(t, rig.probed.late, time.Second)
	simple := harness.Description{EdgeUncertainty: 7}
	assert.Equal(t, simple.Budget(uncertainty.EdgeTime, station.Main), simple.Budget(uncertainty.CommandTime, station.Main), "where time is the host's")
}

// Else every failure that an analyser sees would be excused with a busy host.
func TestAProbeThatGathersIsNoBusyHost(t *testing.T) {
	u := &tool{piece: 100 * time.Millisecond}
	p := handled(u)
	require.NoError(t, p.Wait(t.Context(), time.Second))
	assert.Equal(t, 10, p.Mishaps().HeldUp, "a probe with a stream does not gather")
	p = handled(u)
	p.hands = nil
	require.NoError(t, p.Wait(t.Context(), time.Second))
	assert.Zero(t, p.Mishaps())
	assert.Equal(t, u.piece+heldUpWriting, p.late)
}

// Each command is a way to the probe and back, so what takes off what was not there comes late.
func TestAShortIsGoneWhenItsSwitchOpensAndALoadWhenItIsNought(t *testing.T) {
	u := new(tool)
	p := handled(u)
	main := p.tracks[probe.Main]
	require.NoError(t, p.Wait(t.Context(), time.Millisecond))
	require.NoError(t, main.Short(60*physic.MilliOhm))
	require.NoError(t, main.Open())
	assert.Equal(t, u.shorted, main.Changed())
	require.Greater(t, u.loaded, u.shorted)

	require.NoError(t, main.Load(100*physic.MilliAmpere))
	require.NoError(t, main.Open())
	assert.Equal(t, u.loaded, main.Changed())
}

func TestTheEndOfACaptureIsNoLossOfAProbe(t *testing.T) {
	name := filepath.Join(t.TempDir(), "x.rig.toml")
	require.NoError(t, os.WriteFile(filepath.Join(filepath.Dir(name), "a.vcd"), []byte("$timescale 1us $end\n$var wire 1 ! track $end\n$enddefinitions $end\n#0\n0!\n#58\n1!\n#116\n0!\n"), 0o600))
	f, err := Parse(name, []byte("kind = \"bench\"\n[station]\nfile = \"s\"\n[probe]\nlink = \"file:a.vcd\"\n"))
	require.NoError(t, err)
	p, err := f.openProbe(t.Context(), link.Address{}, Options{})
	require.NoError(t, err)
	defer func() { require.NoError(t, p.Close()) }()
	err = p.Wait(t.Context(), time.Second)
	require.ErrorIs(t, err, harness.ErrRig)
	assert.ErrorContains(t, err, "the capture that stands for the probe is over")
	assert.NotContains(t, err.Error(), "lost")
}
