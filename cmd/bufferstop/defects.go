package main

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"bufferstop/rigs/simulated"
)

func newDefects() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "defects [NAME...]",
		Short: "List the defects that can be seeded into the simulated station",
		Long: `defects lists the ways in which the simulated station can be made to go wrong, as real firmware does, and the
requirements that each of them breaks. They show what the suites are worth: run --defect NAME must not pass. A defect that only stations
with some habit can have comes with such a station: one with cutouts, or one that stays off after a trip.

--matrix runs all suites with each defect, or with those that are named, and tells which requirement caught which. The exit
code is 1 when a defect is missed by a requirement that it is meant to break, or trips one that the catalogue does not say
to be implied, and when a requirement has no defect that breaks it.`,
		Example: `  bufferstop defects
  bufferstop defects --format json
  bufferstop defects --matrix`,
		ValidArgs: defectNames(),
	}
	format := formatFlag(cmd)
	matrix := cmd.Flags().Bool("matrix", false, "run the suites with each defect, and tell which requirement caught which")
	one := cmd.Flags().Bool(recordFlag, false, "write the record of a run with one defect")
	if err := cmd.Flags().MarkHidden(recordFlag); err != nil { // only when the flag does not exist
		panic(err)
	}
	cmd.RunE = func(cmd *cobra.Command, names []string) error {
		chosen, err := chosenDefects(names)
		switch {
		case err != nil:
			return err
		case *one:
			return recordDefect(cmd, chosen[0].Name)
		case *matrix:
			return runMatrix(cmd, chosen, format.value)
		}
		list := listDefects(chosen)
		if format.value == "json" {
			return written(writeJSON(cmd.OutOrStdout(), list))
		}
		text := printDefects(list, screenFor(cmd))
		if len(names) == 0 {
			text += printHabits(screenFor(cmd))
		}
		_, err = fmt.Fprint(cmd.OutOrStdout(), text)
		return written(err)
	}
	return cmd
}

// A listedDefect is a seeded defect as --format json tells it.
type listedDefect struct {
	Name    string   `json:"name"`
	Summary string   `json:"summary"` // what it does
	Breaks  []string `json:"breaks"`  // ids of requirements

	Habit string `json:"habit,omitempty"` // of the stations that can have it
}

// chosenDefects are the defects of the names, in the order of the catalogue, or all.
func chosenDefects(names []string) ([]simulated.Defect, error) {
	all := simulated.Defects()
	if len(names) == 0 {
		return all, nil
	}
	for _, name := range names {
		if err := known("unknown defect", "bufferstop defects", name, defectNames(), "bufferstop defects lists them"); err != nil {
			return nil, err
		}
	}
	return slices.DeleteFunc(all, func(d simulated.Defect) bool { return !slices.Contains(names, d.Name) }), nil
}

func listDefects(defects []simulated.Defect) []listedDefect {
	var list []listedDefect
	for _, d := range defects {
		list = append(list, listedDefect{Name: d.Name, Summary: d.Summary, Breaks: d.Breaks, Habit: d.Habit()})
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
		breaks := "breaks " + strings.Join(d.Breaks, ", ")
		if d.Habit != "" {
			breaks += "; of a station with the habit " + d.Habit
		}
		fmt.Fprintf(&b, "%*s%s\n", width+2, "", s.paint(dim, breaks))
	}
	fmt.Fprintf(&b, "\n%s\n", plural(len(list), "defect"))
	return b.String()
}

// printHabits lists what is no defect.
func printHabits(s screen) string {
	var b strings.Builder
	b.WriteString("\nHabits are no defects, though not every station has them: run --habit NAME has to pass.\n")
	width := 0
	for _, name := range habitNames() {
		width = max(width, len(name))
	}
	for _, h := range simulated.Habits() {
		fmt.Fprintf(&b, "%s  %s\n", s.paint(bold, fmt.Sprintf("%-*s", width, h.Name)), s.wrap(h.Summary, width+2))
	}
	return b.String()
}

func defectNames() []string {
	var names []string
	for _, d := range simulated.Defects() {
		names = append(names, d.Name)
	}
	return names
}
