package station

import (
	"regexp"
	"regexp/syntax"
	"strings"
)

// patternSamples are some messages that a pattern matches. There may be none: not every pattern matches anything, and not
// everything that matches is found.
func patternSamples(pattern *regexp.Regexp) []string {
	tree, err := syntax.Parse(pattern.String(), syntax.Perl)
	if err != nil {
		return nil
	}
	var all []string
	for variant := range sampleVariants {
		s := sampler{variant: variant}
		s.write(tree)
		text := s.out.String()
		if pattern.MatchString(text) && (len(all) == 0 || all[len(all)-1] != text) {
			all = append(all, text)
		}
	}
	return all
}

const (
	sampleVariants = 6
	sampleBytes    = 4096 // that a sample may have: a pattern may ask for many
	sampleSteps    = 1 << 14
)

// A sampler writes a text that a pattern matches. Variants take other branches, characters and repetitions.
type sampler struct {
	variant int
	choice  int
	steps   int // pieces of the pattern taken: repetitions of repetitions may write nothing, and long
	out     strings.Builder
}

func (s *sampler) write(r *syntax.Regexp) {
	if s.steps++; s.steps > sampleSteps || s.out.Len() > sampleBytes {
		return
	}
	repeat := func(least, most int) {
		n := least + s.variant%3
		if most >= 0 {
			n = min(n, most)
		}
		for i := 0; i < n && s.steps <= sampleSteps && s.out.Len() <= sampleBytes; i++ {
			s.write(r.Sub[0])
		}
	}
	switch r.Op {
	case syntax.OpLiteral:
		s.out.WriteString(string(r.Rune))
	case syntax.OpCharClass:
		s.out.WriteRune(s.of(r.Rune))
	case syntax.OpAnyChar, syntax.OpAnyCharNotNL:
		s.out.WriteRune(s.of([]rune{'0', '9', 'A', 'F'}))
	case syntax.OpCapture:
		s.write(r.Sub[0])
	case syntax.OpStar:
		repeat(0, -1)
	case syntax.OpPlus:
		repeat(1, -1)
	case syntax.OpQuest:
		repeat(0, 1)
	case syntax.OpRepeat:
		repeat(r.Min, r.Max)
	case syntax.OpConcat:
		for _, sub := range r.Sub {
			s.write(sub)
		}
	case syntax.OpAlternate:
		s.write(r.Sub[s.variant%len(r.Sub)])
	}
}

// of is a character of a class, which is pairs of first and last. Plain letters and digits go before others.
func (s *sampler) of(class []rune) rune {
	s.choice++
	const plain = "0A1b2C9zF"
	for i := range len(plain) {
		c := rune(plain[(i+s.variant+s.choice)%len(plain)])
		for j := 0; j+1 < len(class); j += 2 {
			if class[j] <= c && c <= class[j+1] {
				return c
			}
		}
	}
	if len(class) == 0 {
		return 'x'
	}
	return class[0]
}
