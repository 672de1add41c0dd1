//go:build !simavr

package box

import (
	"context"

	"bufferstop/harness/link"
	"bufferstop/rigs/firmware"
)

// A Box is a bench in a box. There is none without the simulator.
type Box struct{}

// Open builds the box. This binary has no simulator, so it returns *firmware.Missing.
func Open(Options) (*Box, error) { return nil, &firmware.Missing{} }

// Serve runs the box.
func (*Box) Serve(context.Context, link.Link, link.Link) error { return &firmware.Missing{} }

// Close frees the processors.
func (*Box) Close() error { return nil }
