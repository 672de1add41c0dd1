// Package review reads a station file against the catalogue before anything runs: a mandatory feature that is not claimed, a
// contradiction, a word that the catalogue does not know is an error at its line.
//
// What the form of a file allows at all is checked by station.ParseFile; this is about what it says.
package review
