package main

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"bufferstop/harness/verdict"
	files "bufferstop/harness/written"
)

// newRoot builds the command with all its verbs. Nothing is kept between two of them, so that a process can run several.
func newRoot() *cobra.Command {
	root := &cobra.Command{
		Use:   "bufferstop",
		Short: "Prove a DCC command station on the bench before it is trusted with a layout",
		Long: `bufferstop examines a model-railway DCC command station on its two tracks: the signal and the packets that it sends,
what it does in service mode on the programming track, and what it does when too much current flows.

It comes with a simulated rig, so that everything here works with nothing attached.`,
		Example: `  bufferstop run                         examine the simulated reference station
  bufferstop run --defect slow-crystal   the same station with a defect, to see it caught
  bufferstop talk                        try a station by hand, the simulated one without --link
  bufferstop decode layout.vcd.gz        read what was recorded on a track
  bufferstop judge layout.vcd.gz         judge it`,
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          cobra.ArbitraryArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				fmt.Fprint(cmd.ErrOrStderr(), cmd.UsageString())
				return exit{code: verdict.ExitUsage}
			}
			return known("unknown verb", cmd.CommandPath(), args[0], verbNames(cmd), "bufferstop help shows what each does")
		},
	}
	root.CompletionOptions.DisableDefaultCmd = true // ours refuses a shell that it does not know
	root.SetHelpCommand(newHelp())
	root.SetFlagErrorFunc(flagMistake)
	colour := choice{value: "auto", from: []string{"auto", "always", "never"}}
	root.PersistentFlags().Var(&colour, "color", "colour in the output: auto, always or never")
	complete(root, "color", colour.from)
	root.AddCommand(newRun(), newMerge(), newJudge(), newDecode(), newRequirements(), newDefects(), newDialect(), newPorts(), newRig(), newSimulate(), newTalk(), newWatch(), newVersion(), newCompletion())
	return root
}

func verbNames(root *cobra.Command) []string {
	var names []string
	for _, c := range root.Commands() {
		if c.IsAvailableCommand() {
			names = append(names, c.Name())
		}
	}
	return names
}

// flagMistake words what pflag could not read.
func flagMistake(cmd *cobra.Command, err error) error {
	var unknown *pflag.NotExistError
	var missing *pflag.ValueRequiredError
	var invalid *pflag.InvalidValueError
	var inner *mistake
	help := fmt.Sprintf("%s --help shows the flags", cmd.CommandPath())
	switch {
	case errors.As(err, &unknown):
		name := unknown.GetSpecifiedName()
		if short := unknown.GetSpecifiedShortnames(); short != "" {
			return &mistake{What: "unknown flag", Where: cmd.CommandPath(), Got: quote("-" + name), Hint: help}
		}
		var flags []string
		add := func(f *pflag.Flag) { flags = append(flags, f.Name) }
		cmd.Flags().VisitAll(add)
		cmd.InheritedFlags().VisitAll(add)
		hint := help
		if near := files.Nearest(name, flags); near != "" {
			hint = "did you mean --" + near + "?"
		}
		return &mistake{What: "unknown flag", Where: cmd.CommandPath(), Got: quote("--" + name), Hint: hint}
	case errors.As(err, &missing):
		return &mistake{What: "flag without its value", Where: "--" + missing.GetSpecifiedName(), Got: "nothing",
			Want: wantedBy(missing.GetFlag()), Hint: help}
	case errors.As(err, &invalid) && errors.As(err, &inner):
		inner.Where = "--" + invalid.GetFlag().Name
		return inner
	case errors.As(err, &invalid):
		return &mistake{What: "unreadable value", Where: "--" + invalid.GetFlag().Name, Got: quote(invalid.GetValue()),
			Want: wantedBy(invalid.GetFlag()), Hint: help}
	}
	return &mistake{What: err.Error(), Where: cmd.CommandPath(), Hint: help}
}

// wantedBy is the value that a flag takes, as its help names it: FILE, NUMBER.
func wantedBy(f *pflag.Flag) string {
	name, _ := pflag.UnquoteUsage(f)
	return name
}

// noArguments refuses what stands behind a verb that takes flags only.
func noArguments(cmd *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	return &mistake{What: "unexpected argument", Where: cmd.CommandPath(), Got: quote(args[0]), Want: "flags only",
		Hint: cmd.CommandPath() + " --help shows what it takes"}
}

// A choice is a flag with one value of a few.
type choice struct {
	value string
	from  []string
}

func (c *choice) String() string { return c.value }
func (c *choice) Type() string   { return strings.Join(c.from, "|") }
func (c *choice) Set(text string) error {
	if !slices.Contains(c.from, text) {
		return &mistake{What: "unknown value", Got: quote(text), Want: oneOf(c.from), Hint: didYouMean(text, c.from, "")}
	}
	c.value = text
	return nil
}

// formatFlag adds --format to a verb that can write its result as text or as JSON.
func formatFlag(cmd *cobra.Command) *choice {
	c := &choice{value: "text", from: []string{"text", "json"}}
	choiceFlag(cmd, c, "format", "text to read, or json to process")
	return c
}

func choiceFlag(cmd *cobra.Command, c *choice, name, usage string) {
	cmd.Flags().Var(c, name, usage)
	complete(cmd, name, c.from)
}

// complete offers words to the shell as values of a flag.
func complete(cmd *cobra.Command, flag string, words []string) {
	err := cmd.RegisterFlagCompletionFunc(flag, cobra.FixedCompletions(words, cobra.ShellCompDirectiveNoFileComp))
	if err != nil { // only when the flag does not exist
		panic(err)
	}
}
