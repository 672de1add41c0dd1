package review_test

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"bufferstop/harness/station"
	"bufferstop/rigs"
	"bufferstop/suites/catalogue"
	"bufferstop/suites/review"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Every station file that comes with the project passes.
func TestTheStationFilesOfTheProjectPass(t *testing.T) {
	var seen []string
	require.NoError(t, filepath.WalkDir(filepath.Join("..", "..", "rigs"), func(path string, _ fs.DirEntry, err error) error {
		if err == nil && strings.HasSuffix(path, ".station.toml") {
			f, err := station.LoadFile(path)
			require.NoError(t, err)
			assert.NoError(t, review.Station(f), path)
			seen = append(seen, path)
		}
		return err
	}))
	assert.Greater(t, len(seen), 4)
	f, err := station.LoadFS(rigs.Files, "reference.station.toml")
	require.NoError(t, err)
	assert.Empty(t, review.Observations(f), "the reference station lacks nothing")
}

// parse reads the file of a station that claims everything, with a change.
func parse(t *testing.T, change func(text string) string) *station.File {
	t.Helper()
	data, err := os.ReadFile("testdata/whole.station.toml")
	require.NoError(t, err)
	f, err := station.ParseFile("my.station.toml", []byte(change(string(data))), func(string) ([]byte, error) {
		return rigs.Files.ReadFile("reference.dialect.toml")
	})
	require.NoError(t, err)
	return f
}

func problems(err error) []*station.FileError {
	var all []*station.FileError
	if joined, is := err.(interface{ Unwrap() []error }); is {
		for _, one := range joined.Unwrap() {
			var p *station.FileError
			if errors.As(one, &p) {
				all = append(all, p)
			}
		}
	}
	return all
}

func TestWhatIsWrongIsToldAtItsLine(t *testing.T) {
	const (
		steps   = `speed_steps = [28, 128]`
		short   = `short_addresses = "1..127"`
		long    = `long_addresses = "128..10239"`
		methods = `service_methods = ["direct", "address"]`
		bits    = `bit_write = true`
		tracks  = `tracks = ["main", "programming"]`
		end     = `[claims.editions]`
	)
	swap := func(pairs ...string) func(string) string { return strings.NewReplacer(pairs...).Replace }
	for name, c := range map[string]struct {
		change        func(string) string
		at            string // the text of the line that is pointed at
		what          string
		got, want, in string // in is in the hint
	}{
		"no 28 steps":       {swap(steps, `speed_steps = [128]`), `speed_steps`, "claims.speed_steps", "no 28 speed steps", "S-9.1 C (2020)", "lacks"},
		"no direct mode":    {swap(methods, `service_methods = ["address"]`, bits, ""), `service_methods`, "claims.service_methods", "no direct mode", "S-9.2.3 F", "lacks"},
		"no address mode":   {swap(methods, `service_methods = ["direct"]`), `service_methods`, "claims.service_methods", "no address-only mode", "S29", "lacks"},
		"no bit write":      {swap(bits, ""), `[claims]`, "claims.bit_write", "no bit write", "S19", "lacks"},
		"lacks a slip":      {swap(bits, `lacks = ["bit wright"]`), `lacks`, "claims.lacks[0]", `"bit wright"`, "one of", "did you mean bit write?"},
		"lacks twice":       {swap(bits, `lacks = ["bit write", "bit write"]`), `lacks`, "claims.lacks[1]", "again", "once", ""},
		"lacks what it has": {swap(bits, bits+"\n"+`lacks = ["bit write"]`), `lacks`, "claims.lacks[0]", "bit write", "does not claim", "bit_write"},
		"lacks for nothing": {swap(tracks, `tracks = ["main"]`, methods, "", bits, `lacks = ["direct mode"]`), `lacks`, "claims.lacks[0]", "direct mode", "mandatory for this", "programming track"},
		"bits alone":        {swap(methods, `service_methods = ["address"]`), bits, "claims.bit_write", "without direct", `"direct"`, "S17"},
		"unknown topic":     {swap(end, end+"\naspect = \"x\""), `aspect = `, "claims.editions.aspect", `"aspect"`, "one of", "did you mean aspects?"},
		"unknown edition":   {swap(end, end+"\naspects = \"S-9.2.1 (2021)\""), `aspects = "S`, "claims.editions.aspects", "2021", "RCN-213", "did you mean S-9.2.1 (2012)?"},
		"a decoder's":       {swap(end, end+"\n\"CV 28\" = \"RCN-217\""), `"CV 28"`, "claims.editions.CV 28", "CV 28", "one of", "decoders"},
		"aspects":           {swap(end, end+"\naspects = \"S-9.2.1 (2012)\""), `aspect_values`, "claims.aspect_values", "0..255", "0..31", "five bits"},
		"functions":         {swap(end, end+"\nfunctions = \"S-9.2.1 (2012)\"", `functions = "0..28"`, `functions = "0..44"`), `functions`, "claims.functions", "0..44", "0..28", "X19"},
		"steps alone":       {swap(short, "", long, ""), steps, "claims.speed_steps", "no address", "short_addresses", ""},
		"nothing to tell":   {swap(steps, "", `functions = "0..28"`, "", "programming_on_main = true", ""), short, "claims.short_addresses", "nothing to tell", "speed_steps", ""},
		"numbering alone":   {swap(`accessories = "1..2044"`, "", `aspects = "1..2044"`, "", `aspect_values = "0..255"`, ""), `numbering`, "claims.numbering", "nothing", "accessories", ""},
	} {
		text := ""
		f := parse(t, func(whole string) string { text = c.change(whole); return text })
		all := problems(review.Station(f))
		i := slices.IndexFunc(all, func(p *station.FileError) bool { return p.What == c.what })
		if !assert.GreaterOrEqual(t, i, 0, "%s: %v", name, all) {
			continue
		}
		p := all[i]
		assert.Contains(t, p.Got, c.got, name)
		assert.Contains(t, p.Want, c.want, name)
		assert.Contains(t, p.Hint, c.in, name)
		assert.True(t, strings.HasPrefix(strings.Split(text, "\n")[p.Line-1], c.at), "%s: line %d of %s", name, p.Line, text)
	}
	f := parse(t, func(whole string) string { return whole })
	require.NoError(t, review.Station(f))
	f.Declares.ActiveLocomotives = 1000
	assert.ErrorContains(t, review.Station(f), "4.62s at least, with 1000 locomotives")
	f.Declares.ActiveLocomotives = 20000
	assert.ErrorContains(t, review.Station(f), "the addresses that are claimed, 10239")
}

func TestSeveralThingsAreToldInTheirOrder(t *testing.T) {
	f := parse(t, func(text string) string {
		return strings.NewReplacer(`service_methods = ["direct", "address"]`, `service_methods = []`, "speed_steps = [28, 128]", "speed_steps = [128]").Replace(text)
	})
	var keys []string
	for _, p := range problems(review.Station(f)) {
		keys = append(keys, p.What)
	}
	assert.Equal(t, []string{"claims.speed_steps", "claims.service_methods", "claims.service_methods", "claims.bit_write"}, keys)
}

func TestWhatAStationLacksByItsOwnWordIsAnObservation(t *testing.T) {
	f := parse(t, func(text string) string {
		return strings.Replace(text, "bit_write = true", `lacks = ["bit write"]`, 1)
	})
	require.NoError(t, review.Station(f))
	assert.Equal(t, []string{"it lacks bit write, which S-9.2.3 E, direct mode (July 2012) makes mandatory"}, review.Observations(f))
}

// A station that does little is not asked for much.
func TestAStationForAccessoriesAloneNeedsNoMore(t *testing.T) {
	f, err := station.ParseFile("x", []byte("name = \"x\"\ndialect = \"d\"\n[claims]\ntracks = [\"main\"]\naccessories = \"1..4\"\nnumbering = \"first is raw 4\"\n"),
		func(string) ([]byte, error) { return rigs.Files.ReadFile("reference.dialect.toml") })
	require.NoError(t, err)
	assert.NoError(t, review.Station(f))
}

func TestEveryFeatureOfTheCatalogueIsKnown(t *testing.T) {
	for _, f := range catalogue.Features() {
		assert.True(t, review.Knows(f), f.Name)
		for _, row := range f.Rows {
			found := false
			for _, r := range catalogue.Rows() {
				found = found || r.ID == row
			}
			assert.True(t, found, "%s: no row %s", f.Name, row)
		}
	}
}
