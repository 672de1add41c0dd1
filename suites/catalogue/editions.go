package catalogue

import (
	_ "embed"
	"errors"
	"fmt"
	"slices"
)

//go:embed editions.toml
var editionsFile []byte

// A Topic is something that the editions of a standard, or two standards, say differently.
type Topic struct {
	Name     string           `toml:"name"`
	About    string           `toml:"about"`
	Rows     []string         `toml:"rows"`    // those of the list of rows that say it
	Decoder  bool             `toml:"decoder"` // it binds decoders alone: a station has nothing to choose
	Editions []EditionOfTopic `toml:"edition"` // from the oldest to the newest
}

// An EditionOfTopic is what one edition says on a topic.
type EditionOfTopic struct {
	Name     string   `toml:"name"`   // as station files and limits name it
	Source   string   `toml:"source"` // standard, section, edition
	Evidence Evidence `toml:"evidence"`
	Follows  string   `toml:"follows"` // what a station has to do by it
	// Default marks the one that holds for a station which names none: the newest that was read.
	Default bool `toml:"default"`
}

// Topics returns every topic.
func Topics() []Topic { return slices.Clone(topics) }

// FindTopic returns the topic of a name.
func FindTopic(name string) (Topic, bool) {
	i := slices.IndexFunc(topics, func(t Topic) bool { return t.Name == name })
	if i < 0 {
		return Topic{}, false
	}
	return topics[i], true
}

// Find returns the edition of a name.
func (t Topic) Find(name string) (EditionOfTopic, bool) {
	i := slices.IndexFunc(t.Editions, func(e EditionOfTopic) bool { return e.Name == name })
	if i < 0 {
		return EditionOfTopic{}, false
	}
	return t.Editions[i], true
}

// Names are the names of the editions.
func (t Topic) Names() []string {
	var names []string
	for _, e := range t.Editions {
		names = append(names, e.Name)
	}
	return names
}

// Edition returns the name of the edition by which a station is judged on a topic: the one that its claims name
// (station.Claims.Editions), or the default. A topic that is not in the catalogue, or an edition that the topic does not have, is
// a fault of the harness and panics: the review of station files refuses both before anything runs.
func Edition(topic string, claims map[string]string) (name string) {
	t, known := FindTopic(topic)
	if !known {
		panic(fmt.Sprintf("the catalogue has no topic %q", topic))
	}
	if claimed, is := claims[topic]; is {
		if _, known := t.Find(claimed); !known {
			panic(fmt.Sprintf("topic %q has no edition %q", topic, claimed))
		}
		return claimed
	}
	return t.Default().Name
}

// Default is the edition for a station that names none.
func (t Topic) Default() EditionOfTopic {
	return t.Editions[slices.IndexFunc(t.Editions, func(e EditionOfTopic) bool { return e.Default })]
}

// The topics are part of the program, as the requirements are.
var topics = func() []Topic {
	ts, err := parseTopics("editions.toml", editionsFile)
	if err != nil {
		panic(err)
	}
	return ts
}()

func parseTopics(name string, data []byte) ([]Topic, error) {
	var file struct {
		Topics []Topic `toml:"topic"`
	}
	if err := decode(name, data, &file); err != nil {
		return nil, err
	}
	seen := map[string]bool{}
	for _, t := range file.Topics {
		err := t.check()
		if err == nil && seen[t.Name] {
			err = errors.New("it stands twice")
		}
		if err != nil {
			return nil, fmt.Errorf("catalogue: %s: topic %q: %w", name, t.Name, err)
		}
		seen[t.Name] = true
	}
	return file.Topics, nil
}

func (t Topic) check() error {
	if t.Name == "" || t.About == "" || len(t.Rows) == 0 {
		return errors.New("name, about and rows must be given")
	}
	if len(t.Editions) < 2 {
		return fmt.Errorf("%d editions: wanted two at least, or there is nothing to differ", len(t.Editions))
	}
	defaults := 0
	for i, e := range t.Editions {
		switch {
		case e.Name == "" || e.Source == "" || e.Follows == "":
			return errors.New("an edition without name, source or follows")
		case !slices.Contains(kindsOfEvidence, e.Evidence):
			return fmt.Errorf("edition %q: evidence %q: wanted one of %v", e.Name, e.Evidence, kindsOfEvidence)
		case slices.Contains(t.Names()[:i], e.Name):
			return fmt.Errorf("edition %q stands twice", e.Name)
		}
		if e.Default {
			defaults++
		}
	}
	if defaults != 1 {
		return fmt.Errorf("%d editions are the default: wanted one", defaults)
	}
	return nil
}
