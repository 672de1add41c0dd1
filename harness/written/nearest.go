package written

import (
	"reflect"
	"slices"
	"strings"
)

// keysOf lists the keys of every table that a value may be decoded from, sorted.
func keysOf(into any) []string {
	var keys []string
	seen := map[reflect.Type]bool{}
	var walk func(t reflect.Type)
	walk = func(t reflect.Type) {
		for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice || t.Kind() == reflect.Map || t.Kind() == reflect.Array {
			t = t.Elem()
		}
		if t.Kind() != reflect.Struct || seen[t] {
			return
		}
		seen[t] = true
		for i := range t.NumField() {
			f := t.Field(i)
			if key, _, _ := strings.Cut(f.Tag.Get("toml"), ","); key != "" && key != "-" {
				keys = append(keys, key)
			}
			walk(f.Type)
		}
	}
	walk(reflect.TypeOf(into))
	slices.Sort(keys)
	return slices.Compact(keys)
}

// Nearest returns the name that word is probably a slip for: one that begins or goes on with it, or the one that the
// fewest changes of a letter lead to, as long as most letters stay. It returns "" when none is near.
func Nearest(word string, names []string) string {
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
