//go:build !simavr

package firmware

import (
	"context"

	"bufferstop/harness"
)

// Simulator says which simulator is built in; empty for none.
const Simulator = ""

// Open builds the rig. This binary has no simulator, so it returns *Missing.
func Open(context.Context, *File, *Image, Options) (harness.Rig, error) { return nil, &Missing{} }
