package review

import (
	"fmt"
	"maps"
	"slices"

	"bufferstop/harness/written"
	"bufferstop/suites/catalogue"
)

// editions looks for topics and editions that the catalogue does not have.
func (r *reviewer) editions() {
	var topics []string
	for _, t := range catalogue.Topics() {
		if !t.Decoder {
			topics = append(topics, t.Name)
		}
	}
	for _, topic := range slices.Sorted(maps.Keys(r.Claims.Editions)) {
		at, name := "claims.editions."+topic, r.Claims.Editions[topic]
		t, known := catalogue.FindTopic(topic)
		switch {
		case !known:
			r.wrong(at, "topic "+written.Quote(topic), fmt.Sprintf("one of %q", topics), meant(topic, topics))
		case t.Decoder:
			r.wrong(at, "topic "+written.Quote(topic), fmt.Sprintf("one of %q", topics), "it binds decoders; a station has nothing to choose")
		default:
			if _, known := t.Find(name); !known {
				r.wrong(at, written.Quote(name), fmt.Sprintf("one of %q", t.Names()), meant(name, t.Names()))
			}
		}
	}
}

// edition is the one by which the station is judged on a topic; an edition that is not known is told elsewhere.
func (r *reviewer) edition(topic string) string {
	t, _ := catalogue.FindTopic(topic)
	if _, known := t.Find(r.Claims.Editions[topic]); known {
		return r.Claims.Editions[topic]
	}
	return t.Default().Name
}
