package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
)

// dialectLimit is more than any dialect has, in bytes: what is longer is cut, and refused when it is read.
const dialectLimit = 4 << 20

func newDialectCheck() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "check FILE",
		Short: "Say what is wrong or unwise in a dialect, and play its examples",
		Long: `check reads a dialect (- is standard input), plays each [[example]] in it as the harness would, and remarks on what is legal
and unwise. A line for each example, then the remarks with their places.

Exit codes: 0 all examples come out as they say, with or without remarks; 2 the file cannot be used, or an example comes
out otherwise.`,
		Example: `  bufferstop dialect check my.dialect.toml
  bufferstop dialect check --format json my.dialect.toml
  bufferstop dialect new | bufferstop dialect check -`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 1 {
				return nil
			}
			return &mistake{What: "wrong number of files", Where: cmd.CommandPath(), Got: count(args), Want: "1",
				Hint: cmd.CommandPath() + " FILE reads a dialect, - reads standard input"}
		},
	}
	format := formatFlag(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		name, data, err := readDialect(args[0], cmd.InOrStdin())
		if err != nil {
			return fileMistake(err)
		}
		d, err := station.ParseDialect(name, data)
		if err != nil {
			return fileMistake(err)
		}
		result := checkDialect(name, d)
		if format.value == "json" {
			err = writeJSON(cmd.OutOrStdout(), result)
		} else {
			_, err = io.WriteString(cmd.OutOrStdout(), result.print(screenFor(cmd)))
		}
		if err != nil {
			return written(err)
		}
		if result.wrong() > 0 {
			return exit{code: verdict.ExitUsage}
		}
		return nil
	}
	return cmd
}

// readDialect reads a file or standard input, and names it as errors are to call it.
func readDialect(file string, stdin io.Reader) (name string, data []byte, err error) {
	if file == "-" {
		data, err = io.ReadAll(io.LimitReader(stdin, dialectLimit))
		return "standard input", data, err
	}
	f, err := os.Open(file)
	if err != nil {
		return file, nil, err
	}
	data, err = io.ReadAll(io.LimitReader(f, dialectLimit))
	return file, data, errors.Join(err, f.Close())
}

// A dialectCheck is what dialect check found, as --format json tells it.
type dialectCheck struct {
	File       string           `json:"file"`
	Name       string           `json:"name"`
	Operations []string         `json:"operations"`
	Examples   []checkedExample `json:"examples"`
	Remarks    []dialectRemark  `json:"remarks"`
}

type checkedExample struct {
	Line    int    `json:"line"`
	Example string `json:"example"`
	Problem string `json:"problem,omitempty"` // empty when it comes out as it says
}

type dialectRemark struct {
	Line   int    `json:"line,omitempty"`
	Column int    `json:"column,omitempty"`
	What   string `json:"what"`
}

func checkDialect(name string, d *station.Dialect) *dialectCheck {
	c := &dialectCheck{File: name, Name: d.Name(), Operations: []string{}, Examples: []checkedExample{}, Remarks: []dialectRemark{}}
	for _, o := range d.Operations() {
		c.Operations = append(c.Operations, string(o))
	}
	for _, r := range d.CheckExamples() {
		c.Examples = append(c.Examples, checkedExample(r))
	}
	for _, r := range d.Review() {
		c.Remarks = append(c.Remarks, dialectRemark{r.Line, r.Column, r.What})
	}
	return c
}

func (c *dialectCheck) wrong() int {
	n := 0
	for _, e := range c.Examples {
		if e.Problem != "" {
			n++
		}
	}
	return n
}

// print sets a line for each example and remark, and the sum of it.
func (c *dialectCheck) print(s screen) string {
	const indent = 8
	var b strings.Builder
	for _, e := range c.Examples {
		word := fmt.Sprintf("%-*s", indent, "ok")
		if e.Problem != "" {
			word = s.paint(red, fmt.Sprintf("%-*s", indent, "wrong"))
		}
		fmt.Fprintf(&b, "%s%s:%d: %s\n", word, c.File, e.Line, harmless(e.Example))
		if e.Problem != "" {
			fmt.Fprintf(&b, "%*s%s\n", indent, "", s.wrap(harmless(e.Problem), indent))
		}
	}
	for _, r := range c.Remarks {
		place := c.File
		if r.Line > 0 {
			place = fmt.Sprintf("%s:%d:%d", c.File, r.Line, r.Column)
		}
		fmt.Fprintf(&b, "%-*s%s\n", indent, "remark", s.wrap(place+": "+harmless(r.What), indent))
	}
	if len(c.Examples)+len(c.Remarks) > 0 {
		b.WriteByte('\n')
	}
	examples := plural(len(c.Examples), "example")
	switch n := c.wrong(); {
	case n > 0:
		examples += fmt.Sprintf(", %d wrong", n)
	case len(c.Examples) > 0:
		examples += ", all as they say"
	}
	fmt.Fprintf(&b, "dialect %+q: %s; %s; %s\n", c.Name, plural(len(c.Operations), "operation"), examples, plural(len(c.Remarks), "remark"))
	return b.String()
}
