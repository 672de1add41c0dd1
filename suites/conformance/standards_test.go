package conformance

import (
	"fmt"
	"strings"
	"testing"

	"bufferstop/harness/dcc"
	"bufferstop/harness/station"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// everything is the claims of a station that can do all that is asked for.
func everything(n dcc.Numbering) station.Claims {
	return station.Claims{
		ShortAddresses: station.Between(1, 127), LongAddresses: station.Between(0, 10239), Functions: station.Between(0, 68),
		Accessories: station.Between(1, 2044), Aspects: station.Between(1, 2044), AspectValues: station.Between(0, 255),
		Numbering: n, AccessoryOff: true,
	}
}

// tables are all that the suite expects on the track: what the specs go through, and the stops that they wait for.
func tables() (all []dcc.Instruction) {
	add := func(table []order) {
		for _, o := range table {
			all = append(all, o.Want)
		}
	}
	addresses := []dcc.Address{dcc.Short(3), dcc.Long(1000), dcc.Short(16), dcc.Long(2333)}
	for _, steps := range []dcc.Steps{dcc.Steps28, dcc.Steps128} {
		add(speedTable(steps, addresses))
		add(addressTable(shortWalk(everything(0).ShortAddresses), steps))
		add(addressTable(longWalk(everything(0).LongAddresses), steps))
	}
	for _, a := range addresses[:2] {
		add(functionTable(a, claimedFunctions(station.Between(0, 68), 0, 68)))
		add(mainWriteTable(a))
		add(mainBitTable(a))
		for _, steps := range []dcc.Steps{dcc.Steps28, dcc.Steps128} {
			for _, d := range bothDirections {
				all = append(all, dcc.Speed{Address: a, Steps: steps, Direction: d, Emergency: true})
			}
		}
		all = append(all, outOfConsist(a, false), outOfConsist(a, true))
	}
	add(consistTable(addresses))
	all = append(all, dcc.BroadcastStop{Direction: dcc.Forward, Immediate: true},
		dcc.BroadcastStop{Direction: dcc.Forward, Immediate: true, DirectionIgnored: true},
		dcc.BroadcastStop{Direction: dcc.Reverse, Immediate: true, DirectionIgnored: true})
	for _, n := range []dcc.Numbering{dcc.FirstIsRawFour, dcc.FirstIsRawZero} {
		c := everything(n)
		add(accessoryTable(c, accessoryBatch))
		add(pairTable(c))
		add(aspectTable(c, accessoryBatch))
		add(aspectValueTable(c, accessoryBatch))
	}
	return all
}

// samples are instructions of which single rows were typed, so that the rules of the file are held against them too.
var samples = []dcc.Instruction{
	speed28(dcc.Short(55), 6), speed28(dcc.Long(1000), 28), speed28(dcc.Short(64), 1), speed28(dcc.Long(0xff), 1), speed28(dcc.Long(4096), 1),
	dcc.Speed{Address: dcc.Short(3), Steps: dcc.Steps28, Direction: dcc.Forward, DirectionIgnored: true},
	dcc.Speed{Address: dcc.Short(3), Steps: dcc.Steps28, Direction: dcc.Reverse, DirectionIgnored: true},
	dcc.Speed{Address: dcc.Short(3), Steps: dcc.Steps28, Direction: dcc.Forward, Emergency: true, DirectionIgnored: true},
	dcc.Speed{Address: dcc.Short(3), Steps: dcc.Steps28, Direction: dcc.Reverse, Emergency: true, DirectionIgnored: true},
	dcc.BroadcastStop{Direction: dcc.Forward}, dcc.BroadcastStop{Direction: dcc.Forward, DirectionIgnored: true},
	dcc.MainWrite{Address: dcc.Short(3), CV: 1, Value: 85}, dcc.MainWrite{Address: dcc.Short(3), CV: 256, Value: 255},
	dcc.MainWrite{Address: dcc.Short(3), CV: 257, Value: 42}, dcc.MainWrite{Address: dcc.Short(3), CV: 1024, Value: 42},
	dcc.Accessory{Decoder: 1, Activate: true}, dcc.Accessory{Decoder: 1, Output: 1, Activate: true},
	dcc.Accessory{Decoder: 1, Pair: 3, Output: 1}, dcc.Accessory{Decoder: 63, Pair: 3, Activate: true},
	dcc.Accessory{Decoder: 64, Activate: true}, dcc.Accessory{Decoder: 65, Pair: 2, Output: 1},
	dcc.Accessory{Decoder: 510, Pair: 3, Output: 1, Activate: true},
	dcc.AccessoryAspect{Address: 4}, dcc.AccessoryAspect{Address: 7, Aspect: 255}, dcc.AccessoryAspect{Address: 256, Aspect: 16},
}

func speed28(a dcc.Address, step int) dcc.Speed {
	return dcc.Speed{Address: a, Steps: dcc.Steps28, Direction: dcc.Forward, Step: step}
}

// noneOfGroup is the packet of a group with all of its functions off: the row that the others of the group begin with.
func noneOfGroup(g dcc.FunctionGroup) string {
	return fmt.Sprintf("F%d-F%d none", g.First(), g.Last())
}

// Every packet that a spec expects is spelt by harness/dcc, and here by rows of the standards: the two have to be the same, bit by
// bit, and no row may be left over.
func TestWhatTheSuiteExpectsIsWhatTheStandardsPrint(t *testing.T) {
	s := readTyped(t)
	for _, i := range append(tables(), samples...) {
		p, err := i.Packet()
		require.NoError(t, err, "%v", i)
		got := strings.TrimPrefix(p.BitString(0), " ")
		for _, bytes := range spellings(t, s, i) {
			require.Equal(t, packet(bytes), got, "%v", i)
		}
		if whole := "packet " + wholeName(i); s.has(whole) {
			require.Equal(t, s.bits(t, whole, nil), got, "%v", i)
		}
	}
	for name, i := range others {
		p, err := i.Packet()
		require.NoError(t, err)
		want := s.bits(t, name, nil)
		if !strings.HasPrefix(name, "packet ") {
			want = packet(s.bits(t, "short 3", nil) + " " + want)
		}
		assert.Equal(t, want, strings.TrimPrefix(p.BitString(0), " "), name)
	}
	for name := range s.rows {
		assert.True(t, s.used[name], "nothing is compared with the row %q", name)
	}
}

// others are instructions that no check asks for: what a station may send all the same, read with the same codec.
var others = map[string]dcc.Instruction{
	"decoder reset":                       dcc.Reset{Address: dcc.Short(3)},
	"decoder hard reset":                  dcc.Reset{Address: dcc.Short(3), Hard: true},
	"decoder flags on":                    dcc.DecoderControl{Address: dcc.Short(3), Control: dcc.SetFlags, On: true},
	"long address on":                     dcc.DecoderControl{Address: dcc.Short(3), Control: dcc.SetLongAddress, On: true},
	"acknowledge request":                 dcc.DecoderControl{Address: dcc.Short(3), Control: dcc.AcknowledgeRequest, On: true},
	"binary states off, long form":        dcc.AllBinaryStates{Address: dcc.Short(3), Long: true},
	"binary states off, short form":       dcc.AllBinaryStates{Address: dcc.Short(3)},
	"binary state 5 on":                   dcc.BinaryState{Address: dcc.Short(3), Number: 5, On: true},
	"binary state 300 on":                 dcc.BinaryState{Address: dcc.Short(3), Number: 300, On: true},
	"restricted speed on, step 6 forward": dcc.RestrictedSpeed{Address: dcc.Short(3), Enabled: true, Direction: dcc.Forward, Step: 6},
	"packet reset":                        dcc.Reset{},
	"packet idle":                         dcc.Idle{},
}

// The tables are whole: every row of 28 steps for both kinds of address and every function are among what is expected, and every
// claimed short address, every first byte of a long one, every accessory decoder's bits.
func TestNoRowOfATableIsLeftOut(t *testing.T) {
	seen := map[string]bool{}
	first, high, low, pair := map[byte]bool{}, map[uint16]bool{}, map[uint16]bool{}, map[uint8]bool{}
	aspects := map[byte]bool{}
	for _, i := range tables() {
		switch i := i.(type) {
		case dcc.Speed:
			seen[fmt.Sprint(i.Address.Long, speedName(i))] = true
			p, _ := i.Packet()
			first[p[0]] = true
		case dcc.Functions:
			for bit := range i.Group.Last() - i.Group.First() + 1 {
				seen[fmt.Sprintf("%t F%d %t", i.Address.Long, i.Group.First()+bit, i.States>>bit&1 == 1)] = true
			}
		case dcc.Accessory:
			high[i.Decoder>>6], low[i.Decoder&0x3f], pair[i.Pair<<2|i.Output<<1|flagged(i.Activate)] = true, true, true
		case dcc.AccessoryAspect:
			aspects[i.Aspect] = true
		}
	}
	for _, long := range []bool{false, true} {
		for _, steps := range []dcc.Steps{dcc.Steps28, dcc.Steps128} {
			for _, d := range bothDirections {
				for step := range steps.Max() + 1 {
					name := fmt.Sprint(long, speedName(dcc.Speed{Steps: steps, Direction: d, Step: step}))
					assert.True(t, seen[name], name)
				}
			}
		}
		for f := range dcc.MaxFunction + 1 {
			for _, on := range []bool{false, true} {
				assert.True(t, seen[fmt.Sprintf("%t F%d %t", long, f, on)], "F%d %t", f, on)
			}
		}
	}
	for a := 1; a <= 127; a++ {
		assert.True(t, first[byte(a)], "short %d", a)
	}
	for a := 192; a <= 231; a++ {
		assert.True(t, first[byte(a)], "first byte %d", a)
	}
	assert.Len(t, high, 8)
	assert.Greater(t, len(low), 50)
	assert.Len(t, pair, 16)
	assert.Len(t, aspects, 256)
}

func flagged(on bool) uint8 {
	if on {
		return 1
	}
	return 0
}
