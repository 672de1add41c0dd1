package rigcheck

import (
	"bytes"
	"errors"
	"fmt"
	"unicode"

	"bufferstop/harness/link"
	"bufferstop/harness/station"
)

// readLog finds in the bytes that went over the link what the driver has no eye for: how lines end, and echo.
func (c *check) readLog() {
	log := c.wire.Log()
	received := log.Carried(link.Received)
	c.LineEnds = lineEnds(received)
	c.Echo = echoes(log)
}

// lineEnds counts the ends of lines in what came.
func lineEnds(received []byte) LineEnds {
	var ends LineEnds
	for i, b := range received {
		switch b {
		case '\n':
			if i > 0 && received[i-1] == '\r' {
				ends.CRLF++
			} else {
				ends.LF++
			}
		case '\r':
			if i+1 == len(received) || received[i+1] != '\n' {
				ends.CR++
			}
		}
	}
	if binary(received) {
		return LineEnds{Binary: true}
	}
	ends.None = len(received) > 0 && ends.LF+ends.CRLF+ends.CR == 0
	return ends
}

// binary reports whether more than a tenth of what came is neither printable nor white space. A wrong baud rate looks so
// as well. Our own choice.
func binary(received []byte) bool {
	strange := 0
	for _, r := range string(received) {
		if r == unicode.ReplacementChar || !unicode.IsPrint(r) && !unicode.IsSpace(r) {
			strange++
		}
	}
	return strange*10 > len(received)
}

// echoes reports whether what came after a message began with that message, every time and at least once. The reader may
// have got it in pieces.
func echoes(log *link.Log) bool {
	seen := 0
	for i := 0; i < len(log.Entries); i++ {
		if log.Entries[i].Direction != link.Sent {
			continue
		}
		sent := bytes.TrimRight(log.Entries[i].Bytes, "\r\n")
		var came []byte
		for i+1 < len(log.Entries) && log.Entries[i+1].Direction == link.Received {
			came = append(came, log.Entries[i+1].Bytes...)
			i++
		}
		if len(sent) == 0 || len(came) == 0 {
			continue
		}
		if !bytes.HasPrefix(came, sent) {
			return false
		}
		seen++
	}
	return seen > 0
}

// judgeAnswers looks at whether the station was heard at all, and always.
func (c *check) judgeAnswers() {
	t := c.RoundTrip
	received := len(c.wire.Log().Carried(link.Received))
	var unexpected *station.UnexpectedAnswer
	switch {
	case errors.Is(c.err, link.ErrClosed):
		c.find(Fault, "the link broke: "+c.err.Error(), "is the cable in, and the station supplied?")
	case t.Question == "":
		c.find(Configuration, "the dialect has no question that changes nothing",
			"give it identify, power or current, so that a silent station can be told from a slow one")
	case t.Answered == 0 && received == 0:
		c.find(Fault, "the station is silent: "+t.Fault,
			"supply, cable, baud rate, and dtr and rts of the link; a board that restarts on opening needs settle or await")
	case t.Answered == 0 && c.LineEnds.Binary:
		c.find(Fault, "what comes from the station is no text: "+t.Fault,
			"most often the baud rate of the link is not the station's")
	case t.Answered == 0 && errors.As(c.err, &unexpected):
		c.find(Configuration, "the dialect does not know the answer: "+unexpected.Error(),
			fmt.Sprintf("compare [operation.%s] of the dialect with what the station says", t.Question))
	case t.Answered == 0:
		c.find(Configuration, "the station says something, but nothing that the dialect takes for an answer: "+t.Fault,
			"compare the line ends below, and the patterns of the dialect")
	case t.Answered < t.Asked:
		c.find(Fault, fmt.Sprintf("%d of %d questions were not answered: %s", t.Asked-t.Answered, t.Asked, t.Fault),
			"a link that loses bytes makes every result doubtful: try another cable, port or baud rate")
	}
}

// judgeAdapter looks at whether the adapter was heard, and the station through it.
func (c *check) judgeAdapter() {
	t := c.RoundTrip
	var wrong *station.AdapterError
	switch {
	case errors.Is(c.err, link.ErrClosed):
		c.find(Fault, "the adapter has ended: "+c.err.Error(),
			"what it says on its standard error may tell why; try its command by hand, in the folder of the station file")
	case errors.As(c.err, &wrong):
		c.find(Fault, wrong.Error(), "an adapter has to keep to what rigs/adapters/README.md says")
	case t.Question == "":
		c.find(Configuration, "the adapter has no operation that changes nothing",
			"give it identify, power or current, so that a silent station can be told from a slow one")
	case t.Answered == 0:
		c.find(Fault, "the adapter has got nothing from the station: "+t.Fault,
			"is the link right that the adapter is told, and the station supplied?")
	case t.Answered < t.Asked:
		c.find(Fault, fmt.Sprintf("%d of %d questions were not answered: %s", t.Asked-t.Answered, t.Asked, t.Fault),
			"what gets lost between the adapter and the station makes every result doubtful")
	}
}

// judgeLines looks at what the lines look like.
func (c *check) judgeLines() {
	if c.RoundTrip.Answered == 0 && c.Echo {
		c.find(Configuration, "the station sends back what it is sent",
			"say echo = true in [line] of the dialect, or switch the echo off in the firmware")
		return
	}
	kinds := 0
	for _, n := range []int{c.LineEnds.LF, c.LineEnds.CRLF, c.LineEnds.CR} {
		if n > 0 {
			kinds++
		}
	}
	switch {
	case c.RoundTrip.Answered == 0 && c.LineEnds.None:
		c.find(Configuration, "no line from the station ends", "its firmware has to end each answer, with LF for instance")
	case c.RoundTrip.Answered == 0 && kinds == 1 && (c.cut || !c.heard):
		c.find(Configuration, "lines from the station end in "+c.LineEnds.String()+", which is not what the dialect awaits",
			"say so in [line] answer_end of the dialect, or tolerant = true")
	case kinds > 1:
		c.find(Remark, "lines from the station end in different ways: "+c.LineEnds.String(),
			"a driver that is strict about it loses lines; tolerant = true in [line] takes all three")
	}
}

// String names the ends that came, the most frequent first where there are several kinds.
func (e LineEnds) String() string {
	switch {
	case e.Binary:
		return "none, what comes is no text"
	case e.None:
		return "none, though bytes came"
	}
	text := ""
	for _, kind := range []struct {
		name  string
		count int
	}{{"LF", e.LF}, {"CRLF", e.CRLF}, {"CR", e.CR}} {
		if kind.count > 0 {
			if text != "" {
				text += ", "
			}
			text += fmt.Sprintf("%s (%d)", kind.name, kind.count)
		}
	}
	if text == "" {
		return "nothing came"
	}
	return text
}
