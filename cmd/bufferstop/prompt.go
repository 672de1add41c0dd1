package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"

	"golang.org/x/term"
)

// promptText stands before what is typed, and before what was read from a file.
const promptText = "> "

// A prompt is where lines of input come from and where the output goes. On a terminal both share a line, which can be
// edited and has a history; otherwise the input is shown in the output, so that a transcript can be read.
type prompt struct {
	out      io.Writer
	in       io.Reader
	terminal *term.Terminal // nil when input or output is none
}

// newPrompt sets a terminal up for a talk; done sets it back.
func newPrompt(in io.Reader, out io.Writer) (p *prompt, done func()) {
	plain := &prompt{out: out, in: in}
	keys, isFile := in.(*os.File)
	shown, outIsFile := out.(*os.File)
	if !isFile || !outIsFile || !term.IsTerminal(int(keys.Fd())) || !term.IsTerminal(int(shown.Fd())) || os.Getenv("TERM") == "dumb" {
		return plain, func() {}
	}
	before, err := term.MakeRaw(int(keys.Fd()))
	if err != nil {
		return plain, func() {}
	}
	t := term.NewTerminal(struct {
		io.Reader
		io.Writer
	}{keys, shown}, promptText)
	if width, height, err := term.GetSize(int(shown.Fd())); err == nil {
		_ = t.SetSize(width, height) // a wrong size only wraps at another column
	}
	return &prompt{out: t, in: keys, terminal: t}, func() { _ = term.Restore(int(keys.Fd()), before) }
}

// each hands over line by line until there are no more, or the taker has had enough. The end of the input is no error.
func (p *prompt) each(take func(line string) bool) error {
	if p.terminal != nil {
		for {
			line, err := p.terminal.ReadLine()
			if errors.Is(err, term.ErrPasteIndicator) {
				err = nil
			}
			if errors.Is(err, io.EOF) {
				return nil
			}
			if err != nil || !take(line) {
				return err
			}
		}
	}
	lines := bufio.NewScanner(p.in)
	for lines.Scan() {
		if !take(lines.Text()) {
			return nil
		}
	}
	if errors.Is(lines.Err(), bufio.ErrTooLong) {
		return &mistake{What: "line too long", Where: "standard input", Got: fmt.Sprintf("more than %d bytes", bufio.MaxScanTokenSize), Want: "a command"}
	}
	return lines.Err()
}
