package suites

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"bufferstop/suites/catalogue"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestThePartsOfASelectionHaveEachRequirementOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var ids []string
		for _, r := range catalogue.All() {
			ids = append(ids, r.ID)
		}
		s := Selection{Requirements: rapid.SliceOfNDistinct(rapid.SampledFrom(ids), 1, len(ids), rapid.ID[string]).Draw(t, "requirements")}
		whole, err := s.Chosen()
		require.NoError(t, err)
		s.Shards = rapid.IntRange(1, MaxShards).Draw(t, "shards")
		divided, everywhere := apart(whole)
		all := bundles(divided)
		var longest, total time.Duration
		for _, b := range all {
			longest, total = max(longest, b.takes), total+b.takes
		}
		place := map[string]int{}
		doing := map[string]int{}
		for s.Shard = 1; s.Shard <= s.Shards; s.Shard++ {
			part, err := s.Chosen()
			if s.Shard > len(all) {
				var shard *ShardError
				require.ErrorAs(t, err, &shard)
				require.Equal(t, len(all), shard.Parts)
				continue
			}
			require.NoError(t, err)
			again, _ := s.Chosen()
			require.Equal(t, part, again)
			require.True(t, slices.IsSortedFunc(part, func(a, b catalogue.Requirement) int {
				return slices.Index(ids, a.ID) - slices.Index(ids, b.ID)
			}), "a part is in the order of the catalogue")
			var takes time.Duration
			own := part
			if len(everywhere) > 0 {
				own, _ = apart(part)
				for _, r := range everywhere {
					require.True(t, holds(part, r), "%s is judged in every part", r.ID)
				}
			}
			for _, b := range bundles(own) {
				takes += b.takes
			}
			require.LessOrEqual(t, takes, total/time.Duration(s.Shards)+longest)
			for _, r := range own {
				require.NotContains(t, place, r.ID)
				place[r.ID] = s.Shard
				for _, e := range r.Exercises {
					if other, done := doing[e]; done {
						require.Equal(t, other, s.Shard, "%s is done in two parts", e)
					}
					doing[e] = s.Shard
				}
			}
		}
		require.Len(t, place, len(divided))
	})
}

// Of so many parts that none of the others has as much to do as these two.
func TestTheRequirementsThatTakeMostAreInPartsOfTheirOwn(t *testing.T) {
	// In so many parts that what the others take together is less for each than what one of these does.
	for i, id := range []string{"SRV-006", "SRV-012"} {
		part, err := Selection{Shard: 1 + i, Shards: 8}.Chosen()
		require.NoError(t, err)
		own, _ := apart(part)
		require.Len(t, own, 1)
		assert.Equal(t, id, own[0].ID)
	}
	part, err := Selection{Suites: []string{"conformance"}, Shard: 1, Shards: 1}.Chosen()
	require.NoError(t, err)
	whole, err := Selection{Suites: []string{"conformance"}}.Chosen()
	require.NoError(t, err)
	assert.Equal(t, whole, part)
}

func TestWhatIsNoPartIsAnError(t *testing.T) {
	for _, s := range []Selection{{Shard: 1}, {Shards: 1}, {Shard: 3, Shards: 2}, {Shard: -1, Shards: 2}, {Shard: -1, Shards: -1},
		{Shard: 1, Shards: MaxShards + 1}} {
		_, err := s.Chosen()
		var shard *ShardError
		require.ErrorAs(t, err, &shard, "%+v", s)
		assert.Contains(t, err.Error(), fmt.Sprintf("part %d of %d: wanted", s.Shard, s.Shards))
	}
	_, err := Selection{Requirements: []string{"SIG-001", "SIG-002"}, Shard: 2, Shards: 2}.Chosen()
	assert.EqualError(t, err, "part 2 of 2 has no requirement: the selection divides into 1 at most")
}
