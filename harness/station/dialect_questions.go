package station

import (
	"fmt"
	"strings"

	"bufferstop/harness/written"
)

// questions reads what is asked beside the operations.
func (p *dialectParser) questions() {
	for i := range p.file.Start {
		if q := p.question(fmt.Sprintf("start[%d]", i), &p.file.Start[i], "what the station wants to hear when it has started"); q != nil {
			p.d.start = append(p.d.start, *q)
		}
	}
	if f := p.file.Resynchronise; f != nil {
		p.d.inStep = p.question("resynchronise", f, "a query whose answer looks like no other answer")
	}
	if f := p.file.KeepAlive; f != nil {
		q := p.question("keep_alive", &questionFile{f.Send, f.Pattern, f.Timeout, f.Say}, "a harmless query")
		every := p.Positive("keep_alive.every", f.Every, 0)
		if f.Every == nil {
			p.Fail("keep_alive.every", "no time", `the time after which the station has to hear something, as in "10s"`, "")
		}
		if q != nil {
			p.d.keepAlive = &keepAlive{inStep: *q, every: every}
		}
	}
}

func (p *dialectParser) question(path string, f *questionFile, hint string) *inStep {
	send := f.Send
	switch {
	case send == "":
		p.Fail(path+".send", "nothing", "what is sent", hint)
	case p.d.binary:
		bytes, err := hexBytes(send)
		if err != nil {
			p.Fail(path+".send", written.Quote(send), `bytes in hexadecimal, as in "52 00"`, "")
		}
		send = hexText(bytes)
		p.fits(path+".send", len(bytes), len(bytes))
	default:
		p.oneLine(path+".send", send)
	}
	q := &inStep{send: send, timeout: p.Positive(path+".timeout", f.Timeout, defaultAnswer), path: path, say: p.say(path+".say", f.Say)}
	if q.pattern = p.pattern(path+".pattern", f.Pattern, allGroups); q.pattern == nil {
		return nil
	}
	p.sayMatches(answer{pattern: q.pattern, say: q.say, path: path})
	return q
}

// oneLine sees that what is sent is not two lines.
func (p *dialectParser) oneLine(path, text string) {
	if f, ok := p.d.sends.(*lineFraming); ok && f.end != "" && strings.Contains(text, f.end) {
		p.Fail(path, "the line end inside the text", "one line without its end", "the end is added; see [line] end")
	}
}
