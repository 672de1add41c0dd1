package catalogue

import (
	_ "embed"
	"errors"
	"fmt"
	"slices"
)

//go:embed features.toml
var featuresFile []byte

// A Feature is something that a standard makes mandatory for a station that claims something else.
type Feature struct {
	Name     string   `toml:"name"`
	When     string   `toml:"when"` // the condition under which it is mandatory, as suites/review knows it
	Duty     string   `toml:"duty"` // the sentence, in our own words
	Source   string   `toml:"source"`
	Evidence Evidence `toml:"evidence"`
	Rows     []string `toml:"rows"`  // those of rows.toml that say so
	Claim    string   `toml:"claim"` // the line of a station file that claims it
}

// Features returns every mandatory feature.
func Features() []Feature { return slices.Clone(features) }

var features = func() []Feature {
	fs, err := parseFeatures("features.toml", featuresFile)
	if err != nil {
		panic(err)
	}
	return fs
}()

func parseFeatures(name string, data []byte) ([]Feature, error) {
	var file struct {
		Features []Feature `toml:"feature"`
	}
	if err := decode(name, data, &file); err != nil {
		return nil, err
	}
	seen := map[string]bool{}
	for _, f := range file.Features {
		var err error
		switch {
		case f.Name == "" || f.When == "" || f.Duty == "" || f.Source == "" || f.Claim == "" || len(f.Rows) == 0:
			err = errors.New("name, when, duty, source, claim and rows must be given")
		case !slices.Contains(kindsOfEvidence, f.Evidence):
			err = fmt.Errorf("evidence %q: wanted one of %v", f.Evidence, kindsOfEvidence)
		case seen[f.Name]:
			err = errors.New("it stands twice")
		}
		if err != nil {
			return nil, fmt.Errorf("catalogue: %s: feature %q: %w", name, f.Name, err)
		}
		seen[f.Name] = true
	}
	return file.Features, nil
}
