// Package voltage says what the voltage of a track does while it changes its polarity: how high it stands on either side, how fast
// it crosses zero, and whether it runs back on its way. It works on traces, as an oscilloscope records them; whose they are is
// not its matter.
//
//	c := voltage.Measure(trace)
//	c.Before, c.After        // settled, with their signs
//	c.Highest                // the highest that it ever was, either way
//	c.Slew()                 // while it crossed from -4 V to +4 V or back, in volts a microsecond
package voltage
