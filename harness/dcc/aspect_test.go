package dcc_test

import (
	"testing"

	"bufferstop/harness/dcc"

	"github.com/stretchr/testify/assert"
)

// NEM 672 (2015) 3.4, the printed aspects.
func TestAspectsAreReadAsTheSignalStandardLaysThemOut(t *testing.T) {
	for _, c := range []struct {
		name       string
		aspect     byte
		supplement byte
		kmh        int
		limited    bool
	}{
		{"Hp2, 40 km/h", 0b0000_0100, 0, 40, true},
		{"100 km/h with indicator", 0b0011_1010, 3, 100, true},
		{"stub track, 30 km/h", 0b1101_0011, 13, 30, true},
		{"shunting, 20 km/h", 0b0101_0010, 5, 20, true},
		{"Hp1 repeater", 0b1001_1111, 9, 0, false},
		{"stop", 0b0000_0000, 0, 0, true},
	} {
		a := dcc.AccessoryAspect{Address: 4, Aspect: c.aspect}
		kmh, limited := a.SignalSpeed()
		assert.Equal(t, c.kmh, kmh, c.name)
		assert.Equal(t, c.limited, limited, c.name)
		assert.Equal(t, c.supplement, a.Supplement(), c.name)
	}
}
