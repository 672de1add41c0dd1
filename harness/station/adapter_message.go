package station

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"unicode/utf8"
)

// An outcome is the key under which an adapter says what came of a question. Every answer has exactly one.
type outcome string

const (
	outcomeHello         outcome = "hello" // who the adapter is, and what it can do
	outcomeDone          outcome = "done"
	outcomeValue         outcome = "value"
	outcomeRefused       outcome = "refused"
	outcomeNoAcknowledge outcome = "no_acknowledge"
	outcomeTripped       outcome = "tripped"
	outcomeBusy          outcome = "busy"
	outcomeUnexpected    outcome = "unexpected"    // the station has answered something that is no answer to this
	outcomeSilent        outcome = "silent"        // the station has not answered in its time
	outcomeNotSupported  outcome = "not_supported" // nobody can ask the station for this, or not in this way
	outcomeFailed        outcome = "failed"        // the adapter or its link to the station is at fault
)

var outcomes = []outcome{outcomeHello, outcomeDone, outcomeValue, outcomeRefused, outcomeNoAcknowledge, outcomeTripped,
	outcomeBusy, outcomeUnexpected, outcomeSilent, outcomeNotSupported, outcomeFailed}

// eventRestarted is the event that says that the station has started anew.
const eventRestarted = "restarted"

// An adapterMessage is one line of an adapter, read: an answer if event is empty, an event otherwise.
type adapterMessage struct {
	id      int64
	outcome outcome
	detail  json.RawMessage // what stands under the key of the outcome
	words   string          // of unexpected, not_supported, failed and an event's text: untrusted
	refused Refused
	hello   Introduction
	event   string // untrusted
	text    []byte // the message, written in one way however the adapter wrote it
}

// A wrongMessage says what is wrong with a line of an adapter.
type wrongMessage struct{ what, got, want string }

// parseAdapterMessage reads a line, apart from what a value has to be, which is up to the operation. Keys that it does
// not know are passed over: so may a later version of the schema say more, and an adapter note what it likes.
func parseAdapterMessage(line []byte) (adapterMessage, *wrongMessage) {
	var m adapterMessage
	var keys map[string]json.RawMessage
	wrong := func(what, want string) (adapterMessage, *wrongMessage) {
		return adapterMessage{}, &wrongMessage{what, clipped(string(line)), want}
	}
	if !utf8.Valid(line) {
		return wrong("a line that is not UTF-8", "JSON in UTF-8, with \\u escapes for what is not text")
	}
	if err := json.Unmarshal(line, &keys); err != nil || keys == nil {
		return wrong("a line that is no JSON object", "one JSON object a line on the standard output; what is meant for people goes to the standard error")
	}
	number, hasID := keys["id"]
	event, isEvent := keys["event"]
	var found []outcome
	for _, o := range outcomes {
		if _, ok := keys[string(o)]; ok {
			found = append(found, o)
		}
	}
	switch {
	case isEvent && (hasID || len(found) > 0):
		return wrong("an event that is an answer as well", `either "event", or "id" with an outcome`)
	case isEvent:
		var ok bool
		if m.event, ok = textOf(event); !ok || m.event == "" {
			return wrong("an event without a name", `a text that is not empty at "event"`)
		}
		if text, has := keys["text"]; has {
			if m.words, ok = textOf(text); !ok {
				return wrong("an event's text", `a text at "text"`)
			}
		}
		m.text = shown(keys, "event", "text")
		return m, nil
	case !hasID:
		return wrong(`a message with neither "id" nor "event"`, "an answer with the id of its question, or an event")
	case len(found) != 1:
		return wrong(fmt.Sprintf("an answer with %d outcomes", len(found)), fmt.Sprintf("exactly one of %s", joined(outcomes)))
	}
	id, ok := wholeNumber(number, 1, 1<<53) // the whole numbers that every JSON reader keeps exact (RFC 8259, section 6)
	if !ok {
		return wrong("an id that is none", "the id of the question, a whole number")
	}
	m.id, m.outcome, m.detail = id, found[0], keys[string(found[0])]
	if want := m.read(); want != "" {
		return wrong(fmt.Sprintf("what stands at %q", m.outcome), want)
	}
	m.text = shown(keys, "id", string(m.outcome))
	return m, nil
}

// read takes what stands at the key of the outcome; want is empty when it is right.
func (m *adapterMessage) read() (want string) {
	switch m.outcome {
	case outcomeDone, outcomeNoAcknowledge, outcomeTripped, outcomeBusy, outcomeSilent:
		if string(m.detail) != "true" {
			return "true"
		}
	case outcomeNotSupported, outcomeFailed:
		var ok bool
		if m.words, ok = textOf(m.detail); !ok || m.words == "" {
			return "a text that says why"
		}
	case outcomeUnexpected:
		var ok bool
		if m.words, ok = textOf(m.detail); !ok {
			return "a text: what the station has said"
		}
	case outcomeRefused:
		texts, ok := textsOf(m.detail, "code", "text")
		if !ok {
			return `an object in which "code" and "text", if they are there, are texts`
		}
		m.refused = Refused{Code: texts["code"], Text: texts["text"]}
	case outcomeHello:
		return m.hello.read(m.detail)
	}
	return ""
}

// adapterVersion is the version of the exchange that we speak.
const adapterVersion = 1

// An Introduction is what an adapter says about itself.
type Introduction struct {
	Name       string // untrusted
	Operations []Operation
	// TellsRestarts says that the adapter notices when the station starts anew, and says so with the event "restarted".
	TellsRestarts bool
}

// read takes the adapter's hello; want is empty when it is right.
func (h *Introduction) read(detail json.RawMessage) (want string) {
	var keys map[string]json.RawMessage
	if err := json.Unmarshal(detail, &keys); err != nil || keys == nil {
		return "an object with version, name and operations"
	}
	if _, ok := wholeNumber(keys["version"], adapterVersion, adapterVersion); !ok {
		return fmt.Sprintf("version %d, the one that was offered", adapterVersion)
	}
	name, ok := textOf(keys["name"])
	if !ok || name == "" {
		return `the adapter's name, a text, at "name"`
	}
	h.Name = clipped(name)
	if tells, there := keys["tells_restarts"]; there {
		if h.TellsRestarts, ok = truthOf(tells); !ok {
			return `true or false at "tells_restarts"`
		}
	}
	var all []json.RawMessage
	if err := json.Unmarshal(keys["operations"], &all); err != nil || len(all) == 0 {
		return `the operations that it can, at least one, at "operations"`
	}
	for _, raw := range all {
		o, ok := textOf(raw)
		if _, known := operations[Operation(o)]; !ok || !known {
			return `at "operations" only some of ` + joined(Operations())
		}
		h.Operations = append(h.Operations, Operation(o))
	}
	slices.Sort(h.Operations)
	h.Operations = slices.Compact(h.Operations)
	return ""
}

// can reports whether the adapter has an operation.
func (h *Introduction) can(o Operation) bool { return slices.Contains(h.Operations, o) }

// textOf is a JSON string; null is none.
func textOf(raw json.RawMessage) (text string, ok bool) {
	if len(raw) == 0 || raw[0] != '"' {
		return "", false
	}
	return text, json.Unmarshal(raw, &text) == nil
}

// textsOf takes some texts out of an object; those that are missing are empty.
func textsOf(raw json.RawMessage, names ...string) (texts map[string]string, ok bool) {
	var keys map[string]json.RawMessage
	if err := json.Unmarshal(raw, &keys); err != nil || keys == nil {
		return nil, false
	}
	texts = map[string]string{}
	for _, name := range names {
		value, there := keys[name]
		if !there {
			continue
		}
		if texts[name], ok = textOf(value); !ok {
			return nil, false
		}
	}
	return texts, true
}

// truthOf is true or false.
func truthOf(raw json.RawMessage) (truth, ok bool) {
	return string(raw) == "true", string(raw) == "true" || string(raw) == "false"
}

// numberOf is a JSON number.
func numberOf(raw json.RawMessage) (number float64, ok bool) {
	if len(raw) == 0 || raw[0] != '-' && (raw[0] < '0' || raw[0] > '9') {
		return 0, false
	}
	number, err := strconv.ParseFloat(string(raw), 64)
	return number, err == nil
}

// wholeNumber is a JSON number without a fraction; 7.0 is one, since languages without whole numbers write it.
func wholeNumber(raw json.RawMessage, low, high int64) (int64, bool) {
	n, ok := numberOf(raw)
	if !ok || n != math.Trunc(n) || n < float64(low) || n > float64(high) {
		return 0, false
	}
	return int64(n), true
}

// shown writes an object without spaces: the keys given first, the others in alphabetical order.
func shown(keys map[string]json.RawMessage, first ...string) []byte {
	rest := slices.DeleteFunc(slices.Sorted(maps.Keys(keys)), func(key string) bool { return slices.Contains(first, key) })
	var out bytes.Buffer
	for _, key := range append(first, rest...) {
		value, ok := keys[key]
		if !ok {
			continue
		}
		separator := byte(',')
		if out.Len() == 0 {
			separator = '{'
		}
		out.WriteByte(separator)
		name, _ := json.Marshal(key) // a string is always one
		out.Write(name)
		out.WriteByte(':')
		_ = json.Compact(&out, value) // it was JSON when it was read
	}
	out.WriteByte('}')
	return out.Bytes()
}
