package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// shellWord quotes a word of a command line for a POSIX shell where it needs it.
func shellWord(word string) string {
	special := func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("-_./:=,+@%", r))
	}
	if word != "" && !strings.ContainsFunc(word, special) {
		return word
	}
	return "'" + strings.ReplaceAll(word, "'", `'\''`) + "'"
}

// known refuses a name that is not in the list, with a hint at the one that was probably meant or the other hint.
func known(what, where, name string, list []string, otherwise string) error {
	if slices.Contains(list, name) {
		return nil
	}
	m := &mistake{What: what, Where: where, Got: quote(name)}
	if len(list) <= 8 {
		m.Want = oneOf(list)
	}
	m.Hint = didYouMean(name, list, otherwise)
	return m
}

// count is how many there are, as text.
func count(words []string) string { return fmt.Sprint(len(words)) }

// plural counts things whose name takes an s.
func plural(n int, name string) string {
	if n == 1 {
		return "1 " + name
	}
	return fmt.Sprintf("%d %ss", n, name)
}

// harmless shows text of unknown origin: what does not print is escaped, and quotation marks stay as they are.
func harmless(text string) string {
	var b strings.Builder
	for _, r := range text {
		if r != utf8.RuneError && unicode.IsPrint(r) {
			b.WriteRune(r)
			continue
		}
		b.WriteString(strings.Trim(strconv.QuoteRuneToASCII(r), "'"))
	}
	return b.String()
}
