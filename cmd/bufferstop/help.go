package main

import (
	"github.com/spf13/cobra"
)

func newHelp() *cobra.Command {
	return &cobra.Command{
		Use:     "help [VERB]",
		Short:   "Explain a verb, with examples",
		Example: "  bufferstop help run",
		ValidArgsFunction: func(cmd *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
			if len(args) > 0 {
				return nil, cobra.ShellCompDirectiveNoFileComp
			}
			return verbNames(cmd.Root()), cobra.ShellCompDirectiveNoFileComp
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			root := cmd.Root()
			if len(args) == 0 {
				return root.Help()
			}
			if err := known("unknown verb", cmd.CommandPath(), args[0], verbNames(root), ""); err != nil {
				return err
			}
			verb, _, err := root.Find(args[:1])
			if err != nil {
				return err
			}
			verb.InitDefaultHelpFlag() // as when it is asked for with --help
			return verb.Help()
		},
	}
}
