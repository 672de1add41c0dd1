package station

import (
	"encoding/hex"
	"strings"
)

// hexText is how the bytes of a binary message are written: "52 00 1D".
func hexText(p []byte) string {
	const digits = "0123456789ABCDEF"
	if len(p) == 0 {
		return ""
	}
	out := make([]byte, 0, 3*len(p)-1)
	for i, b := range p {
		if i > 0 {
			out = append(out, ' ')
		}
		out = append(out, digits[b>>4], digits[b&15])
	}
	return string(out)
}

// hexBytes reads what hexText writes, and takes bytes without spaces between and small letters as well.
func hexBytes(text string) ([]byte, error) {
	return hex.DecodeString(strings.Join(strings.Fields(text), ""))
}
