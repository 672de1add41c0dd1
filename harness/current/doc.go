// Package current finds in a stream of current samples what a station builder asks about: acknowledge pulses, trips of an
// overload protection, and peak, mean, charge and I²t.
//
// Everything streams: each analysis takes one sample at a time, in order of time, with constant memory and no
// allocation. Between two samples the current is taken for a straight line.
package current
