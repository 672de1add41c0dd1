package main

import (
	"github.com/spf13/cobra"
)

func newHelp() *cobra.Command {
	return &cobra.Command{
		Use:     "help [VERB...]",
		Short:   "Explain a verb, with examples",
		Example: "  bufferstop help run",
		ValidArgsFunction: func(cmd *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
			verb, _, err := cmd.Root().Find(args)
			if err != nil {
				return nil, cobra.ShellCompDirectiveNoFileComp
			}
			return verbNames(verb), cobra.ShellCompDirectiveNoFileComp
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			verb := cmd.Root()
			if len(args) == 0 {
				return verb.Help()
			}
			for _, name := range args {
				if len(verbNames(verb)) == 0 {
					break // what follows a verb without others is an argument of its own
				}
				if err := known("unknown verb", cmd.CommandPath(), name, verbNames(verb), ""); err != nil {
					return err
				}
				verb, _, _ = verb.Find([]string{name})
			}
			verb.InitDefaultHelpFlag() // as when it is asked for with --help
			return verb.Help()
		},
	}
}
