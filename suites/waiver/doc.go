// Package waiver reads files of waivers, known failures that a run is to let pass, and holds results against them.
//
// A waiver cannot rot: the check still runs, and the waiver is void, and the run does not conform, when the check passes, fails
// with another text, was skipped, or when the waiver has expired.
package waiver
