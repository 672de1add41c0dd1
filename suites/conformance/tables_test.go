package conformance

import (
	"slices"
	"testing"

	"bufferstop/harness/dcc"
	"bufferstop/harness/station"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// A walk keeps to what is claimed, and has its ends and all places at which an address byte changes.
func TestAWalkHasTheEndsAndTheBoundaries(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		first := rapid.IntRange(0, 10239).Draw(t, "first")
		claimed := station.Between(first, rapid.IntRange(first, 10239).Draw(t, "last"))
		numbers := walk(claimed, 256, addressStride)
		require.True(t, slices.IsSorted(numbers))
		require.Equal(t, numbers, slices.Compact(slices.Clone(numbers)))
		require.Equal(t, claimed.First, numbers[0])
		require.Equal(t, claimed.Last, numbers[len(numbers)-1])
		for n := range claimed.All() {
			boundary := n%256 == 0 || n%256 == 255 || n&(n-1) == 0
			require.True(t, !boundary || slices.Contains(numbers, n), "%d", n)
		}
	})
	assert.Empty(t, walk(station.Range{}, 256, addressStride))
}

func TestNumbersThatFollowEachOtherAreApart(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		numbers := rapid.SliceOfNDistinct(rapid.IntRange(1, 2044), 1, 300, rapid.ID[int]).Draw(t, "numbers")
		slices.Sort(numbers)
		shuffled := apart(numbers, accessoryBatch)
		again := slices.Sorted(slices.Values(shuffled))
		require.Equal(t, numbers, again)
	})
	c := everything(dcc.FirstIsRawFour)
	table := accessoryTable(c, accessoryBatch)
	for i := 0; i+accessoryBatch <= len(table)/2; i += accessoryBatch {
		decoders := map[uint16]bool{}
		for _, o := range table[i : i+accessoryBatch] {
			decoders[o.Want.(dcc.Accessory).Decoder] = true
		}
		assert.Greater(t, len(decoders), accessoryBatch/2, "batch %d", i/accessoryBatch)
	}
}

func TestWholeDecodersAreThoseWithAllFourAccessories(t *testing.T) {
	c := everything(dcc.FirstIsRawFour)
	assert.Equal(t, [][4]int{{1, 2, 3, 4}, {257, 258, 259, 260}, {2037, 2038, 2039, 2040}}, wholeDecoders(c))
	c.Numbering = dcc.FirstIsRawZero
	assert.Equal(t, [][4]int{{5, 6, 7, 8}, {261, 262, 263, 264}, {2041, 2042, 2043, 2044}}, wholeDecoders(c))
	c.Accessories = station.Between(5, 9)
	assert.Equal(t, [][4]int{{5, 6, 7, 8}}, wholeDecoders(c))
	c.Accessories = station.Between(6, 10)
	assert.Empty(t, wholeDecoders(c))
}

// A table for a station with one kind of address has that kind only, whole.
func TestATableKeepsToTheKindsOfAddressThatThereAre(t *testing.T) {
	for _, addresses := range [][]dcc.Address{{dcc.Short(3)}, {dcc.Long(1000), dcc.Long(2333)}} {
		assert.Len(t, speedTable(dcc.Steps28, addresses), 2*29)
		assert.Len(t, speedTable(dcc.Steps128, addresses), 2*127)
	}
	assert.Len(t, speedTable(dcc.Steps28, []dcc.Address{dcc.Short(3), dcc.Long(1000)}), 4*29)
}

func TestOneFunctionOfEachGroupIsChosen(t *testing.T) {
	assert.Equal(t, []int{1, 5, 10, 13, 22}, oneOfGroups(claimedFunctions(station.Between(0, 68), 0, 28)))
	assert.Equal(t, []int{0}, oneOfGroups([]int{0}))
	assert.Equal(t, []int{0, 5, 9}, firstOfGroups(claimedFunctions(station.Between(0, 10), 0, 68)))
	assert.Empty(t, oneOfGroups(nil))
}
