package review

import (
	"fmt"
	"slices"
	"strings"

	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/harness/written"
	"bufferstop/suites/catalogue"
)

// conditions are those of features.toml.
var conditions = map[string]func(station.Claims) bool{
	"locomotives":       func(c station.Claims) bool { return len(c.SpeedSteps) > 0 },
	"programming track": func(c station.Claims) bool { return c.Track(station.Programming) },
	"direct mode":       func(c station.Claims) bool { return c.Method(station.Direct) },
}

// claimed tells, for each feature, whether a station claims it, and the key by which it would.
var claimed = map[string]struct {
	key  string
	made func(station.Claims) bool
}{
	"28 speed steps":    {"claims.speed_steps", func(c station.Claims) bool { return c.Steps(dcc.Steps28) }},
	"direct mode":       {"claims.service_methods", func(c station.Claims) bool { return c.Method(station.Direct) }},
	"address-only mode": {"claims.service_methods", func(c station.Claims) bool { return c.Method(station.AddressOnly) }},
	"bit write":         {"claims.bit_write", func(c station.Claims) bool { return c.BitWrite }},
}

// Knows reports whether there is code for the feature: its condition, and the claim that makes it.
func Knows(f catalogue.Feature) bool {
	return conditions[f.When] != nil && claimed[f.Name].made != nil
}

// features holds the claims against what is mandatory, and what the file says that the station lacks against both.
func (r *reviewer) features() {
	var names []string
	for _, f := range catalogue.Features() {
		names = append(names, f.Name)
		binds, c := conditions[f.When](r.Claims), claimed[f.Name]
		made := c.made(r.Claims)
		lacks := slices.Index(r.Claims.Lacks, f.Name)
		at := fmt.Sprintf("claims.lacks[%d]", lacks)
		switch {
		case lacks >= 0 && made:
			r.wrong(at, written.Quote(f.Name), "what the station does not claim", "it is claimed by "+strings.TrimPrefix(c.key, "claims."))
		case lacks >= 0 && !binds:
			r.wrong(at, written.Quote(f.Name), "what is mandatory for this station", "it is mandatory only with: "+f.When)
		case binds && !made && lacks < 0:
			r.wrong(c.key, "no "+f.Name, fmt.Sprintf("%s, which %s makes mandatory (%s)", f.Claim, f.Source, strings.Join(f.Rows, ", ")),
				fmt.Sprintf("a station that does not have it says lacks = [%q]", f.Name))
		}
	}
	for i, word := range r.Claims.Lacks {
		at := fmt.Sprintf("claims.lacks[%d]", i)
		if !slices.Contains(names, word) {
			r.wrong(at, written.Quote(word), fmt.Sprintf("one of %q", names), meant(word, names))
		} else if slices.Index(r.Claims.Lacks, word) < i {
			r.wrong(at, written.Quote(word)+" again", "each feature once", "")
		}
	}
}

// meant is a hint at the word that was probably meant.
func meant(word string, words []string) string {
	if near := written.Nearest(word, words); near != "" {
		return "did you mean " + near + "?"
	}
	return ""
}
