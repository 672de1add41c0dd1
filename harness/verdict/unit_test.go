package verdict

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestUnitsPrintInTheSizeThatSuits(t *testing.T) {
	for _, c := range []struct {
		unit  Unit
		value float64
		want  string
	}{
		{Nanoseconds, 58_250, "58.25 µs"}, {Nanoseconds, 3, "3 ns"}, {Nanoseconds, 9_900_000, "9.9 ms"},
		{Nanoseconds, 1_500_000_000, "1.5 s"}, {Nanoseconds, -1_250, "-1.25 µs"}, {Nanoseconds, 0, "0 ns"},
		{Nanoseconds, 58_033.3, "58.033 µs"}, {Nanoseconds, 999_999.9, "1 ms"}, {Nanoseconds, 999.9996, "1 µs"},
		{Count, 14, "14"}, {Count, 1e6, "1000000"}, {Count, 2.5, "2.5"},
		{Milliamperes, 60, "60 mA"}, {Milliamperes, 2500, "2.5 A"},
		{Millivolts, 14_000, "14 V"}, {Milliohms, 500, "500 mΩ"},
		{Millivolts, 8_500, "8.5 V"}, {Millivolts, 42, "42 mV"}, {VoltsPerMicrosecond, 2.4, "2.4 V/µs"},
		{Percent, 5, "5%"}, {PerSecond, 120, "120/s"},
		{"furlong", 8, "8 furlong"}, {Count, math.NaN(), "not a number"},
	} {
		assert.Equal(t, c.want, c.unit.Format(c.value))
	}
	assert.Equal(t, "+1.2 µs", Nanoseconds.FormatSigned(1200))
	assert.Equal(t, "-1.2 µs", Nanoseconds.FormatSigned(-1200))
	assert.Equal(t, "0", Count.FormatSigned(-0.0001))
}

func TestLimitsPrintInWords(t *testing.T) {
	for want, got := range map[string]string{
		"55 to 61 µs":       Nanoseconds.FormatLimit(Between(55e3, 61e3, "")),
		"95 µs to 9.9 ms":   Nanoseconds.FormatLimit(Between(95e3, 9.9e6, "")),
		"0 to 30 ms":        Nanoseconds.FormatLimit(Between(0, 30e6, "")),
		"at most 30 ms":     Nanoseconds.FormatLimit(AtMost(30e6, "")),
		"8.5 to 22 V":       Millivolts.FormatLimit(Between(8500, 22_000, "")),
		"at least 14":       Count.FormatLimit(AtLeast(14, "")),
		"at least 2.4 V/µs": VoltsPerMicrosecond.FormatLimit(AtLeast(2.4, "")),
		"3 to 6":            Count.FormatLimit(Between(3, 6, "")),
		"exactly 3":         Count.FormatLimit(Exactly(3, "")),
		"no limit":          Count.FormatLimit(Limit{}),
	} {
		assert.Equal(t, want, got)
	}
}
