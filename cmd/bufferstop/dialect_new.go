package main

import (
	"errors"
	"io/fs"
	"os"

	"github.com/spf13/cobra"

	"bufferstop/rigs"
)

// newDialectFile is the file in rigs.Files that dialect new writes.
const newDialectFile = "new.dialect.toml"

func newDialectNew() *cobra.Command {
	return &cobra.Command{
		Use:   "new [FILE]",
		Short: "Write a dialect with comments, to start from",
		Long: `new writes a dialect for a made-up station, with a comment on every key, into FILE, or to standard output without one. A
file that exists is left alone.`,
		Example: `  bufferstop dialect new my.dialect.toml
  bufferstop dialect new | bufferstop dialect check -`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) > 1 {
				return &mistake{What: "wrong number of files", Where: cmd.CommandPath(), Got: count(args), Want: "one, or none for standard output"}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			text, err := rigs.Files.ReadFile(newDialectFile)
			if err != nil {
				return err
			}
			if len(args) == 0 || args[0] == "-" {
				_, err := cmd.OutOrStdout().Write(text)
				return written(err)
			}
			return writeNew(args[0], text)
		},
	}
}

// writeNew writes a file that does not exist yet.
func writeNew(name string, text []byte) error {
	unwritten := func(err error) error {
		m := &mistake{What: "cannot write the file", Where: name, Got: reason(err), Want: "a name for a new file"}
		if errors.Is(err, fs.ErrExist) {
			m.Got, m.Hint = "a file that exists", "choose another name, or remove that file first"
		}
		return m
	}
	file, err := os.OpenFile(name, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o666)
	if err != nil {
		return unwritten(err)
	}
	if _, err = file.Write(text); errors.Join(err, file.Close()) != nil {
		return unwritten(errors.Join(err, os.Remove(name))) // half of a dialect helps nobody
	}
	return nil
}
