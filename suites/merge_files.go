package suites

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"

	"bufferstop/harness/record"
)

// A keptFile is a file of a part that goes into the directory of the merged run. Names are relative, with forward slashes.
type keptFile struct {
	part     Part
	from, to string
}

// keep notes the files that a part has: its recordings, whose names tell the requirement and so do not clash, and its log of
// the link, whose new name it returns.
func (m *Merged) keep(p Part) (log string) {
	noted := map[string]bool{}
	for _, r := range p.Record.Results {
		for _, f := range r.Failures {
			if f.Evidence != "" && !noted[f.Evidence] {
				noted[f.Evidence] = true
				m.files = append(m.files, keptFile{p, f.Evidence, p.evidence(r.ID, f.Evidence)})
			}
		}
	}
	if p.Record.LinkLog == "" {
		return ""
	}
	shard := p.Record.Selection.Shard
	log = evidenceFolder + "/" + strings.Replace(linkLog, ".", fmt.Sprintf("-%d.", shard), 1)
	m.files = append(m.files, keptFile{p, p.Record.LinkLog, log})
	return log
}

// open opens the file where it is; one that lies outside the directory of its part, through links, is not opened.
func (f keptFile) open() (fs.File, error) {
	root, err := os.OpenRoot(f.part.Directory)
	if err != nil {
		return nil, err
	}
	defer root.Close()
	info, err := root.Stat(filepath.FromSlash(f.from)) // a named pipe would keep us waiting for its writer
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, &fs.PathError{Op: "open", Path: f.from, Err: fs.ErrInvalid}
	}
	return root.Open(filepath.FromSlash(f.from))
}

// Check finds out whether the files that the parts name are there. The error is a *MergeError.
func (m *Merged) Check() error {
	for _, f := range m.files {
		file, err := f.open()
		if err != nil {
			got := err.Error()
			var unreadable *fs.PathError
			if errors.As(err, &unreadable) {
				got = unreadable.Err.Error()
			}
			return &MergeError{What: "a file of a part is not there", File: filepath.Join(f.part.Directory, filepath.FromSlash(f.from)),
				Got: got, Want: "the file that " + f.part.file() + " names", Hint: "keep the whole directory that run has written"}
		}
		file.Close()
	}
	return nil
}

// Keep copies the files into the directory of the merged run.
func (m *Merged) Keep(directory string) error {
	for _, f := range m.files {
		file, err := f.open()
		if err != nil {
			return fmt.Errorf("keeping a file of %s: %w", f.part.shard(), err)
		}
		err = record.SaveFrom(filepath.Join(directory, evidenceFolder), path.Base(f.to), file)
		file.Close()
		if err != nil {
			return err
		}
	}
	return nil
}
