// Package figures has the parts of the capture probe, by value and function, and draws its schematic diagrams.
//
// The list of parts (parts.go) is the only place where values stand. The wiring page, ../README.md, repeats it, and tests
// hold the page to it; the checks with ngspice in ../wiring_test.go build their netlists of it; the figures letter it. So
// a value that is changed here is changed everywhere, and what it does to the circuit is seen at once:
//
//	go test ./rigs/bench/figures -update     # draws the figures anew
//	go test ./rigs/bench -run TestThe        # says which lists of the page are behind, and what the circuits do now
//
// Figures are SVG of our own making: no library in Go draws schematic symbols, and these are few. They are narrow, so that
// their lettering is still readable on a phone, have a ground of their own, so that they are readable on light and dark
// pages, and keep their text as text.
package figures
