package simulated

import (
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"

	"bufferstop/harness/station"
	"bufferstop/rigs"
)

func figure(t require.TestingT, text string) int {
	n, err := strconv.Atoi(text)
	require.NoError(t, err)
	return n
}

func TestEveryHabitIsFoundByItsName(t *testing.T) {
	for _, h := range Habits() {
		found, err := FindHabit(h.Name)
		require.NoError(t, err)
		assert.Equal(t, h.Summary, found.Summary)
		_, err = New(Options{Habit: h.Name})
		require.NoError(t, err)
		file, err := station.LoadFS(rigs.Files, h.Station)
		require.NoError(t, err)
		assert.NotEqual(t, "reference station", file.Name)
	}
	_, err := New(Options{Habit: "smoking"})
	require.ErrorContains(t, err, `no habit named "smoking"; there is "cutout"`)
	_, err = New(Options{Habit: "latched", Defect: "cutout-late"})
	require.ErrorContains(t, err, `stations with the habit "cutout", got the habit "latched"`)
	_, err = New(Options{Habit: "latched", Defect: "slow-crystal"})
	require.NoError(t, err, "a defect of any station")
}

func TestALatchedTrackStaysOffUntilItIsSwitchedOn(t *testing.T) {
	b := newBench(t, Options{Nominal: true, Habit: "latched"}, true)
	b.powerUp()
	for _, name := range []station.Track{station.Main, station.Programming} {
		command := map[station.Track]string{station.Main: "MAIN", station.Programming: "PROG"}[name]
		b.do("TRAC:POW " + command + ",ON")
		b.wait(100 * time.Millisecond)
		require.NoError(t, b.Track(name).Short(100*physic.MilliOhm))
		b.wait(200 * time.Millisecond)
		require.NoError(t, b.Track(name).Open())
		assert.Equal(t, "TRIPPED", b.ask("TRAC:POW? "+command))
		b.wait(10 * time.Second)
		assert.Equal(t, "TRIPPED", b.ask("TRAC:POW? "+command))
		b.do("TRAC:POW " + command + ",ON")
		b.wait(100 * time.Millisecond)
		assert.Equal(t, "ON", b.ask("TRAC:POW? "+command))
	}
	b.main.clear()
	b.wait(100 * time.Millisecond)
	assert.NotEmpty(t, b.main.packets)
}
