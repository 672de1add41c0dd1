// Package conformance checks what a command station puts on its tracks in normal operation: the signal, the packets, how
// often they come, and whether each command reaches the track as the standards code it.
package conformance

import "bufferstop/suites/examination"

// Specs returns the code of each requirement of the suite by its id.
func Specs() map[string]examination.Spec {
	return map[string]examination.Spec{
		"SIG-001": oneHalfBits,
		"SIG-002": halvesOfAOne,
		"SIG-003": zeroHalfBits,
		"SIG-004": wholeZeros,
		"SIG-005": underSerialLoad,
		"SIG-009": amplitude,
		"SIG-010": slew,
		"SIG-011": underEveryByte,
		"SIG-012": underAnEndlessLine,
		"SIG-013": underHalfACommand,
		"SIG-014": underAnEcho,
		"SIG-015": whileCVsAreRead,
		"SIG-016": linkOpenedAnew,
		"SIG-017": noDirectCurrentAtStart,
		"SIG-018": noDirectCurrentAtReset,
		"SIG-019": timingWithDecoder,
		"SIG-020": timingUnderLoad,

		"PKT-002": framing,

		"RATE-001": packetRate,
		"RATE-002": refreshOfEveryLocomotive,
		"RATE-003": rateWithNone,
		"RATE-004": rateWithOne,
		"RATE-005": rateWithTen,
		"RATE-006": rateWithMost,
		"RATE-007": fairness,
		"RATE-008": highFunctions,
		"RATE-009": latencyIdle,
		"RATE-010": latencyLoaded,

		"LNK-001": commandsBackToBack,
		"LNK-002": afterGarbage,

		"OPS-001": steps28,
		"OPS-002": steps128,
		"OPS-003": shortAddresses,
		"OPS-004": longAddresses,
		"OPS-005": functions0To4,
		"OPS-006": functions5To12,
		"OPS-007": functions13To28,
		"OPS-008": stopOne,
		"OPS-009": stopAll,
		"OPS-010": programmingOnTheMain,
		"OPS-011": release,
		"OPS-012": repetitions,
		"OPS-013": functions29To68,
		"OPS-014": directionAtStop,
		"OPS-015": consists,
		"OPS-016": bitsOnTheMain,
		"OPS-017": severalOnTheMain,
		"OPS-018": otherGroups,

		"ACC-001": accessoryOutputs,
		"ACC-002": aspects,
		"ACC-003": pairs,
		"ACC-004": aspectValues,
		"ACC-005": neighbours,

		"PWR-001": powerUp,
		"PWR-002": powerOffAndOn,
		"PWR-003": firstOfPower,
	}
}
