package station

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"

	"bufferstop/harness/dcc"
	"bufferstop/harness/link"
)

// An adapterLanguage is what is spoken with an adapter: one JSON object a line each way. Every question has a number, and
// its answer has the same. So a late answer is known by its number, and passed over.
//
// When the program has started it is asked to introduce itself, with "hello", which does not concern the station. Coming
// into step is "ping", which the adapter asks its station: only so is it known whether the station is there.
type adapterLanguage struct {
	adapter *Adapter
	hello   *Introduction // nil as long as the adapter has not introduced itself
	helloID int64         // the number of the question, each time
	pingID  int64         // the number of the last ping
	ping    *inStep       // nil when the last one was answered
}

func newAdapterLanguage(a *Adapter) *adapterLanguage {
	return &adapterLanguage{adapter: a, helloID: a.asked.Add(1)}
}

// Name is the name that the adapter gave itself, or its program.
func (l *adapterLanguage) Name() string {
	if l.hello != nil {
		return l.hello.Name
	}
	return l.adapter.program()
}

// manners: an adapter takes one question at a time, which keeps it simple.
func (l *adapterLanguage) manners() manners {
	hello := l.inStep(askHello, l.helloID, fmt.Sprintf(`,"versions":[%d]`, adapterVersion), `"hello":`)
	return manners{write: adapterWrite, busyPause: defaultBusyPause, quiet: adapterQuiet, window: 1, start: []inStep{hello}}
}

// render writes a question: id, ask, within_ms, then the values in the order of the table in ParseDialect.
func (l *adapterLanguage) render(c Command) (*request, string, error) {
	def, known := operations[c.operation]
	if !known || l.hello != nil && !l.hello.can(c.operation) {
		return nil, "", &NotSupported{c.operation, fmt.Sprintf("adapter %+q has no operation %q", l.Name(), string(c.operation))}
	}
	if c.address != nil && *c.address == dcc.Broadcast {
		return nil, "", &NotSupported{c.operation, "the broadcast address is no locomotive"}
	}
	id := l.adapter.asked.Add(1)
	station := l.adapter.timeouts[question(c.operation)]
	var out strings.Builder
	out.WriteString(asked(id, question(c.operation), station))
	for _, name := range def.values {
		v := c.values[name]
		if words, isWord := vocabularies[name]; isWord {
			if !slices.Contains(words.may, v) {
				return nil, "", &NotSupported{c.operation, fmt.Sprintf("adapters know no %s %+q", name, v)}
			}
			v = `"` + v + `"`
		}
		fmt.Fprintf(&out, `,"%s":%s`, name, v)
	}
	out.WriteByte('}')
	return &request{id: id, timeout: station + adapterGrace}, out.String(), nil
}

// asked is the beginning of a question.
func asked(id int64, q question, station time.Duration) string {
	return fmt.Sprintf(`{"id":%d,"ask":%q,"within_ms":%d`, id, string(q), max(station.Milliseconds(), 1))
}

func (l *adapterLanguage) encode(text string) []byte { return []byte(text + "\n") }

// ending makes a line of what the adapter has got of a question: it passes over what is no JSON.
func (l *adapterLanguage) ending() []byte { return []byte("\n") }

func (l *adapterLanguage) isPart(*request, link.Line) bool { return false }

// query is a ping, with a number of its own.
func (l *adapterLanguage) query() *inStep {
	if l.ping == nil {
		l.pingID = l.adapter.asked.Add(1)
		ping := l.inStep(askPing, l.pingID, "", `"done":`)
		l.ping = &ping
	}
	return l.ping
}

// inStep is a question with its number, and how the answer that is hoped for begins.
func (l *adapterLanguage) inStep(q question, id int64, more, answer string) inStep {
	each := l.adapter.timeouts[q]
	text := asked(id, q, each) + more + "}"
	if q == askPing {
		each += adapterGrace
	}
	return inStep{send: text, timeout: inStepTries * each, pattern: regexp.MustCompile(fmt.Sprintf(`\A\{"id":%d,%s`, id, answer))}
}

// messages reads the lines of the adapter, and takes its hello.
func (l *adapterLanguage) messages(over link.Link, c Clock) messageReader {
	return &adapterReader{LineReader: link.NewLineReader(over, c, "\n", adapterLine), language: l}
}

// isEvent also passes over what answers another question than the one under way.
func (l *adapterLanguage) isEvent(r *request, line link.Line) (event, bool) {
	m, wrong := parseAdapterMessage(line.Text)
	switch {
	case wrong != nil:
		return event{}, false
	case m.event != "":
		return event{name: m.event, restart: m.event == eventRestarted}, true
	case r == nil || m.id != r.id:
		return event{name: "late answer of the adapter"}, true
	}
	return event{}, false
}
