package station

import (
	"errors"
	"fmt"
	"math"
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

// understand finds out what a line means for the command.
func (d *Dialect) understand(c Command, r *request, sent string, lines []link.Line) (reply, error) {
	text := string(lines[len(lines)-1].Text)
	unexpected := func(want string) error {
		return &UnexpectedAnswer{Operation: c.operation, Sent: sent, Got: text, Want: want}
	}
	for _, a := range r.answers {
		groups := a.pattern.FindStringSubmatch(text)
		if groups == nil {
			continue
		}
		group := func(name string) string {
			// An unnamed group has the name "", which nobody asks for.
			for i, n := range a.pattern.SubexpNames() {
				if n == name && groups[i] != "" {
					return groups[i]
				}
			}
			return ""
		}
		switch a.means {
		case MeansDone:
			if operations[c.operation].answers != nothing {
				return reply{}, unexpected("a value")
			}
			return reply{}, nil
		case MeansValue:
			found := group("value")
			if a.value != nil {
				found = *a.value
			}
			got, want := d.value(c, r, found)
			if want != "" {
				return reply{}, unexpected(want)
			}
			if operations[c.operation].answers == identity {
				got.identity = Identity{Maker: group("maker"), Model: group("model"), Serial: group("serial"), Version: group("version"), Text: text}
			}
			return got, nil
		case MeansRefused:
			return reply{}, &Refused{Code: group("code"), Text: group("text")}
		case MeansNoAcknowledge:
			return reply{}, ErrNoAcknowledge
		case MeansTripped:
			return reply{}, ErrTripped
		case MeansBusy:
			return reply{}, ErrBusy
		}
	}
	return reply{}, unexpected("a line that one of the patterns for " + string(c.operation) + " matches")
}

// value reads the text of a value; want is empty when it is one.
func (d *Dialect) value(c Command, r *request, text string) (got reply, want string) {
	switch operations[c.operation].answers {
	case byteValue:
		v, err := strconv.ParseUint(strings.TrimSpace(text), 10, 8)
		if err != nil {
			return got, "a value of 0..255"
		}
		got.value = byte(v)
	case amount:
		v, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
		scaled := v * float64(r.unit)
		// The bound keeps the conversion below inside an int64; negated so that it catches what is not a number.
		if err != nil || !(math.Abs(scaled) <= float64(math.MaxInt64/2)) {
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
