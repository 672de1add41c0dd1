// Package programming checks what a command station does on its programming track: the sequences of service mode
// (S-9.2.3, July 2012), the values that it reads and writes through a fake decoder, and what it takes for an
// acknowledge.
package programming

import "bufferstop/suites/examination"

// Specs returns the code of each requirement of the suite by its id.
func Specs() map[string]examination.Spec {
	return map[string]examination.Spec{
		"SRV-001": longPreamble,
		"SRV-002": powerOnCycle,
		"SRV-003": directVerifySequence,
		"SRV-004": directWriteSequence,
		"SRV-005": gaps,
		"SRV-006": lowerValues,
		"SRV-007": listOfCVs,
		"SRV-008": writeThenVerify,
		"SRV-009": noDecoder,
		"SRV-010": mainDuringProgramming,
		"SRV-011": bitWrite,
		"SRV-012": upperValues,

		"ACK-001": shortestAcknowledge,
		"ACK-002": longestAcknowledge,
		"ACK-003": strongAcknowledge,
		"ACK-004": acknowledgeOnQuiescentLoad,
		"ACK-005": noiseBeforeTheWindow,
	}
}
