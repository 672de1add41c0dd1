//go:build !simavr

package firmware

import (
	"context"

	"bufferstop/harness"
	"bufferstop/rigs/processor"
)

// Open builds the rig. This binary has no simulator, so it returns *Missing.
func Open(context.Context, *File, *processor.Image, Options) (harness.Rig, error) {
	return nil, &Missing{}
}
