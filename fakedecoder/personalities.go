package fakedecoder

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"bufferstop/harness/dcc"

	"periph.io/x/conn/v3/physic"
)

// Ordinary is the name of the personality that Default gives.
const Ordinary = "ordinary"

// Default is an ordinary decoder at address 3. S-9.2.3 (July 2012) sets the frame, 60 mA or more for 6 ms ± 1 ms on top
// of 100 mA or less; the figures inside the frame, and all others here, are invented.
func Default() Config {
	return Config{
		Name:    Ordinary,
		Address: dcc.Short(3),
		Acknowledge: Acknowledge{
			Amplitude:       100 * physic.MilliAmpere,
			Width:           6 * time.Millisecond,
			Delay:           500 * time.Microsecond,
			Rise:            100 * time.Microsecond,
			Ripple:          10 * physic.MilliAmpere,
			RippleFrequency: physic.KiloHertz,
		},
		Storage:   4 * time.Millisecond, // common practice, no source: a byte of a controller's EEPROM
		Quiescent: 15 * physic.MilliAmpere,
		Motor:     300 * physic.MilliAmpere,
		Output:    10 * physic.MilliAmpere,
		Inrush:    Inrush{Peak: 400 * physic.MilliAmpere, Tau: 500 * time.Microsecond},
		Hold:      20 * time.Millisecond,
	}
}

// personalities are the decoders that builders meet, each as its difference from Default. Where no standard is named,
// the figures are invented.
var personalities = map[string]func(*Config){
	Ordinary: func(*Config) {},

	// S-9.2.3 D (July 2012): the least amplitude with the least width.
	"minimal-legal-pulse": func(c *Config) { c.Acknowledge = corner(60*physic.MilliAmpere, 5*time.Millisecond) },
	// The corners of the legal pulse, by their figures.
	"pulse-60mA-5ms": func(c *Config) { c.Acknowledge = corner(60*physic.MilliAmpere, 5*time.Millisecond) },
	"pulse-60mA-7ms": func(c *Config) { c.Acknowledge = corner(60*physic.MilliAmpere, 7*time.Millisecond) },
	"pulse-500mA":    func(c *Config) { c.Acknowledge = corner(500*physic.MilliAmpere, 6*time.Millisecond) },
	"quiescent-100mA": func(c *Config) {
		c.Quiescent = 100 * physic.MilliAmpere // the most that S-9.2.3 E (July 2012) allows
		c.Acknowledge = corner(60*physic.MilliAmpere, 6*time.Millisecond)
	},

	// Less than the standard's 60 mA: what a tiny coreless motor draws.
	"weak-pulse": func(c *Config) {
		c.Acknowledge.Amplitude = 35 * physic.MilliAmpere
		c.Acknowledge.Ripple = 8 * physic.MilliAmpere
	},
	// A motor driven by pulse width modulation for the length of the pulse.
	"chopped-pulse": func(c *Config) {
		c.Acknowledge.Amplitude = 120 * physic.MilliAmpere
		c.Acknowledge.Ripple = 0
		c.Acknowledge.Chop = Chop{
			On:     300 * time.Microsecond,
			Off:    100 * time.Microsecond,
			Jitter: 30 * time.Microsecond,
			Seed:   1,
		}
	},
	// A large motor: much current, slow to rise.
	"heavy-pulse": func(c *Config) {
		c.Acknowledge.Amplitude = 350 * physic.MilliAmpere
		c.Acknowledge.Rise = 800 * time.Microsecond
		c.Acknowledge.Ripple = 80 * physic.MilliAmpere
		c.Motor = 900 * physic.MilliAmpere
	},
	// Storage that ends within the eleven write and recovery packets of direct mode, but late.
	"slow-storage": func(c *Config) { c.Storage = 50 * time.Millisecond },
	// A sound decoder with large capacitors: several amperes for some milliseconds (common practice, no source).
	"big-inrush": func(c *Config) {
		c.Inrush = Inrush{Peak: 4 * physic.Ampere, Tau: 3 * time.Millisecond}
		c.Quiescent = 40 * physic.MilliAmpere
	},
	// A large capacitor charged through a resistor: state outlives two seconds without voltage, and the load still falls
	// while the station already measures it.
	"keep-alive": func(c *Config) {
		c.Inrush = Inrush{Peak: 180 * physic.MilliAmpere, Tau: 250 * time.Millisecond}
		c.Hold = 2 * time.Second
	},
	"no-write-acknowledge": func(c *Config) { c.NoWriteAcknowledge = true },
	"no-bit-mode":          func(c *Config) { c.NoBitMode = true },
	// CV15 and CV16 differ (S-9.2.2, July 2012): the sound decoder's lock number in a motor decoder.
	"locked": func(c *Config) { c.CVs = map[int]byte{cvLock: 2, cvLockID: 1} },
	"deaf":   func(c *Config) { c.Deaf = true },
}

// corner is an acknowledge with nothing but its two figures.
func corner(amplitude physic.ElectricCurrent, width time.Duration) Acknowledge {
	return Acknowledge{Amplitude: amplitude, Width: width, Delay: 500 * time.Microsecond}
}

// Personality is the Config of the named personality, for the caller to alter further. The error lists the names.
func Personality(name string) (Config, error) {
	alter, ok := personalities[name]
	if !ok {
		return Config{}, fmt.Errorf("fake decoder: personality %q does not exist; there are %s", name,
			strings.Join(Personalities(), ", "))
	}
	c := Default()
	c.Name = name
	alter(&c)
	return c, nil
}

// Personalities lists the names that Personality knows, sorted.
func Personalities() []string { return slices.Sorted(maps.Keys(personalities)) }
