package main

import (
	"io"
	"os"
	"strings"
	"unicode/utf8"

	"github.com/spf13/cobra"
	"golang.org/x/term"
)

// plainWidth is how wide text is set where there is no terminal to ask, in columns.
const plainWidth = 100

// A screen is what one stream of output can show.
type screen struct {
	colour bool // SGR sequences may be written
	live   bool // a line may be written over
	width  int  // columns
}

// screenOf looks at a stream. mode is the value of --color; NO_COLOR is obeyed as https://no-color.org tells.
func screenOf(w io.Writer, mode string) screen {
	s := screen{width: plainWidth}
	if file, ok := w.(*os.File); ok && term.IsTerminal(int(file.Fd())) && os.Getenv("TERM") != "dumb" {
		s.live = true
		if width, _, err := term.GetSize(int(file.Fd())); err == nil && width > 0 {
			s.width = width
		}
	}
	switch mode {
	case "always":
		s.colour = true
	case "auto":
		s.colour = s.live && os.Getenv("NO_COLOR") == ""
	}
	return s
}

// SGR parameters in use (ECMA-48 section 8.3.117).
const (
	bold = "1"
	dim  = "2"
	red  = "31"
)

// paint puts text between SGR sequences where the screen shows colour.
func (s screen) paint(sgr, text string) string {
	if !s.colour {
		return text
	}
	return "\x1b[" + sgr + "m" + text + "\x1b[0m"
}

// wrap sets text in lines of at most the screen's width, each but the first with the indent before it, which the caller
// has written already before the first. A word that is too long stands in a line of its own.
func (s screen) wrap(text string, indent int) string {
	var b strings.Builder
	room := max(20, s.width-indent)
	column := 0
	for _, word := range strings.Fields(text) {
		length := utf8.RuneCountInString(word)
		switch {
		case column == 0:
		case column+1+length > room:
			b.WriteString("\n" + strings.Repeat(" ", indent))
			column = 0
		default:
			b.WriteByte(' ')
			column++
		}
		b.WriteString(word)
		column += length
	}
	return b.String()
}

// screenFor looks at a verb's standard output.
func screenFor(cmd *cobra.Command) screen {
	return screenOf(cmd.OutOrStdout(), cmd.Flag("color").Value.String())
}
