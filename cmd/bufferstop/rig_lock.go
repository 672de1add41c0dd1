package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"bufferstop/harness/verdict"
	"bufferstop/rigs/lock"
)

// locksVariable is the environment variable that names another directory for the locks of rigs, where the processes of a
// machine do not share the usual one, as in containers.
const locksVariable = "BUFFERSTOP_LOCKS"

// claimRig takes a rig for this process, or says who has it.
func claimRig(ctx context.Context, cmd *cobra.Command, identities ...string) (*lock.Lock, error) {
	directory := lock.Machine()
	if named := os.Getenv(locksVariable); named != "" {
		directory = lock.Directory(named)
	}
	l, err := directory.Acquire(ctx, lock.Self(commandLine(cmd)), identities...)
	var held *lock.Held
	if errors.As(err, &held) {
		return nil, busy(held)
	}
	if err != nil {
		return nil, exit{verdict.ExitFault, err}
	}
	for _, stale := range l.Stale() {
		fmt.Fprintf(cmd.ErrOrStderr(), "bufferstop: %s; taken over\n", stale)
	}
	return l, nil
}

// busy words who has a rig.
func busy(held *lock.Held) error {
	m := &mistake{What: "the rig is busy", Where: fmt.Sprintf("%+q", held.Identity), Want: "a rig that nobody uses",
		Hint: "wait until that run has ended"}
	switch {
	case held.Holder == nil:
		m.Got = "one held by a process that does not say who it is: " + held.Unknown.Error()
	case held.Overdue():
		m.Got = fmt.Sprintf("one held by %s, %s", held.Holder, held.Lease())
		m.Hint = fmt.Sprintf("process %d may be stopped or hang; see what it does, and end it if need be", held.Holder.Process)
	default:
		m.Got = fmt.Sprintf("one held by %s, %s", held.Holder, held.Lease())
		m.Hint += fmt.Sprintf(", or end process %d", held.Holder.Process)
	}
	return exit{verdict.ExitBusy, m}
}

// commandLine is what the user asked for, to be shown to others.
func commandLine(cmd *cobra.Command) string {
	words := []string{cmd.CommandPath()}
	cmd.Flags().Visit(func(f *pflag.Flag) { words = append(words, "--"+f.Name, shellWord(f.Value.String())) })
	return strings.Join(words, " ")
}
