//go:build !simavr

package box

import (
	"testing"

	"bufferstop/rigs/firmware"

	"github.com/stretchr/testify/require"
)

func TestWithoutTheSimulatorThereIsNoBox(t *testing.T) {
	_, err := Open(Options{})
	var missing *firmware.Missing
	require.ErrorAs(t, err, &missing)
	require.NotEmpty(t, missing.Hint())
}
