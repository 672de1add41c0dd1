package main

import (
	"slices"
	"strings"
)

// A listed thing can be looked for by its words.
type listed interface{ words() []string }

// find keeps of a list what has every one of the words in one of its texts: an id, a part of a sentence or of a source,
// the name of a defect. Capitals make no difference. An id given whole stands for itself: E1 is not E10 too.
func find[T listed](list []T, words []string) ([]T, error) {
	for _, word := range words {
		kept := slices.DeleteFunc(slices.Clone(list), func(one T) bool { return !hasWord(one, word) })
		if len(kept) == 0 {
			return nil, &mistake{What: "nothing found", Where: "bufferstop requirements", Got: quote(word),
				Want: "an id, or words of a title, a sentence or a source", Hint: didYouMean(word, idsOf(list), "several words narrow it down; "+
					`"in quotes" they have to stand together`)}
		}
		list = kept
	}
	return list, nil
}

func hasWord[T listed](one T, word string) bool {
	texts := one.words()
	word = strings.ToLower(word)
	for _, text := range texts {
		text = strings.ToLower(text)
		if text == word || !isID(word) && strings.Contains(text, word) {
			return true
		}
	}
	return false
}

// isID reports whether a word in small letters looks like the id of a requirement or of a fact: sig-001, e1, x16. A source, as in
// s-9.2, has a point.
func isID(word string) bool {
	letters := strings.TrimRight(word, "0123456789")
	digits := len(word) - len(letters)
	letters = strings.TrimSuffix(letters, "-")
	return digits > 0 && letters != "" && strings.Trim(letters, "abcdefghijklmnopqrstuvwxyz") == ""
}

func idsOf[T listed](list []T) []string {
	var ids []string
	for _, one := range list {
		ids = append(ids, one.words()[0])
	}
	return ids
}

func (r listedRequirement) words() []string {
	texts := []string{r.ID, r.Title, r.Suite, r.Level, r.Sentence, r.Source, r.Evidence}
	for _, l := range r.Limits {
		texts = append(texts, l.Quantity, l.Source, l.Edition)
	}
	return slices.Concat(texts, r.Tracks, r.Needs, r.Claims, r.Editions, r.Duties, r.Defects)
}

func (d listedDuty) words() []string {
	return append([]string{d.ID, d.Binds, d.Fact, d.Source, d.Evidence, d.Explained, d.Instrument}, d.Requirements...)
}

func (t listedTopic) words() []string {
	texts := append([]string{t.Topic, t.About}, t.Rows...)
	for _, e := range t.Editions {
		texts = append(texts, e.Name, e.Source, e.Evidence, e.Follows)
	}
	return texts
}
