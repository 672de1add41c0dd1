package station

import (
	"fmt"
	"slices"

	"bufferstop/harness/written"
)

// examples reads [[example]].
func (p *dialectParser) examples() {
	for i, f := range p.file.Example {
		e := example{path: fmt.Sprintf("example[%d]", i), words: f.Operation, means: f.Means}
		if f.Operation != "" {
			c, err := ParseCommand(f.Operation)
			switch {
			case err != nil:
				p.Fail(e.path+".operation", oneLineText(err.Error()), "an operation in plain words", "as in operation = \"read cv 29\"")
				continue
			case p.d.operations[c.operation] == nil:
				p.Fail(e.path+".operation", written.Quote(f.Operation), fmt.Sprintf("an operation that the dialect has: it lacks %s", c.operation), "")
				continue
			}
			e.command = &c
		}
		var ok bool
		if e.receive, ok = p.received(e.path+".receive", f.Receive); !ok {
			continue
		}
		e.send = p.exampleSend(e, f)
		p.exampleMeans(e, f)
		p.d.examples = append(p.d.examples, e)
	}
}

func (p *dialectParser) exampleSend(e example, f exampleFile) *string {
	switch {
	case f.Send == nil && e.receive == nil:
		p.Fail(e.path, "neither send nor receive", "one of them", "")
	case f.Send != nil && e.command == nil:
		p.Fail(e.path+".send", written.Quote(*f.Send), "an operation for which it is sent", "as in operation = \"read cv 29\"")
	case f.Send != nil && p.d.binary:
		bytes, err := hexBytes(*f.Send)
		if err != nil {
			p.Fail(e.path+".send", written.Quote(*f.Send), "a whole frame in hexadecimal", "")
		}
		text := hexText(bytes)
		return &text
	}
	return f.Send
}

// received reads a text or a list of texts.
func (p *dialectParser) received(path string, given any) ([]string, bool) {
	var all []string
	switch r := given.(type) {
	case nil:
		return nil, true
	case string:
		all = []string{r}
	case []any:
		for _, one := range r {
			if text, ok := one.(string); ok {
				all = append(all, text)
			}
		}
		if len(all) != len(r) {
			all = nil
		}
	}
	if len(all) == 0 {
		p.Fail(path, written.Quote(fmt.Sprint(given)), "a text, or a list of texts", "what comes back, one text for each message")
		return nil, false
	}
	for i, text := range all {
		if p.d.binary {
			bytes, err := hexBytes(text)
			if err != nil {
				p.Fail(path, written.Quote(text), "a whole frame in hexadecimal", "")
			}
			all[i] = string(bytes)
		}
	}
	if p.d.gap > 0 && len(all) > 1 {
		p.Fail(path, fmt.Sprintf("%d messages", len(all)), "one, since only a silence ends it", "")
	}
	return all, true
}

func (p *dialectParser) exampleMeans(e example, f exampleFile) {
	path := e.path + ".means"
	if (f.Means == nil) != (e.receive == nil) {
		p.Fail(e.path, "one of receive and means", "both, or none of them", "")
		return
	}
	if f.Means == nil {
		return
	}
	var allowed []string
	for _, m := range allMeanings {
		if m != MeansPart {
			allowed = append(allowed, string(m))
		}
	}
	allowed = append(allowed, meansGarbled, meansUnexpected)
	if !slices.ContainsFunc(allowed, func(m string) bool { return isOutcome(*f.Means, m) }) {
		p.Fail(path, written.Quote(*f.Means), "one of "+joined(allowed)+`; "value 6", "refused 5" and "event NAME" say more`, "")
	}
	if e.command == nil && !isOutcome(*f.Means, string(MeansEvent)) && *f.Means != meansGarbled {
		p.Fail(path, written.Quote(*f.Means), "an event: nothing was asked", "as in means = \"event started\"")
	}
}
