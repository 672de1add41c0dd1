package station

import (
	"maps"
	"slices"
	"strings"

	"bufferstop/harness/written"
)

// dialectParser checks a dialect file and turns it into a Dialect.
type dialectParser struct {
	*document
	file *dialectFile
	d    *Dialect
	// lists are the shared answers, by name.
	lists map[string][]answer
	// checked holds the answers whose say need not be looked at again, by path.
	checked map[string]bool
}

func (p *dialectParser) dialect() *Dialect {
	f := p.file
	p.checked = map[string]bool{}
	p.d = &Dialect{
		name:      f.Name,
		binary:    f.Frame != nil,
		write:     p.Positive("time.write", f.Time.Write, defaultWrite),
		busyPause: p.Positive("time.busy_pause", f.Time.BusyPause, defaultBusyPause),
		quiet:     p.Positive("time.quiet", f.Time.Quiet, defaultQuiet),
		firstLong: p.Between("address.first_long", f.Address.FirstLong, 0, 10240, defaultFirstLong),
		places:    p.document,
	}
	if f.Name == "" {
		p.Fail("name", "no name", `a name, as in name = "my station"`, "")
	}
	p.framing()
	p.words()
	p.fields()
	p.sharedAnswers()
	p.events()
	p.questions()
	p.operations(p.Positive("time.answer", f.Time.Answer, defaultAnswer))
	p.examples()
	return p.d
}

// framing reads [line] or [frame], and [checksum].
func (p *dialectParser) framing() {
	check := p.checksum()
	window, echo := p.file.Line.Window, p.file.Line.Echo
	at := "line"
	if f := p.file.Frame; f != nil {
		if p.file.Line != (lineFile{}) {
			p.Fail("line", "[line] and [frame]", "one of them", "[frame] is for binary messages; it has limit, window and echo of its own")
		}
		window, echo, at = f.Window, f.Echo, "frame"
		p.frames(check)
	} else {
		p.lines(check)
	}
	p.d.window = p.Between(at+".window", window, 1, 1024, defaultWindow)
	p.d.echo = echo != nil && *echo
}

// words reads the tables of words, and turns round those that answers use.
func (p *dialectParser) words() {
	p.d.words = map[valueName]map[string]string{}
	p.d.meanings = map[valueName]map[string]string{}
	for _, table := range slices.Sorted(maps.Keys(p.file.Words)) {
		path := "words." + table
		name := valueName(table)
		v, known := vocabularies[name]
		if !known && !slices.Contains(takesWords, name) {
			p.Fail(path, written.Quote(table), "one of "+wordTables(), "")
			continue
		}
		words := p.file.Words[table]
		meanings := map[string]string{}
		for _, text := range slices.Sorted(maps.Keys(words)) {
			if known && !slices.Contains(v.may, text) {
				p.Fail(path+"."+text, written.Quote(text), "one of "+strings.Join(v.may, ", "), "the harness's text stands left, the station's word right")
			}
			if p.d.binary {
				bytes, err := hexBytes(words[text])
				if err != nil {
					p.Fail(path+"."+text, written.Quote(words[text]), `bytes in hexadecimal, as in "01"`, "")
				}
				words[text] = hexText(bytes)
			}
			if other, taken := meanings[words[text]]; taken && name != method {
				p.Fail(path+"."+text, written.Quote(words[text]), "another word than that of "+other, "")
			}
			meanings[words[text]] = text
		}
		for _, text := range v.must {
			if _, ok := words[text]; !ok {
				p.Fail(path, "no word for "+text, "a word for each of "+strings.Join(v.must, ", "), "")
			}
		}
		p.d.words[name] = words
		p.d.meanings[name] = meanings
	}
}

func wordTables() string {
	var all []string
	for name := range vocabularies {
		all = append(all, string(name))
	}
	for _, name := range takesWords {
		all = append(all, string(name))
	}
	slices.Sort(all)
	return strings.Join(all, ", ")
}
