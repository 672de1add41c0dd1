package station

import (
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"time"

	"bufferstop/harness/link"
)

// adapterStart is how long it is tried to start a program again. Our own choice: it is there, or it is not.
const adapterStart = time.Second

// OpenAdapter starts the adapter of the station and returns the link to it, which Driver then speaks over. What the
// program says on its standard error goes to stderr, line by line.
//
// No shell has a part in it. The program runs in the folder of the station file, so relative names among its arguments
// are names there. Its own name is a path relative to that folder if it has a slash in it, as in "./mine"; a bare name,
// as in "python3", is looked for in the PATH of the system and nowhere else. An argument that is "{link}" is replaced by
// File.Link, which a rig may have set.
//
// A program that has ended is started again at the next call, [adapter] restarts times, after the call that met its end
// has got link.ErrClosed; after that every call gets it. Close closes the program's standard input, at which it should
// end; it is killed two seconds later.
func (f *File) OpenAdapter(ctx context.Context, stderr io.Writer) (link.Link, error) {
	a := f.Adapter
	if a == nil {
		return nil, fmt.Errorf("station %q has a dialect, no adapter", f.Name)
	}
	command, err := a.command(f.Link)
	if err != nil {
		return nil, fmt.Errorf("station %q: adapter: %w", f.Name, err)
	}
	starts := 0
	opened := link.Reopening(func(ctx context.Context) (link.Link, error) {
		if starts > a.Restarts {
			return nil, fmt.Errorf("the adapter has ended %d times and is not started again, since [adapter] restarts = %d", starts, a.Restarts)
		}
		l, err := link.OpenProcess(ctx, link.ProcessConfig{Command: command, Dir: a.Folder, Stderr: stderr})
		if err == nil {
			starts++
		}
		return l, err
	}, adapterStart)
	if err := opened.Open(ctx); err != nil {
		return nil, fmt.Errorf("station %q: adapter: %w", f.Name, errors.Join(err, opened.Close()))
	}
	return opened, nil
}

// command is what to start, with the address of the link in its place.
func (a *Adapter) command(address string) ([]string, error) {
	command := slices.Clone(a.Command)
	if program := command[0]; a.Folder == "" && !filepath.IsAbs(program) && filepath.Base(program) != program {
		return nil, fmt.Errorf("program %+q is relative to the folder of the station file, and this one is in none", program)
	}
	told := false
	for i := range command[1:] {
		if command[i+1] == linkPlace {
			command[i+1], told = address, true
		}
	}
	switch {
	case told && address == "":
		return nil, fmt.Errorf("its command has the argument %q and there is no link: the station file or the rig file has to say link = \"...\"", linkPlace)
	case !told && address != "":
		return nil, fmt.Errorf("there is the link %+q, of which it is told nothing: its command needs the argument %q", address, linkPlace)
	}
	return command, nil
}
