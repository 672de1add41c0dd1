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
		"SRV-013": addressOnlySequence,
		"SRV-014": registerSequence,
		"SRV-015": pagedSequence,
		"SRV-016": pagePutBack,
		"SRV-017": pagedPower,
		"SRV-018": pagedValues,
		"SRV-019": lastPage,
		"SRV-020": registerValues,
		"SRV-021": addressOnly,
		"SRV-022": oneMethod,
		"SRV-023": directTypes,
		"SRV-024": writeListOfCVs,
		"SRV-025": highestCV,
		"SRV-026": factoryReset,

		"ACK-001": shortestAcknowledge,
		"ACK-002": longestAcknowledge,
		"ACK-003": strongAcknowledge,
		"ACK-004": acknowledgeOnQuiescentLoad,
		"ACK-005": noiseBeforeTheWindow,
		"ACK-006": lateWriteAcknowledge,
		"ACK-007": lateVerifyAcknowledge,
		"ACK-008": acknowledgesByOtherMethods,
	}
}
