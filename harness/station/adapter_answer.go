package station

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"bufferstop/harness/link"

	"periph.io/x/conn/v3/physic"
)

// understand finds out what an answer means for the command.
func (l *adapterLanguage) understand(c Command, _ *request, sent string, answer []link.Line) (reply, error) {
	m, wrong := parseAdapterMessage(answer[len(answer)-1].Text)
	if wrong != nil {
		return reply{}, l.wrong(wrong)
	}
	kind := operations[c.operation].answers
	unfit := func(want string) (reply, error) {
		return reply{}, l.wrong(&wrongMessage{fmt.Sprintf("its answer to %s", c.operation), clipped(string(m.text)), want})
	}
	switch m.outcome {
	case outcomeDone:
		if kind != nothing {
			return unfit(`"value"`)
		}
		return reply{}, nil
	case outcomeValue:
		got, want := adapterValue(kind, m.detail)
		if want != "" {
			return unfit(want)
		}
		return got, nil
	case outcomeRefused:
		return reply{}, &m.refused
	case outcomeNoAcknowledge:
		return reply{}, ErrNoAcknowledge
	case outcomeTripped:
		return reply{}, ErrTripped
	case outcomeBusy:
		return reply{}, ErrBusy
	case outcomeUnexpected:
		return reply{}, &UnexpectedAnswer{Operation: c.operation, Sent: sent, Got: m.words, Want: "what the adapter expects of the station"}
	case outcomeSilent:
		return reply{}, &noAnswer{sent: sent, err: fmt.Errorf("adapter %+q heard nothing from the station: %w", l.Name(), link.ErrTimeout)}
	case outcomeNotSupported:
		return reply{}, &NotSupported{c.operation, fmt.Sprintf("adapter %+q: %+q", l.Name(), clipped(m.words))}
	case outcomeFailed:
		return reply{}, l.failed(m)
	}
	return unfit("an outcome of an operation")
}

func (l *adapterLanguage) failed(m adapterMessage) error {
	return &AdapterError{Adapter: l.Name(), What: fmt.Sprintf("it says that it failed: %+q", clipped(m.words))}
}

// adapterValue reads a value of an operation; want is empty when it is one.
func adapterValue(kind answerKind, raw json.RawMessage) (got reply, want string) {
	switch kind {
	case identity:
		texts, ok := textsOf(raw, append(slices.Clone(identityGroups), "text")...)
		got.identity = Identity{texts["maker"], texts["model"], texts["serial"], texts["version"], texts["text"]}
		if !ok || got.identity == (Identity{}) {
			return reply{}, "an object with one at least of the texts maker, model, serial, version and text"
		}
		if got.identity.Text == "" {
			got.identity.Text = strings.Join([]string{texts["maker"], texts["model"], texts["serial"], texts["version"]}, ",")
		}
	case powerState:
		state, ok := textOf(raw)
		if !ok || !slices.Contains(vocabularies[power].may, state) {
			return reply{}, "one of " + strings.Join(vocabularies[power].may, ", ")
		}
		got.power = PowerState(state)
	case amount:
		// A thousand times what any track takes; it also keeps the conversion inside an int64.
		const most = 10_000_000
		milliamperes, ok := numberOf(raw)
		if !ok || math.Abs(milliamperes) > most {
			return reply{}, "a number of milliamperes"
		}
		got.current = physic.ElectricCurrent(math.Round(milliamperes * float64(physic.MilliAmpere)))
	case byteValue:
		v, ok := wholeNumber(raw, 0, 255)
		if !ok {
			return reply{}, "a whole number of 0..255"
		}
		got.value = byte(v)
	case truth:
		var ok bool
		if got.truth, ok = truthOf(raw); !ok {
			return reply{}, "true or false"
		}
	default:
		return reply{}, `"done": the operation brings no value`
	}
	return got, ""
}
