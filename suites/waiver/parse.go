package waiver

import (
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"bufferstop/harness/record"
	"bufferstop/harness/written"
	"bufferstop/suites/catalogue"

	"github.com/pelletier/go-toml/v2"
)

type file struct {
	Waivers []table `toml:"waiver"`
}

type table struct {
	Requirement string `toml:"requirement"`
	Track       string `toml:"track"`
	Reason      string `toml:"reason"`
	Owner       string `toml:"owner"`
	Expires     any    `toml:"expires"`
	Expected    any    `toml:"expected"`
}

// Load reads a file of waivers, as Parse does. It reads no more of it than shows that it is too long.
func Load(name string) ([]record.Waiver, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	data, err := io.ReadAll(io.LimitReader(f, written.MaxBytes+1))
	if err = errors.Join(err, f.Close()); err != nil {
		return nil, err
	}
	return Parse(name, data)
}

// Parse reads a file of waivers from TOML; name stands for it in errors, which are *written.Error, joined. The keys, all strict,
// of each [[waiver]]; all but track are needed:
//
//	requirement = "SIG-002"        the id of a requirement
//	track = "main"                 one of its tracks; left out for all of them, and then each has to fail
//	reason = "..."                 why it is let pass
//	owner = "firmware maintainer"  the role that sees to it
//	expires = 2026-12-31           the last day on which it holds (UTC)
//	expected = "halves of a one"   a part of the failure's text as reports have it, or a list of such texts
//
// Whether they have expired Parse does not look at: Apply does.
func Parse(name string, data []byte) ([]record.Waiver, error) {
	var f file
	d, ok := written.Open(name, data, &f)
	if !ok {
		return nil, d.Err()
	}
	if len(f.Waivers) == 0 {
		d.Fail("waiver", "no waiver", "at least one [[waiver]]", "leave the file away when there is nothing to waive")
	}
	var all []record.Waiver
	for i, t := range f.Waivers {
		at := fmt.Sprintf("waiver[%d]", i)
		w := t.read(d, at)
		t.checkRequirement(d, at)
		for k, other := range all {
			if w.Requirement == other.Requirement && (w.Track == other.Track || w.Track == "" || other.Track == "") {
				d.Fail(at+".requirement", written.Quote(w.Requirement)+" again", "one waiver for a requirement on a track",
					fmt.Sprintf("waiver %d has it already; expected may be a list", k+1))
			}
		}
		all = append(all, w)
	}
	return all, d.Err()
}

// read takes the texts and the date of one waiver.
func (t table) read(d *written.Document, at string) record.Waiver {
	w := record.Waiver{Requirement: t.Requirement, Track: t.Track, Reason: t.Reason, Owner: t.Owner}
	for _, text := range []struct{ key, got, want string }{
		{"requirement", t.Requirement, `the id of a requirement, as in requirement = "SIG-001"`},
		{"reason", t.Reason, "why the failure is let pass"},
		{"owner", t.Owner, `the role that sees to it, as in owner = "firmware maintainer"`},
	} {
		if strings.TrimSpace(text.got) == "" {
			d.Fail(at+"."+text.key, "nothing", text.want, "")
		}
	}
	w.Expires = readDate(d, at+".expires", t.Expires)
	w.Expected = readTexts(d, at+".expected", t.Expected)
	return w
}

// readDate reads a date of TOML, or a text that is one.
func readDate(d *written.Document, path string, value any) string {
	const want = "the last day on which the waiver holds, as in expires = 2026-12-31"
	text := ""
	switch v := value.(type) {
	case nil:
		d.Fail(path, "nothing", want, "")
		return ""
	case toml.LocalDate:
		text = v.String()
	case string:
		text = v
	default:
		text = fmt.Sprint(v)
	}
	if _, err := time.Parse(time.DateOnly, text); err != nil {
		d.Fail(path, written.Quote(text), want, "year, month and day, and no time")
	}
	return text
}

// readTexts reads a text or a list of texts.
func readTexts(d *written.Document, path string, value any) []string {
	const want = "a part of the failure's text as reports have it, or a list of such texts"
	var all []string
	switch v := value.(type) {
	case string:
		all = append(all, v)
	case []any:
		for i, one := range v {
			text, is := one.(string)
			if !is {
				d.Fail(fmt.Sprintf("%s[%d]", path, i), written.Quote(fmt.Sprint(one)), want, "")
				continue
			}
			all = append(all, text)
		}
	case nil:
	default:
		d.Fail(path, written.Quote(fmt.Sprint(v)), want, "")
		return nil
	}
	if len(all) == 0 {
		d.Fail(path, "nothing", want, `it is what the console says behind "failure", for instance`)
	}
	for _, text := range all {
		if strings.TrimSpace(text) == "" {
			d.Fail(path, "an empty text", want, "an empty text is in every failure")
		}
	}
	return all
}

// checkRequirement finds out whether there is the requirement, and whether it is checked on the track.
func (t table) checkRequirement(d *written.Document, at string) {
	if strings.TrimSpace(t.Requirement) == "" {
		return // that was said
	}
	r, known := catalogue.Find(t.Requirement)
	if !known {
		var ids []string
		for _, r := range catalogue.All() {
			ids = append(ids, r.ID)
		}
		hint := "bufferstop requirements lists them"
		if near := written.Nearest(t.Requirement, ids); near != "" {
			hint = "did you mean " + near + "?"
		}
		d.Fail(at+".requirement", written.Quote(t.Requirement), "the id of a requirement", hint)
		return
	}
	if t.Track != "" && !slices.Contains(r.Tracks, t.Track) {
		d.Fail(at+".track", written.Quote(t.Track), fmt.Sprintf("a track on which %s is checked: %s", r.ID, strings.Join(r.Tracks, ", ")), "")
	}
}
