package written

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

func TestNearestFindsTheNameBehindASlip(t *testing.T) {
	suites := []string{"conformance", "programming", "shortcircuit"}
	ids := []string{"SIG-001", "SIG-002", "PKT-001"}
	for word, want := range map[string]string{
		"conformence":  "conformance",  // another letter
		"programing":   "programming",  // one left out
		"shortcirciut": "shortcircuit", // two swapped
		"short":        "shortcircuit", // only the beginning
		"Programming":  "programming",  // another case
		"zebra":        "",
		"":             "",
	} {
		assert.Equal(t, want, Nearest(word, suites), "for %q", word)
	}
	assert.Equal(t, "PKT-001", Nearest("pkt-001", ids))
	assert.Equal(t, "PKT-001", Nearest("PTK-001", ids))
}

func TestDistanceIsSymmetricAndZeroOnlyForTheSameWord(t *testing.T) {
	word := rapid.StringMatching(`[a-d]{0,6}`)
	rapid.Check(t, func(t *rapid.T) {
		a, b := word.Draw(t, "a"), word.Draw(t, "b")
		d := distance(a, b)
		assert.Equal(t, d, distance(b, a))
		assert.Equal(t, a == b, d == 0)
		assert.LessOrEqual(t, d, max(len(a), len(b)))
		assert.GreaterOrEqual(t, d, max(len(a), len(b))-min(len(a), len(b)))
	})
}
