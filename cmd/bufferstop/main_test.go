package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"bufferstop/rigs/processor"
	"github.com/stretchr/testify/require"

	"bufferstop/rigs"
)

// The scripts run the test binary under the name of the program, so that what they see is what a user sees: exit codes,
// signals, pipes.
func TestMain(m *testing.M) {
	testscript.Main(ownLocks{m}, map[string]func(){"bufferstop": main, "stubborn": stubborn})
}

// ownLocks runs the tests with locks of their own, so that neither another run of them nor one that was killed is in their way.
type ownLocks struct{ *testing.M }

func (o ownLocks) Run() int {
	locks, err := os.MkdirTemp("", "locks")
	if err != nil {
		panic(err)
	}
	defer os.RemoveAll(locks)
	if err := os.Setenv(locksVariable, locks); err != nil {
		panic(err)
	}
	return o.M.Run()
}

func TestScripts(t *testing.T) {
	captures, err := filepath.Abs("../../../shared/captures")
	require.NoError(t, err)
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		Setup: func(e *testscript.Env) error {
			e.Setenv("CAPTURES", captures)
			dialect, err := rigs.Files.ReadFile("reference.dialect.toml")
			if err != nil {
				return err
			}
			if err := os.MkdirAll(e.Getenv("WORK")+"/mine", 0o755); err != nil {
				return err
			}
			if err := os.WriteFile(e.Getenv("WORK")+"/mine/my.dialect.toml", dialect, 0o600); err != nil {
				return err
			}
			e.Setenv("NO_COLOR", "")
			e.Setenv(locksVariable, e.Getenv("WORK")+"/locks")
			return nil
		},
		Condition: func(name string) (bool, error) {
			if name == "simavr" {
				return processor.Simulator != "", nil
			}
			if name != "captures" {
				return false, &unknownCondition{name}
			}
			_, err := os.Stat(captures)
			return err == nil, nil
		},
		Cmds: scriptCommands,
	})
}

// stubborn waits for ever, whatever happens to its context, as a rig that hangs does.
func stubborn() {
	ctx, interrupts := catchInterrupts(context.Background(), os.Stderr)
	interrupts.reclaim()
	fmt.Println("ready")
	<-ctx.Done()
	interrupts.reclaim()
	fmt.Println("interrupted")
	time.Sleep(time.Hour)
}
