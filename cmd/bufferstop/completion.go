package main

import (
	"github.com/spf13/cobra"
)

func newCompletion() *cobra.Command {
	shells := []string{"bash", "zsh", "fish", "powershell"}
	return &cobra.Command{
		Use:   "completion SHELL",
		Short: "Write the completion script for a shell",
		Long: `completion writes a script that makes the shell complete the verbs and flags of bufferstop, and the names of suites,
requirements and defects. SHELL is bash, zsh, fish or powershell.`,
		Example: `  source <(bufferstop completion bash)
  bufferstop completion zsh > "${fpath[1]}/_bufferstop"
  bufferstop completion fish | source
  bufferstop completion powershell | Out-String | Invoke-Expression`,
		ValidArgs: shells,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 1 {
				return known("unknown shell", cmd.CommandPath(), args[0], shells, "")
			}
			return &mistake{What: "wrong number of shells", Where: cmd.CommandPath(), Got: count(args), Want: oneOf(shells)}
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			root, out := cmd.Root(), cmd.OutOrStdout()
			switch args[0] {
			case "bash":
				return written(root.GenBashCompletionV2(out, true))
			case "zsh":
				return written(root.GenZshCompletion(out))
			case "fish":
				return written(root.GenFishCompletion(out, true))
			}
			return written(root.GenPowerShellCompletionWithDesc(out))
		},
	}
}
