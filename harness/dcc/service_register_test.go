package dcc_test

import (
	"testing"

	"bufferstop/harness/dcc"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestEveryCVHasItsPage(t *testing.T) {
	for _, c := range []struct {
		source   string
		cv       int
		page     byte
		register int
	}{
		{"S-9.2.3 E, printed: page 1, data register 0", 1, 1, 1},
		{"S-9.2.3 E, printed: CV65 is page 17, data register 0", 65, 17, 1},
		{"S-9.2.3 E, derived", 4, 1, 4},
		{"S-9.2.3 E, derived", 1020, 255, 4},
		{"derived: page 256 is the byte 0", 1021, 0, 1},
		{"derived: page 256 is the byte 0", 1024, 0, 4},
	} {
		page, register, err := dcc.CVPage(c.cv)
		require.NoError(t, err)
		assert.Equal(t, c.page, page, c.source)
		assert.Equal(t, c.register, register, c.source)
	}
	for cv := 1; cv <= dcc.MaxCV; cv++ {
		page, register, err := dcc.CVPage(cv)
		require.NoError(t, err)
		back, err := dcc.PagedCV(page, register)
		require.NoError(t, err)
		require.Equal(t, cv, back)
	}
	_, _, err := dcc.CVPage(1025)
	assert.Error(t, err)
	_, err = dcc.PagedCV(1, 5)
	assert.EqualError(t, err, "dcc: data register: got 5, want 1..4")
}

// S-9.2.3 E (July 2012): registers 1..8 are CV1, 2, 3, 4, 29, the page, 7, 8.
func TestRegistersHoldTheirCVs(t *testing.T) {
	for register, cv := range map[int]int{1: 1, 2: 2, 3: 3, 4: 4, 5: 29, 7: 7, 8: 8} {
		got, ok := dcc.RegisterCV(register)
		assert.True(t, ok)
		assert.Equal(t, cv, got)
		back, ok := dcc.CVRegister(cv)
		assert.True(t, ok)
		assert.Equal(t, register, back)
	}
	for _, register := range []int{0, 6, 9} {
		_, ok := dcc.RegisterCV(register)
		assert.False(t, ok, "%d", register)
	}
	for _, cv := range []int{0, 5, 6, 30} {
		_, ok := dcc.CVRegister(cv)
		assert.False(t, ok, "%d", cv)
	}
}
