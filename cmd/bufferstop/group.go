package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"bufferstop/harness/verdict"
)

// group makes a verb of others, such as dialect of dialect check and dialect new. By itself it does nothing.
func group(cmd *cobra.Command, of ...*cobra.Command) *cobra.Command {
	cmd.Args = cobra.ArbitraryArgs
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if len(args) == 0 {
			fmt.Fprint(cmd.ErrOrStderr(), cmd.UsageString())
			return exit{code: verdict.ExitUsage}
		}
		return known("unknown verb", cmd.CommandPath(), args[0], verbNames(cmd), "bufferstop help "+cmd.Name()+" shows what each does")
	}
	cmd.AddCommand(of...)
	return cmd
}
