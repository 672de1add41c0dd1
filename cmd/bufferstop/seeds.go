package main

import (
	"github.com/spf13/cobra"

	"bufferstop/rigs/simulated"
)

// What the simulated station is made to be by --defect and --habit.

// habitFlag adds --habit to a verb.
func (r *rigFlags) habitFlag(cmd *cobra.Command) {
	cmd.Flags().StringVar(&r.habit, "habit", "", "give the simulated station the habit of this `NAME`: it is legal, and not like others")
	complete(cmd, "habit", habitNames())
}

// seeds refuses what nobody knows.
func (r *rigFlags) seeds() error {
	if r.habit != "" {
		if err := known("unknown habit", "--habit", r.habit, habitNames(), ""); err != nil {
			return err
		}
	}
	if r.defect == "" {
		return nil
	}
	if err := known("unknown defect", "--defect", r.defect, defectNames(), "bufferstop defects lists them"); err != nil {
		return err
	}
	if d, err := simulated.Find(r.defect); err == nil && d.Habit() != "" && r.habit != "" && r.habit != d.Habit() {
		return &mistake{What: "a defect of other stations", Where: "--defect", Got: quote(r.defect) + " and --habit " + quote(r.habit),
			Want: "--habit " + d.Habit() + ", or none", Hint: "it is one that only these can have"}
	}
	return nil
}

// noHabit refuses a habit where the station is not the simulated one of a simulated rig.
func (r *rigFlags) noHabit() error {
	if r.habit == "" {
		return nil
	}
	return &mistake{What: "a station that has its own habits", Where: "--habit", Got: quote(r.habit), Want: "a rig of the kind \"simulated\"",
		Hint: "without --rig it is one"}
}

func habitNames() (names []string) {
	for _, h := range simulated.Habits() {
		names = append(names, h.Name)
	}
	return names
}
