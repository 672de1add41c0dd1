package suites

import (
	"maps"

	"bufferstop/suites/catalogue"
	"bufferstop/suites/conformance"
	"bufferstop/suites/examination"
	"bufferstop/suites/programming"
	"bufferstop/suites/shortcircuit"
)

// specs returns the code of every requirement by its id. Those that are judged throughout a run ask what was heard in it.
func specs(h *hearing) map[string]examination.Spec {
	all := map[string]examination.Spec{}
	for _, r := range catalogue.All() {
		if r.Throughout {
			all[r.ID] = h.judge
		}
	}
	maps.Copy(all, conformance.Specs())
	maps.Copy(all, programming.Specs())
	maps.Copy(all, shortcircuit.Specs())
	return all
}
