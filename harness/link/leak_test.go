package link_test

import (
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

// noLeak fails the test when a goroutine of this package is still there a while after its cleanups. Call it first.
func noLeak(t *testing.T) {
	t.Helper()
	t.Cleanup(func() {
		var left []string
		for end := time.Now().Add(5 * time.Second); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
			if left = ours(); len(left) == 0 {
				return
			}
		}
		assert.Empty(t, left, "goroutines left behind")
	})
}

// ours are the stacks of all goroutines that run code of this package, but for tests and benchmarks.
func ours() (stacks []string) {
	buf := make([]byte, 1<<20)
	for _, stack := range strings.Split(string(buf[:runtime.Stack(buf, true)]), "\n\n") {
		if strings.Contains(stack, "bufferstop/harness/link") && !strings.Contains(stack, "testing.tRunner") {
			stacks = append(stacks, stack)
		}
	}
	return stacks
}
