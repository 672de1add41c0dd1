package main

import (
	"fmt"
	"regexp"
	"strconv"

	"bufferstop/suites"
)

// A shardFlag is the value of --shard: part I of N, written I/N. The zero value is the whole.
type shardFlag struct{ part, of int }

func (f *shardFlag) String() string {
	if f.of == 0 {
		return ""
	}
	return fmt.Sprintf("%d/%d", f.part, f.of)
}

func (f *shardFlag) Type() string { return "I/N" }

var shardForm = regexp.MustCompile(`^([0-9]{1,3})/([0-9]{1,3})$`)

func (f *shardFlag) Set(text string) error {
	want := fmt.Sprintf("I/N, part I of N, N at most %d", suites.MaxShards)
	m := shardForm.FindStringSubmatch(text)
	if m == nil {
		return &mistake{What: "unreadable part", Got: quote(text), Want: want, Hint: "the first of two parts is --shard 1/2"}
	}
	part, _ := strconv.Atoi(m[1]) // three digits
	of, _ := strconv.Atoi(m[2])
	if part < 1 || part > of || of > suites.MaxShards {
		return &mistake{What: "no such part", Got: quote(text), Want: want, Hint: "parts count from 1: the first of two is --shard 1/2"}
	}
	f.part, f.of = part, of
	return nil
}

// empty words that a selection has no such part.
func (f *shardFlag) empty(e *suites.ShardError) error {
	return &mistake{What: "nothing to check", Where: "--shard", Got: quote(f.String()) + ", which has no requirement",
		Want: plural(e.Parts, "part") + " at most", Hint: "requirements that look at one exercise of the station stay together"}
}
