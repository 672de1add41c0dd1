package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"bufferstop/rigs/simulated"
)

func newDefects() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "defects",
		Short: "List the defects that can be seeded into the simulated station",
		Long: `defects lists the ways in which the simulated station can be made to go wrong, as real firmware does, and the
requirements that each of them breaks. They show what the suites are worth: run --defect NAME must not pass.`,
		Example: `  bufferstop defects
  bufferstop defects --format json`,
		Args: noArguments,
	}
	format := formatFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		list := listDefects()
		if format.value == "json" {
			return written(writeJSON(cmd.OutOrStdout(), list))
		}
		_, err := fmt.Fprint(cmd.OutOrStdout(), printDefects(list, screenFor(cmd)))
		return written(err)
	}
	return cmd
}

// A listedDefect is a seeded defect as --format json tells it.
type listedDefect struct {
	Name    string   `json:"name"`
	Summary string   `json:"summary"` // what it does
	Breaks  []string `json:"breaks"`  // ids of requirements
}

func listDefects() []listedDefect {
	var list []listedDefect
	for _, d := range simulated.Defects() {
		list = append(list, listedDefect{Name: d.Name, Summary: d.Summary, Breaks: d.Breaks})
	}
	return list
}

func printDefects(list []listedDefect, s screen) string {
	width := 0
	for _, d := range list {
		width = max(width, len(d.Name))
	}
	var b strings.Builder
	for _, d := range list {
		name := s.paint(bold, fmt.Sprintf("%-*s", width, d.Name))
		fmt.Fprintf(&b, "%s  %s\n", name, s.wrap(d.Summary, width+2))
		fmt.Fprintf(&b, "%*s%s\n", width+2, "", s.paint(dim, "breaks "+strings.Join(d.Breaks, ", ")))
	}
	fmt.Fprintf(&b, "\n%d defects\n", len(list))
	return b.String()
}

func defectNames() []string {
	var names []string
	for _, d := range simulated.Defects() {
		names = append(names, d.Name)
	}
	return names
}
