package simulated

import (
	"math"
	"strconv"
	"strings"

	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
)

// Parameters of the reference language. What is no number and no word that fits is found here; what is out of range, by
// the operation.

// number reads a decimal number, IEEE 488.2-1992 7.7.2, rounded to a whole one. One that is larger than any that the
// station has a use for is as good as ±10^9.
func number(text string) (int, errorCode) {
	const largest = 1e9
	if text == "" {
		return 0, missingParameter
	}
	if strings.IndexFunc(text, func(r rune) bool { return !strings.ContainsRune("0123456789+-.E", r) }) >= 0 {
		return 0, dataTypeError
	}
	f, err := strconv.ParseFloat(text, 64)
	if err != nil && !math.IsInf(f, 0) {
		return 0, dataTypeError
	}
	return int(min(max(math.Round(f), -largest), largest)), noError
}

// numbers reads several.
func numbers(texts []string) ([]int, errorCode) {
	all := make([]int, len(texts))
	codes := make([]errorCode, len(texts))
	for i, text := range texts {
		all[i], codes[i] = number(text)
	}
	return all, first(codes...)
}

// choice reads a word and gives the index of the mnemonic that it matches.
func choice(text string, mnemonics ...string) (int, errorCode) {
	if text == "" {
		return 0, missingParameter
	}
	for i, m := range mnemonics {
		if keyword(m, text) {
			return i, noError
		}
	}
	return 0, illegalParameter
}

func boolean(text string) (bool, errorCode) {
	i, code := choice(text, "OFF", "ON", "0", "1")
	return i%2 == 1, code
}

// address reads a locomotive's: up to 127 it is short.
func address(text string) (dcc.Address, errorCode) {
	n, code := number(text)
	if code != noError {
		return dcc.Address{}, code
	}
	return locomotiveAddress(n, n > 127)
}

func trackPort(text string) (int, errorCode) {
	i, code := choice(text, "MAIN", "PROGramming", "PROG")
	return min(i, programmingPort), code
}

// method reads a service-mode method, if there is one.
func method(p []string) (station.Method, errorCode) {
	if len(p) == 0 {
		return "", noError
	}
	i, code := choice(p[0], "DIRect", "PAGed", "REGister", "ADDRess")
	return [...]station.Method{station.Direct, station.Paged, station.Register, station.AddressOnly}[i], code
}
