package main

import (
	"io/fs"
	"os"
	"path/filepath"

	"bufferstop/harness/record"
	"bufferstop/harness/report"
)

// prepareOut makes the directory for the reports before anything is started. What an earlier run has left there goes, so
// that nobody takes it for this one's, also when this one is cut short; files of other names stay.
func prepareOut(dir string) error {
	unusable := func(err error) error {
		return &mistake{What: "unusable directory for the reports", Where: "--out", Got: quote(dir) + ", " + reason(err),
			Want: "a directory that can be written", Hint: "choose another with --out DIR"}
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return unusable(err)
	}
	probe, err := os.CreateTemp(dir, ".bufferstop-*")
	if err != nil {
		return unusable(err)
	}
	probe.Close()
	if err := os.Remove(probe.Name()); err != nil {
		return unusable(err)
	}
	if _, err := record.Load(dir); err != nil {
		return nil // no run of ours was here, or not one that we know how to clear
	}
	var old []string
	for _, pattern := range []string{"captures/*.vcd.gz", "captures/*.log.gz"} {
		found, err := fs.Glob(os.DirFS(dir), pattern)
		if err != nil {
			return unusable(err)
		}
		old = append(old, found...)
	}
	for _, name := range append(old, record.FileName, report.HTMLName, report.JUnitName, report.MarkdownName) {
		if err := os.Remove(filepath.Join(dir, filepath.FromSlash(name))); err != nil && !os.IsNotExist(err) {
			return unusable(err)
		}
	}
	return nil
}
