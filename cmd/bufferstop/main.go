// Command bufferstop proves a model-railway DCC command station on the bench before it is trusted with a layout.
//
// Every verb parses, wires and exits; what it does stands below harness and suites. The rules for what the user sees:
//
//   - Results go to standard output, everything else to standard error.
//   - An error says what is wrong, where, what was there and what was wanted, and then a hint, in two lines at most. No
//     stack trace for a mistake of the user's, and none on the terminal for one of ours.
//   - What asks for nothing that exists (an unknown name, a selection that is empty) is an error, never a green run.
//   - Exit codes: 0 conforms, with or without observations; 1 does not conform; 2 usage or configuration; 3 a fault of
//     the rig or of the harness; 4 incomplete, a MUST was not run; 5 another run holds the rig; 130 interrupted.
//   - Colour and live lines only on a terminal; NO_COLOR and --color are obeyed.
package main

import (
	"context"
	"io"
	"os"
	"os/signal"
	"syscall"
)

func main() {
	// A reader that has had enough, as in `bufferstop run | head -n 1`, must not kill the run: the rig would be left as
	// it is. Writing fails instead.
	signal.Ignore(syscall.SIGPIPE)
	os.Exit(run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}

// run is the program: it executes one command line and returns the exit code.
func run(args []string, stdin io.Reader, stdout, stderr io.Writer) (code int) {
	defer func() {
		if p := recover(); p != nil {
			code = crash(p, stderr)
		}
	}()
	root := newRoot()
	root.SetArgs(args)
	root.SetIn(stdin)
	root.SetOut(stdout)
	root.SetErr(stderr)
	return explain(root.ExecuteContext(context.Background()), stderr)
}
