package main

import (
	"errors"
	"os"
	"os/exec"
	"strconv"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

// scriptCommands are ours beside those of testscript.
var scriptCommands = map[string]func(ts *testscript.TestScript, neg bool, args []string){
	// exits CODE PROGRAM ARGUMENTS... runs the program and wants this exit code of it.
	"exits": func(ts *testscript.TestScript, neg bool, args []string) {
		if neg || len(args) < 2 {
			ts.Fatalf("usage: exits CODE PROGRAM ARGUMENTS...")
		}
		want, err := strconv.Atoi(args[0])
		ts.Check(err)
		got := 0
		if err := ts.Exec(args[1], args[2:]...); err != nil {
			var exit *exec.ExitError
			if !errors.As(err, &exit) {
				ts.Fatalf("%v", err)
			}
			got = exit.ExitCode()
		}
		if got != want {
			ts.Fatalf("exit code %d, wanted %d", got, want)
		}
	},
	// awaits FILE waits until the file is there and not empty.
	"awaits": func(ts *testscript.TestScript, neg bool, args []string) {
		if neg || len(args) != 1 {
			ts.Fatalf("usage: awaits FILE")
		}
		name := ts.MkAbs(args[0])
		for end := time.Now().Add(time.Minute); time.Now().Before(end); time.Sleep(10 * time.Millisecond) {
			if info, err := os.Stat(name); err == nil && (info.Size() > 0 || !info.Mode().IsRegular()) {
				return
			}
		}
		ts.Fatalf("%s has not come", name)
	},
}

// An unknownCondition is a fault of a script.
type unknownCondition struct{ name string }

func (e *unknownCondition) Error() string { return "unknown condition " + strconv.Quote(e.name) }
