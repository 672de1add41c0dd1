// Package report turns a run record into what people and machines read: a page, a JUnit file, a Markdown summary and
// lines on the console. A report computes nothing that is not in the record, so it can be made again from record.json.
//
//	console := report.Console{Colour: onTerminal}
//	fmt.Fprintln(stdout, console.Line(result)) // as each requirement finishes
//	…
//	run.Conclude(rig.Now(), time.Since(begin), interrupted)
//	fmt.Fprint(stdout, console.Summary(run))
//	err := report.Save(dir, run) // record.json, report.html, junit.xml, summary.md
//
// All text that comes from a station is untrusted and escaped here, everywhere.
package report

import (
	"bytes"
	"io"

	"bufferstop/harness/record"
)

// The names of the reports in the directory of a run.
const (
	HTMLName     = "report.html"
	JUnitName    = "junit.xml"
	MarkdownName = "summary.md"
)

// Save writes the record and every report made from it into dir, which it makes if need be. Each file is there whole or
// not at all; the record is written first, so that it is there even when a report fails.
func Save(dir string, r *record.Record) error {
	if err := r.Save(dir); err != nil {
		return err
	}
	files := []struct {
		name  string
		write func(io.Writer, *record.Record) error
	}{
		{JUnitName, JUnit},
		{MarkdownName, Markdown},
		{HTMLName, HTML},
	}
	for _, file := range files {
		var b bytes.Buffer
		if err := file.write(&b, r); err != nil {
			return err
		}
		if err := record.SaveFile(dir, file.name, b.Bytes()); err != nil {
			return err
		}
	}
	return nil
}
