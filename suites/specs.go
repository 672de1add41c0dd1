package suites

import (
	"maps"

	"bufferstop/suites/conformance"
	"bufferstop/suites/examination"
	"bufferstop/suites/programming"
	"bufferstop/suites/shortcircuit"
)

// specs returns the code of every requirement by its id.
func specs() map[string]examination.Spec {
	all := map[string]examination.Spec{}
	maps.Copy(all, conformance.Specs())
	maps.Copy(all, programming.Specs())
	maps.Copy(all, shortcircuit.Specs())
	return all
}
