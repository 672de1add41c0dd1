package main

import (
	"fmt"
	"os"
	"path/filepath"

	"bufferstop/harness/record"
)

// A probeStream is the file in which the raw stream of a probe is kept.
type probeStream struct {
	name string // as asked for
	path string
	file *os.File
	err  error // the first of writing
}

// streamIn says where a stream is kept: a bare name among the captures of the run, anything else where it says.
func streamIn(out, name string) *probeStream {
	if name == "" {
		return nil
	}
	s := &probeStream{name: name, path: name}
	if filepath.Base(name) == name {
		s.path = filepath.Join(out, capturesFolder, name)
	}
	return s
}

// capturesFolder is where a run keeps its recordings: see suites.
const capturesFolder = "captures"

func (s *probeStream) wanted() bool { return s != nil }

// create makes the file, in place of an earlier one, unless it is one that is read.
func (s *probeStream) create(read func(os.FileInfo) bool) error {
	unusable := func(err error) error {
		return &mistake{What: "unusable file for the stream of the probe", Where: "--record", Got: quote(s.name) + ", " + reason(err),
			Want: "a file that can be written"}
	}
	if there, err := os.Stat(s.path); err == nil && read(there) {
		return &mistake{What: "unusable file for the stream of the probe", Where: "--record", Got: quote(s.name) + ", a file of the rig",
			Want: "another file"}
	}
	if err := os.MkdirAll(filepath.Dir(s.path), 0o755); err != nil {
		return unusable(err)
	}
	file, err := os.Create(s.path)
	if err != nil {
		return unusable(err)
	}
	s.file = file
	return nil
}

// Write keeps a piece of the stream.
func (s *probeStream) Write(p []byte) (int, error) {
	n, err := s.file.Write(p)
	if err != nil && s.err == nil {
		s.err = err
	}
	return n, err
}

// close ends the file, once the rig is closed, and notes it in the record of the run.
func (s *probeStream) close(run *record.Record) {
	if s == nil || s.file == nil {
		return
	}
	err := s.file.Close()
	s.file = nil
	if s.err != nil {
		err = s.err
	}
	if run == nil {
		return
	}
	where := s.path
	if filepath.Base(s.name) == s.name {
		where = capturesFolder + "/" + s.name
	}
	note := "the raw stream of the probe: " + where
	if err != nil {
		note = fmt.Sprintf("the raw stream of the probe could not be kept: %v", err)
	}
	run.Notes = append(run.Notes, note)
}

// noStream refuses to record what is not there.
func noStream(name, rig string) error {
	return &mistake{What: "no probe whose stream could be recorded", Where: "--record", Got: quote(name),
		Want: "a bench with a probe that has a stream", Hint: "a table [probe] in " + quote(rig) + ", whose link is neither sigrok: nor file:"}
}
