package main

import "strings"

// didYouMean is a hint at the name that was probably meant, or the other hint when none is near.
func didYouMean(word string, names []string, otherwise string) string {
	if near := nearest(word, names); near != "" {
		return "did you mean " + near + "?"
	}
	return otherwise
}

// nearest returns the name that word is probably a slip for: one that begins or goes on with it, or the one that the
// fewest changes of a letter lead to, as long as most letters stay. It returns "" when none is near.
func nearest(word string, names []string) string {
	word = strings.ToLower(word)
	if word == "" {
		return ""
	}
	best, fewest := "", 1+max(1, len([]rune(word))/3)
	for _, name := range names {
		d := distance(word, strings.ToLower(name))
		if strings.HasPrefix(strings.ToLower(name), word) {
			d = min(d, 1)
		}
		if d < fewest {
			best, fewest = name, d
		}
	}
	return best
}

// distance is the number of letters to insert, leave out, replace or swap with their neighbour on the way from a to b
// (optimal string alignment).
func distance(a, b string) int {
	s, t := []rune(a), []rune(b)
	before, above, row := make([]int, len(t)+1), make([]int, len(t)+1), make([]int, len(t)+1)
	for j := range above {
		above[j] = j
	}
	for i := range s {
		row[0] = i + 1
		for j := range t {
			replace := above[j]
			if s[i] != t[j] {
				replace++
			}
			row[j+1] = min(replace, above[j+1]+1, row[j]+1)
			if i > 0 && j > 0 && s[i] == t[j-1] && s[i-1] == t[j] {
				row[j+1] = min(row[j+1], before[j-1]+1)
			}
		}
		before, above, row = above, row, before
	}
	return above[len(t)]
}
