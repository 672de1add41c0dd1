package calibration

import (
	"fmt"
	"strconv"

	"bufferstop/harness/written"
)

// Answers are those of a file, for walks that nobody sits at. What a file may say:
//
//	supervised = true          # somebody stays beside the bench; the walk does not begin without
//
//	[time]
//	over = "1m"
//	host_ppm = 100
//
//	[main]                     # and [programming]
//	zero = "go"
//	ohms = 47.0
//	tolerance = 1
//	accuracy = 1.5
//	resistor = "go"
//	reading = "15.2 V"
//	load = "go"
//	edges = "go"
//	steady = true
//	loop = "go"
//
// Each answer may be "skip" or "cancel" as well. One that is left out is that of somebody who just presses enter; but nothing is
// switched on without being asked for, so a step that does is skipped.
type Answers struct {
	Supervised any `toml:"supervised"`
	Time       struct {
		Over    any `toml:"over"`
		HostPPM any `toml:"host_ppm"`
	} `toml:"time"`
	Main        trackAnswers `toml:"main"`
	Programming trackAnswers `toml:"programming"`

	byKey map[string]string
}

type trackAnswers struct {
	Zero      any `toml:"zero"`
	Ohms      any `toml:"ohms"`
	Tolerance any `toml:"tolerance"`
	Accuracy  any `toml:"accuracy"`
	Resistor  any `toml:"resistor"`
	Reading   any `toml:"reading"`
	Load      any `toml:"load"`
	Edges     any `toml:"edges"`
	Steady    any `toml:"steady"`
	Loop      any `toml:"loop"`
}

// ParseAnswers reads the text of an answers file; name is where it is, and stands for it in errors. Whether an answer is one is found out
// when it is asked for.
func ParseAnswers(name string, data []byte) (*Answers, error) {
	a := &Answers{byKey: map[string]string{}}
	doc, ok := written.Open(name, data, a)
	if !ok {
		return nil, doc.Err()
	}
	add := func(key string, value any) {
		switch v := value.(type) {
		case nil:
		case string:
			a.byKey[key] = v
		case bool:
			a.byKey[key] = map[bool]string{true: wordYes, false: wordNo}[v]
		case int64:
			a.byKey[key] = strconv.FormatInt(v, 10)
		case float64:
			a.byKey[key] = strconv.FormatFloat(v, 'g', -1, 64)
		default:
			doc.Fail(key, fmt.Sprintf("a value of another kind (%T)", v), "a text, a number, true or false", "")
		}
	}
	add("supervised", a.Supervised)
	add("time.over", a.Time.Over)
	add("time.host_ppm", a.Time.HostPPM)
	for track, t := range map[string]trackAnswers{"main": a.Main, "programming": a.Programming} {
		add(track+".zero", t.Zero)
		add(track+".ohms", t.Ohms)
		add(track+".tolerance", t.Tolerance)
		add(track+".accuracy", t.Accuracy)
		add(track+".resistor", t.Resistor)
		add(track+".reading", t.Reading)
		add(track+".load", t.Load)
		add(track+".edges", t.Edges)
		add(track+".steady", t.Steady)
		add(track+".loop", t.Loop)
	}
	if err := doc.Err(); err != nil {
		return nil, err
	}
	return a, nil
}

// Answer is what the file says to a question. It says the same each time, so a walk that does not take it ends.
func (a *Answers) Answer(q Question) (string, error) {
	answer, given := a.byKey[q.Key]
	switch {
	case given:
		return answer, nil
	case q.Key == wordAgain:
		return "", ErrNoAnswer
	case q.Switches || q.Default == "" && q.Key != keySupervised:
		return wordSkip, nil
	}
	return "", nil
}
