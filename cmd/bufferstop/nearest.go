package main

import files "bufferstop/harness/written"

// didYouMean is a hint at the name that was probably meant, or the other hint when none is near.
func didYouMean(word string, names []string, otherwise string) string {
	if near := files.Nearest(word, names); near != "" {
		return "did you mean " + near + "?"
	}
	return otherwise
}
