package main

import (
	"fmt"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"

	"bufferstop/rigs/processor"
)

func newVersion() *cobra.Command {
	return &cobra.Command{
		Use:     "version",
		Short:   "Say which bufferstop this is",
		Example: "  bufferstop version",
		Args:    noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error {
			text := fmt.Sprintf("bufferstop %s\n%s %s/%s\n", version(), runtime.Version(), runtime.GOOS, runtime.GOARCH)
			if processor.Simulator != "" {
				text += fmt.Sprintf("with %s, which is under the GNU General Public License, version 3, and so is this binary\n", processor.Simulator)
			}
			_, err := fmt.Fprint(cmd.OutOrStdout(), text)
			return written(err)
		},
	}
}

// version is the version of the module and the revision that it was built from, as far as the build knows them.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "of unknown version"
	}
	text := info.Main.Version
	if text == "" {
		text = "(devel)"
	}
	settings := map[string]string{}
	for _, s := range info.Settings {
		settings[s.Key] = s.Value
	}
	if revision := settings["vcs.revision"]; revision != "" {
		text += " revision " + revision
		if settings["vcs.modified"] == "true" {
			text += " with changes"
		}
	}
	return text
}
