// Package shortcircuit checks what a command station does when too much current flows, and how it comes back. No DCC
// standard sets the figures, so a station is held to its own word.
package shortcircuit

import "bufferstop/suites/examination"

// Specs returns the code of each requirement of the suite by its id.
func Specs() map[string]examination.Spec {
	return map[string]examination.Spec{
		"OVL-001": deadShortOnMain,
		"OVL-002": noTripCurrent,
		"OVL-003": tripCurrent,
		"OVL-004": inrush,
		"OVL-005": deadShortOnProgramming,
		"OVL-006": otherTrack,
		"OVL-007": limitedEnergy,
		"OVL-008": overloadAtPowerOn,

		"REC-001": recovery,
		"REC-002": firstPackets,
		"REC-003": locomotivesAfterRecovery,

		"CUR-001": reportedCurrent,
	}
}
