package simulated

import (
	"fmt"
	"testing"
	"time"

	"bufferstop/harness/dcc"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestEveryActiveLocomotiveIsRefreshedFairly(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := newBench(t, Options{Seed: rapid.Int64().Draw(t, "seed")}, true)
		b.powerUp()
		count := rapid.IntRange(1, 12).Draw(t, "locomotives")
		for a := 1; a <= count; a++ {
			b.do(fmt.Sprintf("LOCO:SPE %d,10,FORW,128", a*100))
			b.do(fmt.Sprintf("LOCO:FUNC %d,2,ON;FUNC %d,14,ON", a*100, a*100))
		}
		require.Equal(t, "1", b.ask("*OPC?"))
		b.wait(100 * time.Millisecond)
		b.main.clear()
		b.wait(3 * time.Second)
		least, most := 1<<30, 0
		for a := 1; a <= count; a++ {
			address := dcc.Short(100)
			if a > 1 {
				address = dcc.Long(uint16(a * 100))
			}
			n := b.main.count(packet(dcc.Speed{Address: address, Steps: dcc.Steps128, Direction: dcc.Forward, Step: 10}, nil))
			least, most = min(least, n), max(most, n)
			assert.Positive(t, b.main.count(packet(dcc.Functions{Address: address, Group: dcc.F0F4, States: 4}, nil)))
			high := b.main.count(packet(dcc.Functions{Address: address, Group: dcc.F13F20, States: 2}, nil))
			assert.Equal(t, b.settings.refreshHigh, high > 0, "%d", high)
		}
		assert.Positive(t, least)
		assert.LessOrEqual(t, most-least, 1)
		if count > 1 {
			assert.Zero(t, b.main.count(packet(dcc.Idle{}, nil)), "idle only when there is nothing to say")
		}
		assert.Zero(t, b.main.receiver.Statistics().SameAddress.Outside)
	})
}

func TestNothingToTheDecoderComesBetweenTheTwoWritesOnTheMain(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := newBench(t, Options{Seed: rapid.Int64().Draw(t, "seed")}, true)
		b.powerUp()
		b.do("LOCO:SPE 3,10,FORW,128")
		b.do("LOCO:FUNC 3,0,ON")
		if rapid.Bool().Draw(t, "others") {
			b.do("LOCO:SPE 5,10,FORW,128")
		}
		b.wait(time.Duration(rapid.IntRange(0, 100).Draw(t, "ms")) * time.Millisecond)
		b.main.clear()
		commands := []string{"POM:WRIT 3,1,5", "LOCO:SPE 3,20,FORW,128", "LOCO:STOP ALL", "LOCO:FUNC 3,1,ON"}
		for _, c := range rapid.Permutation(commands).Draw(t, "commands") {
			b.do(c)
		}
		b.wait(300 * time.Millisecond)
		// S-9.2.1 C (July 2012): two identical packets, and no other to this decoder between, broadcasts included.
		write := packet(dcc.MainWrite{Address: dcc.Short(3), CV: 1, Value: 5}, nil)
		pairs, before := 0, false
		for _, p := range b.main.packets {
			switch {
			case p.Bytes.Equal(write):
				if before {
					pairs++
				}
				before = true
			case p.Bytes[0] == 3 || p.Bytes[0] == 0:
				before = false
			}
		}
		assert.Positive(t, pairs)
	})
}

func TestStopsReachTheTrackWithinTheDeclaredLatency(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := newBench(t, Options{Seed: rapid.Int64().Draw(t, "seed")}, true)
		b.powerUp()
		for a := range 30 {
			b.do(fmt.Sprintf("LOCO:SPE %d,10,FORW,128", a+1))
		}
		b.wait(time.Duration(rapid.IntRange(100, 3000).Draw(t, "ms")) * time.Millisecond)
		b.do("LOCO:SPE 7,10,FORW,28")
		b.main.clear()
		asked := b.Now()
		command := rapid.SampledFrom([]string{"7", "ALL"}).Draw(t, "who")
		b.do("LOCO:STOP " + command)
		want := packet(dcc.BroadcastStop{Direction: dcc.Forward, Immediate: true, DirectionIgnored: true}, nil)
		if command == "7" {
			want = packet(dcc.Speed{Address: dcc.Short(7), Steps: dcc.Steps28, Direction: dcc.Forward, Emergency: true}, nil)
		}
		b.wait(500 * time.Millisecond)
		for _, p := range b.main.packets {
			if p.Bytes.Equal(want) {
				assert.Less(t, p.End-asked, 100*time.Millisecond)
				break
			}
		}
		assert.GreaterOrEqual(t, b.main.count(want), 3)
		// After the stop nobody is told to move any more.
		after := b.main.packets[len(b.main.packets)-20:]
		for _, p := range after {
			if i, ok := dcc.Decode(p.Bytes).(dcc.Speed); ok && (command == "ALL" || i.Address == dcc.Short(7)) {
				assert.Zero(t, i.Step)
			}
		}
	})
}

func TestAReleasedLocomotiveIsForgotten(t *testing.T) {
	b := newBench(t, Options{Nominal: true}, true)
	b.powerUp()
	b.do("LOCO:SPE 3,10,FORW,128")
	b.do("LOCO:SPE 4,10,FORW,128")
	b.wait(50 * time.Millisecond)
	b.do("LOCO:REL 3")
	b.wait(20 * time.Millisecond)
	b.main.clear()
	b.wait(time.Second)
	require.NotEmpty(t, b.main.packets)
	for _, p := range b.main.packets {
		assert.NotEqualValues(t, 3, p.Bytes[0])
	}
}

func TestTheRefreshListIsFullAt128(t *testing.T) {
	b := newBench(t, Options{Nominal: true}, false)
	for a := range maxLocomotives {
		b.do(fmt.Sprintf("LOCO:SPE %d,10,FORW,128", a+1))
	}
	assert.Equal(t, `-225,"Out of memory"`, b.ask("LOCO:SPE 1000,1,FORW;:SYST:ERR?"))
	b.do("LOCO:REL 5")
	b.do("LOCO:SPE 1000,1,FORW")
}

func TestTheSerialLineFloodedDoesNotReachTheTrack(t *testing.T) {
	b := newBench(t, Options{Seed: 5}, true)
	b.powerUp()
	for range 200 {
		for range 4 {
			b.say("LOCO:SPE 3,10,FORW,128;:SYST:ERR?")
		}
		for range 4 {
			line, err := b.hear(time.Second)
			require.NoError(t, err)
			require.Equal(t, `0,"No error"`, line)
		}
	}
	s := b.main.receiver.Statistics()
	assert.Empty(t, b.main.faults())
	assert.Zero(t, s.OneHalf.Outside+s.ZeroHalf.Outside+s.OneDifference.Outside+s.SameAddress.Outside)
	// Speeds replace each other while they wait, so the line is the limit.
	assert.Less(t, b.Now(), 6*time.Second)
}
