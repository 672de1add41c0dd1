package lock

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"time"
	"unicode/utf8"
)

// A Holder is who has a rig, as the file says that other processes read.
type Holder struct {
	Identity string `json:"identity"` // of the rig
	Owner
	Since time.Time `json:"since"`
	Until time.Time `json:"until"` // end of the lease
}

// String names the holder and when it began. All text is quoted: anybody may have written it.
func (h Holder) String() string {
	return fmt.Sprintf("%+q on %+q (process %d, %+.100q) since %s", h.User, h.Host, h.Process, h.Command, clock(h.Since))
}

const (
	maxHolderBytes = 8 << 10 // of the file
	maxText        = 1 << 10 // of one text in it
	// Times outside these years are no times of ours; JSON has a year of four digits.
	firstYear, lastYear = 2000, 9000
)

// write puts the holder into the file, in place: in a directory with the sticky bit nobody can put another file in the
// place of one that is not theirs. A renewal has the same length, so that a reader finds either the old or the new time.
func (h Holder) write(name string) error {
	h.Command = clip(h.Command)
	h.Since, h.Until = h.Since.UTC().Truncate(time.Second), h.Until.UTC().Truncate(time.Second)
	data, err := json.Marshal(h)
	if err != nil {
		return err
	}
	f, err := openExisting(name, os.O_RDWR)
	if err != nil {
		return err
	}
	data = append(data, '\n')
	_, err = f.WriteAt(data, 0)
	return errors.Join(err, f.Truncate(int64(len(data))), f.Close())
}

// empty says that nobody has the rig.
func empty(name string) error {
	f, err := openExisting(name, os.O_RDWR)
	if err != nil {
		return err
	}
	return errors.Join(f.Truncate(0), f.Close())
}

// errEmpty says that nobody left word.
var errEmpty = errors.New("its file is empty")

// readHolder reads who has a rig.
func readHolder(name string) (Holder, error) {
	f, err := openExisting(name, os.O_RDONLY)
	if err != nil {
		return Holder{}, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, maxHolderBytes+1))
	if err != nil {
		return Holder{}, err
	}
	return parseHolder(data)
}

// parseHolder reads what write has written, and refuses what it cannot have written.
func parseHolder(data []byte) (Holder, error) {
	var h Holder
	if len(data) == 0 {
		return h, errEmpty
	}
	if len(data) > maxHolderBytes {
		return h, fmt.Errorf("its file has more than %d bytes", maxHolderBytes)
	}
	decoder := json.NewDecoder(bytes.NewReader(data))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(&h); err != nil {
		return Holder{}, fmt.Errorf("its file is not of ours: %+.100q", err.Error())
	}
	if _, err := decoder.Token(); !errors.Is(err, io.EOF) {
		return Holder{}, errors.New("its file is not of ours: there is more behind the object")
	}
	for _, text := range []string{h.Identity, h.User, h.Host} {
		if text == "" || len(text) > maxText {
			return Holder{}, fmt.Errorf("its file is not of ours: a text of %d bytes, want 1 to %d", len(text), maxText)
		}
	}
	if len(h.Command) > maxText+len(ellipsis) {
		return Holder{}, fmt.Errorf("its file is not of ours: a command of %d bytes", len(h.Command))
	}
	if h.Process <= 0 {
		return Holder{}, fmt.Errorf("its file is not of ours: process %d", h.Process)
	}
	for _, t := range []time.Time{h.Since, h.Until} {
		if t.Year() < firstYear || t.Year() > lastYear {
			return Holder{}, fmt.Errorf("its file is not of ours: the year %d", t.Year())
		}
	}
	return h, nil
}

const ellipsis = "…"

// clip keeps the file small whatever the command line is.
func clip(command string) string {
	if len(command) <= maxText {
		return command
	}
	end := maxText
	for end > 0 && !utf8.RuneStart(command[end]) {
		end--
	}
	return command[:end] + ellipsis
}

// clock prints a time of day with its date where the reader is.
func clock(t time.Time) string { return t.Local().Format("2006-01-02 15:04:05") }

// span prints how long something is ago.
func span(d time.Duration) string { return d.Truncate(time.Second).String() }
