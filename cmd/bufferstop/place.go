package main

import (
	"fmt"
	"os"

	document "bufferstop/harness/written"
)

// placeOf is the place of a key in a TOML file that was read before.
func placeOf(name, key string) string {
	data, err := os.ReadFile(name)
	var whole map[string]any
	if doc, ok := document.Open(name, data, &whole); ok && err == nil {
		if at := doc.Problem(key, "", "", ""); at.Line > 0 {
			return fmt.Sprintf("%s:%d:%d", name, at.Line, at.Column)
		}
	}
	return name
}
