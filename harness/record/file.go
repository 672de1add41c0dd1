package record

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// JSONSchema describes the form of a record (JSON Schema, draft 2020-12).
//
//go:embed record.schema.json
var JSONSchema []byte

// Write writes the record as indented JSON.
func Write(w io.Writer, r *Record) error {
	if r.Schema != Schema {
		return fmt.Errorf("record: schema is %q, want %q; start a record with New", r.Schema, Schema)
	}
	encoder := json.NewEncoder(w)
	encoder.SetIndent("", "  ")
	if err := encoder.Encode(r); err != nil {
		return fmt.Errorf("record: write: %w", err)
	}
	return nil
}

// MaxSize is the greatest size of a record that is read, in bytes. A run that passes leaves a hundred thousand, one that
// fails everywhere a few million. Our own choice.
const MaxSize = 64 << 20

// Read reads a record. It refuses another schema, fields that it does not know, anything after the record, and more than
// MaxSize. That the numbers and names make sense it does not check.
func Read(r io.Reader) (*Record, error) {
	data, err := io.ReadAll(io.LimitReader(r, MaxSize+1))
	if err != nil {
		return nil, fmt.Errorf("record: read: %w", err)
	}
	if len(data) > MaxSize {
		return nil, fmt.Errorf("record: more than %d bytes, which no record is", MaxSize)
	}
	var version struct {
		Schema string `json:"schema"`
	}
	// Unmarshal, other than a Decoder, also refuses what follows the record.
	if err := json.Unmarshal(data, &version); err != nil {
		return nil, fmt.Errorf("record: read: %w", err)
	}
	if version.Schema != Schema {
		return nil, fmt.Errorf("record: schema is %q, want %q; read it with the version of bufferstop that wrote it",
			version.Schema, Schema)
	}
	decoder := json.NewDecoder(bytes.NewReader(data))
	decoder.DisallowUnknownFields()
	record := new(Record)
	if err := decoder.Decode(record); err != nil {
		return nil, fmt.Errorf("record: read: %w", err)
	}
	return record, nil
}

// Load reads record.json from the directory of a run.
func Load(dir string) (*Record, error) {
	name := filepath.Join(dir, FileName)
	// A named pipe would keep us waiting for its writer.
	if info, err := os.Stat(name); err != nil {
		return nil, fmt.Errorf("record: %w", err)
	} else if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("record: %s is no regular file", name)
	}
	file, err := os.Open(name)
	if err != nil {
		return nil, fmt.Errorf("record: %w", err)
	}
	defer file.Close()
	return Read(file)
}

// Save writes record.json into dir, which it makes if need be. The file is there whole or not at all.
func (r *Record) Save(dir string) error {
	var b bytes.Buffer
	if err := Write(&b, r); err != nil {
		return err
	}
	return SaveFile(dir, FileName, b.Bytes())
}

// SaveFile writes one file of a run's directory, which it makes if need be. The file is written beside its place and
// moved there when it is whole, so that a reader, or a run that is cut short, never leaves half of one.
func SaveFile(dir, name string, data []byte) error {
	return SaveFrom(dir, name, bytes.NewReader(data))
}

// SaveFrom is SaveFile for what comes from a reader, until its end.
func SaveFrom(dir, name string, from io.Reader) (err error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("save %s: %w", name, err)
	}
	temporary, err := os.CreateTemp(dir, "."+name+"-*")
	if err != nil {
		return fmt.Errorf("save %s: %w", name, err)
	}
	defer func() {
		if err != nil {
			temporary.Close()
			os.Remove(temporary.Name())
			err = fmt.Errorf("save %s: %w", name, err)
		}
	}()
	if _, err = io.Copy(temporary, from); err != nil {
		return err
	}
	if err = temporary.Chmod(0o644); err != nil {
		return err
	}
	if err = temporary.Sync(); err != nil {
		return err
	}
	if err = temporary.Close(); err != nil {
		return err
	}
	return os.Rename(temporary.Name(), filepath.Join(dir, name))
}
