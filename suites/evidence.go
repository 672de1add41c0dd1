package suites

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/record"
	"bufferstop/harness/signal"
	"bufferstop/suites/examination"
)

// around is how much of the signal before and after a failure is kept: a dozen packets.
const around = 100 * time.Millisecond

// evidenceFolder is the folder of the recordings in the directory of a run.
const evidenceFolder = "captures"

// keepEvidence writes the signal around each failure of a check into the run's directory, one file for failures that lie
// close together, and names the file in them. A failure whose signal is not on tape any more, or whose file cannot be
// written, says so in a note.
func keepEvidence(x *examination.Check, directory string) {
	failures := x.Result.Failures
	files := 0
	for i := range failures {
		if failures[i].Evidence != "" {
			continue
		}
		at := failures[i].At
		from, to := max(0, at-around), at+around
		edges := x.Signal(from, to)
		if len(edges) == 0 {
			x.Note("no recording of the signal at %v is left", at)
			continue
		}
		files++
		name := strings.ReplaceAll(x.Result.Name(), " ", "-")
		if files > 1 {
			name += fmt.Sprintf("-%d", files)
		}
		name += ".vcd.gz"
		data, err := recording(&x.Result, from, at, edges)
		if err == nil {
			err = record.SaveFile(filepath.Join(directory, evidenceFolder), name, data)
		}
		if err != nil {
			x.Note("the recording of the signal at %v could not be kept: %v", at, err)
			continue
		}
		for k := i; k < len(failures); k++ {
			if f := &failures[k]; f.Evidence == "" && f.At >= from && f.At <= to {
				f.Evidence = evidenceFolder + "/" + name
			}
		}
	}
}

// linkLog is the name of the log of the link to the station.
const linkLog = "link.log.gz"

// keepLog writes the log of the link into the run's directory, and names it in the record. link.ReadLog reads it, once it
// is unpacked.
func keepLog(run *record.Record, s *harness.Session, directory string) {
	var packed bytes.Buffer
	zip := gzip.NewWriter(&packed)
	_, err := s.Log().WriteTo(zip)
	if err == nil {
		err = zip.Close()
	}
	if err == nil {
		err = record.SaveFile(filepath.Join(directory, evidenceFolder), linkLog, packed.Bytes())
	}
	if err != nil {
		run.Notes = append(run.Notes, fmt.Sprintf("the log of the link could not be kept: %v", err))
		return
	}
	run.LinkLog = evidenceFolder + "/" + linkLog
}

// adapterLog is the name of what an adapter has said.
const adapterLog = "adapter.log"

// KeepAdapterLog writes what an adapter has said on its standard error into the run's directory, and names the file in a
// note. The run's rig has to be closed before: an adapter may say more until then. It does nothing when there is no text.
func KeepAdapterLog(run *record.Record, directory string, text []byte) {
	if len(text) == 0 {
		return
	}
	note := "what the adapter said on its standard error: " + evidenceFolder + "/" + adapterLog
	if err := record.SaveFile(filepath.Join(directory, evidenceFolder), adapterLog, text); err != nil {
		note = fmt.Sprintf("what the adapter said could not be kept: %v", err)
	}
	run.Notes = append(run.Notes, note)
}

func recording(r *record.Result, from, at time.Duration, edges []signal.Edge) ([]byte, error) {
	var packed bytes.Buffer
	zip := gzip.NewWriter(&packed)
	vcd := signal.NewVCDWriter(zip, "track."+r.Track)
	if err := vcd.Comment(fmt.Sprintf("%s %s: the failure is %v from here, %v from the start of the run", r.Name(), r.Title, at-from, at)); err != nil {
		return nil, err
	}
	for _, e := range edges {
		if err := vcd.Edge(0, signal.Edge{Time: e.Time - from, Level: e.Level}); err != nil {
			return nil, err
		}
	}
	if err := vcd.Close(); err != nil {
		return nil, err
	}
	if err := zip.Close(); err != nil {
		return nil, err
	}
	return packed.Bytes(), nil
}
