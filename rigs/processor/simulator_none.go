//go:build !simavr

package processor

// Simulator says which simulator is built in; empty for none.
const Simulator = ""
