package review

import (
	"cmp"
	"errors"
	"slices"

	"bufferstop/harness/station"
	"bufferstop/suites/catalogue"
)

// Station reviews a station file. What is wrong comes back as *station.FileError, joined, in the order of their places.
func Station(f *station.File) error {
	r := &reviewer{File: f}
	r.features()
	r.editions()
	r.contradictions()
	r.sayable()
	r.patience()
	r.sums()
	return r.err()
}

// Editions is the part of the review without which nobody can be judged: every edition that the file names is one of the catalogue.
func Editions(f *station.File) error {
	r := &reviewer{File: f}
	r.editions()
	return r.err()
}

// err joins what is wrong.
func (r *reviewer) err() error {
	slices.SortStableFunc(r.problems, func(a, b *station.FileError) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
	var all []error
	for _, p := range r.problems {
		all = append(all, p)
	}
	return errors.Join(all...)
}

// Observations are the mandatory features that a station lacks by its own word, each with where it is asked for.
func Observations(f *station.File) []string {
	var all []string
	for _, feature := range catalogue.Features() {
		if slices.Contains(f.Claims.Lacks, feature.Name) {
			all = append(all, "it lacks "+feature.Name+", which "+feature.Source+" makes mandatory")
		}
	}
	return all
}

// A reviewer gathers what is wrong.
type reviewer struct {
	*station.File
	problems []*station.FileError
}

// wrong notes a problem at a key.
func (r *reviewer) wrong(key, got, want, hint string) {
	r.problems = append(r.problems, r.Problem(key, got, want, hint))
}
