package station

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"bufferstop/harness/link"

	"periph.io/x/conn/v3/physic"
)

// Identity is what a station says about itself. All of it is untrusted text.
type Identity struct {
	Maker, Model, Serial, Version string // empty when the dialect's pattern does not tell them apart
	Text                          string // the whole answer
}

// reply is what an answer brought back, in the kind that the operation has.
type reply struct {
	identity Identity
	power    PowerState
	current  physic.ElectricCurrent
	value    byte
	truth    bool
}

// understand finds out what the messages of an answer mean for the command.
func (d *Dialect) understand(c Command, r *request, sent string, messages []link.Line) (reply, error) {
	groups := map[string]string{}
	for _, m := range messages[:len(messages)-1] {
		if a := r.answerTo(m.Text); a != nil {
			a.keep(groups, string(m.Text))
		}
	}
	text := asOne(messages)
	unexpected := func(want string) error {
		return &UnexpectedAnswer{Operation: c.operation, Sent: sent, Got: text, Want: want}
	}
	last := messages[len(messages)-1].Text
	a := r.answerTo(last)
	if a == nil {
		return reply{}, unexpected("a message that one of the patterns for " + string(c.operation) + " matches")
	}
	a.keep(groups, string(last))
	switch a.means {
	case MeansDone:
		if operations[c.operation].answers != nothing {
			return reply{}, unexpected("a value")
		}
		return reply{}, nil
	case MeansValue:
		if a.value != nil {
			groups["value"] = *a.value
		}
		got, want := d.value(c, r, a, groups["value"])
		if want != "" {
			return reply{}, unexpected(want)
		}
		if operations[c.operation].answers == identity {
			got.identity = Identity{Maker: d.characters(groups["maker"]), Model: d.characters(groups["model"]),
				Serial: d.characters(groups["serial"]), Version: d.characters(groups["version"]), Text: text}
		}
		return got, nil
	case MeansRefused:
		return reply{}, &Refused{Code: d.code(a, groups["code"]), Text: d.characters(groups["text"])}
	case MeansNoAcknowledge:
		return reply{}, ErrNoAcknowledge
	case MeansTripped:
		return reply{}, ErrTripped
	case MeansBusy:
		return reply{}, ErrBusy
	}
	return reply{}, unexpected("a message that ends the answer")
}

// answerTo is the first kind of answer that the message is.
func (r *request) answerTo(message []byte) *answer {
	for i := range r.answers {
		if r.answers[i].pattern.Match(message) {
			return &r.answers[i]
		}
	}
	return nil
}

// keep notes what the groups of the pattern hold. Of groups of one name, the first counts that holds anything.
func (a *answer) keep(groups map[string]string, message string) {
	found := a.pattern.FindStringSubmatch(message)
	for i, name := range slices.Backward(a.pattern.SubexpNames()) {
		if name != "" && found[i] != "" {
			groups[name] = found[i]
		}
	}
}

// characters is the text in a group: in a binary dialect, that of its bytes.
func (d *Dialect) characters(group string) string {
	if d.binary {
		if p, err := hexBytes(group); err == nil {
			return string(p)
		}
	}
	return group
}

// code is the number of a refusal. One that does not have its format stays as it came.
func (d *Dialect) code(a *answer, group string) string {
	if code, ok := a.format("code", d.binary).read(group); ok {
		return code
	}
	return group
}

// format is how a group that holds a number is written.
func (a *answer) format(group valueName, binary bool) format {
	if f, ok := a.formats[group]; ok {
		return f
	}
	return plainFormat(binary)
}

// value reads the text of a value; want is empty when it is one.
func (d *Dialect) value(c Command, r *request, a *answer, text string) (got reply, want string) {
	text = strings.TrimSpace(text)
	switch operations[c.operation].answers {
	case byteValue:
		number, ok := a.format(value, d.binary).read(text)
		v, err := strconv.ParseUint(number, 10, 8)
		if err != nil || !ok {
			return got, "a value of 0..255"
		}
		got.value = byte(v)
	case amount:
		number, ok := a.format(value, d.binary).read(text)
		v, err := strconv.ParseFloat(number, 64)
		scaled := v * float64(r.unit)
		// The bound keeps the conversion below inside an int64; negated so that it catches what is not a number.
		if err != nil || !ok || !(math.Abs(scaled) <= float64(math.MaxInt64/2)) {
			return got, fmt.Sprintf("a number of %s", r.unit)
		}
		got.current = physic.ElectricCurrent(math.Round(scaled))
	case powerState:
		meaning, ok := d.meanings[power][text]
		if !ok {
			return got, "a word of [words.power]"
		}
		got.power = PowerState(meaning)
	case truth:
		meaning, ok := d.meanings[verified][text]
		if !ok {
			return got, "a word of [words.verified]"
		}
		got.truth = meaning == "true"
	}
	return got, ""
}

// asRefusal tells whether an error is an answer of the station that says no, in whatever words.
func asRefusal(err error) (*Refused, bool) {
	var refused *Refused
	switch {
	case errors.As(err, &refused):
		return refused, true
	case errors.Is(err, ErrNoAcknowledge), errors.Is(err, ErrTripped):
		return &Refused{Text: err.Error()}, true
	}
	return nil, false
}
