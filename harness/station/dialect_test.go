package station_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"bufferstop/harness/link"
	"bufferstop/harness/station"
	"bufferstop/rigs"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestReferenceDialectKnowsAllOperationsAndTheirTimes(t *testing.T) {
	d := reference(t)
	assert.Equal(t, "reference", d.Name())
	assert.Equal(t, station.Operations(), d.Operations())
	assert.Equal(t, time.Second, d.Timeout(station.StopAll))
	assert.Equal(t, 6*time.Second, d.Timeout(station.ReadCV))
	assert.Zero(t, d.Timeout("fly"))
}

// small is a dialect that is right; the cases below spoil it.
const small = `name = "small"
[words.track]
main = "m"
[words.power]
on = "1"
off = "0"
[[answers.common]]
means = "done"
pattern = "ok"
[operation.set_power]
send = "power {track} {power}"
`

// problems takes the errors of a file apart.
func problems(t *testing.T, err error) []*station.FileError {
	t.Helper()
	require.Error(t, err)
	var all []*station.FileError
	var walk func(error)
	walk = func(err error) {
		if many, ok := err.(interface{ Unwrap() []error }); ok {
			for _, one := range many.Unwrap() {
				walk(one)
			}
			return
		}
		var one *station.FileError
		require.True(t, errors.As(err, &one), "%T: %v", err, err)
		all = append(all, one)
	}
	walk(err)
	return all
}

func TestDialectErrorsNamePlaceGotAndWanted(t *testing.T) {
	_, err := station.ParseDialect("x", []byte(small))
	require.NoError(t, err)
	for _, c := range []struct {
		name, old, new string
		line, column   int
		what, got      string
	}{
		{"unknown key", `pattern = "ok"`, "pattern = \"ok\"\ncolour = 3", 10, 1, "key", "answers.common.colour"},
		{"unknown table", "[operation.set_power]", "[engine]\n[operation.set_power]", 10, 2, "key", "engine"},
		{"syntax", `name = "small"`, `name = "small`, 1, 0, "syntax", `name = `},
		{"wrong type", `name = "small"`, `name = 3`, 1, 8, "name", "name = 3"},
		{"no name", `name = "small"`, `name = ""`, 1, 8, "name", "no name"},
		{"unknown operation", "[operation.set_power]", "[operation.fly]", 10, 2, "operation.fly", `"fly"`},
		{"unknown value", "{power}", "{voltage}", 11, 8, "operation.set_power.send", "{voltage}"},
		{"value of another operation", "{power}", "{power} {cv}", 11, 8, "operation.set_power.send", "{cv}"},
		{"forgotten value", "power {track} {power}", "power {power}", 11, 8, "operation.set_power.send", "no {track}"},
		{"open brace", "{power}", "{power", 11, 8, "operation.set_power.send", "a { with no }"},
		{"closing brace", "{power}", "power}", 11, 8, "operation.set_power.send", "a } with no {"},
		{"nothing sent", `"power {track} {power}"`, `""`, 11, 8, "operation.set_power.send", "nothing"},
		{"line end inside", "power {track}", `power\n{track}`, 11, 8, "operation.set_power.send", "line end"},
		{"fixed and used", "[operation.set_power]", "[operation.set_power]\nfixed = { track = \"main\" }", 11, 19, "operation.set_power.fixed.track", "{track} in send as well"},
		{"fixed for another operation", "[operation.set_power]", "[operation.set_power]\nfixed = { cv = \"1\" }", 11, 16, "operation.set_power.fixed.cv", `"cv"`},
		{"fixed to nonsense", "power {track}", "power", 11, 8, "operation.set_power.send", "no {track}"},
		{"no words", "[words.track]\nmain = \"m\"\n", "", 9, 8, "operation.set_power.send", "{track} and no [words.track]"},
		{"unknown words", "[words.track]", "[words.colour]\nred = \"r\"\n[words.track]", 2, 2, "words.colour", `"colour"`},
		{"unknown word", `main = "m"`, `main = "m"` + "\nyard = \"y\"", 4, 8, "words.track.yard", `"yard"`},
		{"missing word", `off = "0"`, "", 4, 2, "words.power", "no word for off"},
		{"the same word twice", `off = "0"`, `off = "1"`, 5, 6, "words.power.on", `"1"`},
		{"unknown meaning", `means = "done"`, `means = "fine"`, 8, 9, "answers.common[0].means", `"fine"`},
		{"bad pattern", `"ok"`, `"(ok"`, 9, 11, "answers.common[0].pattern", `"(ok"`},
		{"pattern that closes the bracket", `"ok"`, `"ok)|(x"`, 9, 11, "answers.common[0].pattern", `"ok)|(x"`},
		{"unknown group", `"ok"`, `"(?P<colour>ok)"`, 9, 11, "answers.common[0].pattern", `"colour"`},
		{"no pattern", `pattern = "ok"`, ``, 7, 3, "answers.common[0].pattern", "no pattern"},
		{"value without need", `pattern = "ok"`, "pattern = \"ok\"\nvalue = \"1\"", 10, 9, "answers.common[0].value", `"1"`},
		{"never done", `means = "done"`, `means = "busy"`, 10, 2, "operation.set_power", `no answer that means "done"`},
		{"unknown list", "[operation.set_power]", "[operation.set_power]\nuse = [\"common\", \"other\"]", 11, 18, "operation.set_power.use[1]", `"other"`},
		{"time without unit", "[operation.set_power]", "[operation.set_power]\ntimeout = \"5\"", 11, 11, "operation.set_power.timeout", `"5"`},
		{"time below zero", "[words.track]", "[time]\nquiet = \"-1s\"\n[words.track]", 3, 9, "time.quiet", `"-1s"`},
		{"no line end", "[words.track]", "[line]\nend = \"\"\n[words.track]", 3, 7, "line.end", `""`},
		{"limit", "[words.track]", "[line]\nlimit = 0\n[words.track]", 3, 9, "line.limit", "0"},
		{"unit of nothing", "[operation.set_power]", "[operation.set_power]\nunit = \"1mA\"", 11, 8, "operation.set_power.unit", `"1mA"`},
		{"event without name", "[operation.set_power]", "[[event]]\npattern = \"x\"\n[operation.set_power]", 10, 3, "event[0].name", "no name"},
		{"second event", "[operation.set_power]", "[[event]]\nname = \"a\"\npattern = \"x\"\n[[event]]\nname = \"b\"\npattern = \"(\"\n[operation.set_power]", 15, 11, "event[1].pattern", `"("`},
		{"question without text", "[operation.set_power]", "[resynchronise]\npattern = \"x\"\n[operation.set_power]", 10, 2, "resynchronise.send", "nothing"},
	} {
		t.Run(c.name, func(t *testing.T) {
			require.Equal(t, 1, strings.Count(small, c.old), "the case has to change one place")
			text := strings.Replace(small, c.old, c.new, 1)
			_, err := station.ParseDialect("my.dialect.toml", []byte(text))
			first := problems(t, err)[0]
			assert.Equal(t, "my.dialect.toml", first.File)
			assert.Equal(t, c.line, first.Line, "%v", err)
			if c.column > 0 {
				assert.Equal(t, c.column, first.Column, "%v", err)
			}
			assert.Equal(t, c.what, first.What)
			assert.Contains(t, first.Got, c.got)
			assert.NotEmpty(t, first.Want)
			assert.NotContains(t, first.Error(), "\n", "one line for one problem")
		})
	}
}

func TestAnswersOfAQueryNeedAValue(t *testing.T) {
	const query = small + `[operation.read_cv]
send = "cv {cv} {method}"
[words.method]
direct = "d"
`
	_, err := station.ParseDialect("x", []byte(query))
	all := problems(t, err)
	require.Len(t, all, 1)
	assert.Equal(t, `no answer that means "value"`, all[0].Got)

	_, err = station.ParseDialect("x", []byte(query+"[[operation.read_cv.answer]]\nmeans = \"value\"\npattern = \"[0-9]+\"\n"))
	all = problems(t, err)
	require.Len(t, all, 1)
	assert.Contains(t, all[0].Got, "no group named value")

	_, err = station.ParseDialect("x", []byte(query+"[[operation.read_cv.answer]]\nmeans = \"value\"\npattern = \"(?P<value>[0-9]+)\"\n"))
	require.NoError(t, err)

	_, err = station.ParseDialect("x", []byte(small+"[operation.verify_cv]\nsend = \"{cv}={value}\"\n"+
		"[[operation.verify_cv.answer]]\nmeans = \"value\"\npattern = \"(?P<value>.)\"\n"))
	all = problems(t, err)
	require.Len(t, all, 1)
	assert.Equal(t, "no [words.verified]", all[0].Got)
}

func TestAllProblemsOfAFileAreToldInOrder(t *testing.T) {
	text := strings.NewReplacer(`"ok"`, `"(ok"`, "{power}", "{voltage}", `name = "small"`, `nome = "small"`).Replace(small)
	_, err := station.ParseDialect("x", []byte(text))
	var lines []int
	for _, p := range problems(t, err) {
		lines = append(lines, p.Line)
	}
	// The unknown key, the pattern, the template, and that there is no name anywhere.
	assert.Equal(t, []int{1, 9, 11, 0}, lines)
}

func TestTemplatesMayHoldBraces(t *testing.T) {
	text := strings.Replace(small, "power {track} {power}", "{{{track}}}{power}", 1)
	d, err := station.ParseDialect("x", []byte(text))
	require.NoError(t, err)
	s := answering(t)
	s.to("{m}1", at(0, "ok"))
	require.NoError(t, station.NewDriver(d, s.near, s.clock).SetPower(t.Context(), station.Main, true))
}

func TestDialectMayEndLinesInAnotherWayThanTheStation(t *testing.T) {
	d, err := station.ParseDialect("x", []byte("name = \"x\"\n[line]\nend = \"\\n\"\nanswer_end = \"\\r\\n\"\n"+
		"[operation.stop_all]\nsend = \"!\"\n[[operation.stop_all.answer]]\nmeans = \"done\"\npattern = \"ok\"\n"))
	require.NoError(t, err)
	s := answering(t)
	s.to("!", says{0, "ok\r\n"})
	require.NoError(t, station.NewDriver(d, s.near, s.clock).StopAll(t.Context()))
}

func TestGiganticFileIsRefused(t *testing.T) {
	_, err := station.ParseDialect("x", make([]byte, 2<<20))
	assert.Equal(t, "size", problems(t, err)[0].What)
}

func FuzzDialect(f *testing.F) {
	for _, name := range []string{"reference", "words", "frames", "new"} {
		whole, err := rigs.Files.ReadFile(name + ".dialect.toml")
		require.NoError(f, err)
		f.Add(string(whole))
	}
	f.Add(small)
	f.Add("a.b = 1\n[a]\nb = 2\n")
	f.Add("[[a]]\n[a.b]\n[[a.c]]\nx = [{y = 1}, [2]]\n")
	f.Fuzz(func(t *testing.T, text string) {
		d, err := station.ParseDialect("fuzz", []byte(text))
		if err != nil {
			for _, p := range problems(t, err) {
				require.NotEmpty(t, p.Want)
				require.LessOrEqual(t, p.Line, strings.Count(text, "\n")+1)
			}
			return
		}
		// What was accepted can be used: nothing panics, and every operation ends.
		for _, r := range d.Review() {
			require.NotEmpty(t, r.What)
			require.LessOrEqual(t, r.Line, strings.Count(text, "\n")+1)
		}
		for _, r := range d.CheckExamples() {
			require.Positive(t, r.Line)
		}
		if r, err := station.NewResponder(d); err == nil {
			r.Feed([]byte("halt everything\r\n\xc5\x3a\x01\x34"))
		}
		clock := new(link.VirtualClock)
		near, far := link.Pipe(clock, 0)
		far.OnArrival(func() {
			p := make([]byte, 1<<16)
			if n, err := far.Read(t.Context(), p, 0); err == nil {
				_, _ = far.Write(t.Context(), p[:n], 0)
			}
		})
		driver := station.NewDriver(d, near, clock)
		for _, o := range everyOperation {
			_, _ = o.call(t.Context(), driver)
		}
	})
}

func FuzzAnswer(f *testing.F) {
	f.Add("6;0,\"No error\"\n", uint8(18))
	f.Add("0,\"No error\"\n", uint8(0))
	f.Add("110,\"No acknowledge\"\n", uint8(18))
	f.Add("\x00\xff\r\n1,2\n", uint8(3))
	f.Add(strings.Repeat("x", 5000), uint8(9))
	d := reference(f)
	f.Fuzz(func(t *testing.T, answer string, which uint8) {
		o := everyOperation[int(which)%len(everyOperation)]
		s := answering(t)
		s.to(o.sent, says{0, answer})
		driver := station.NewDriver(d, s.near, s.clock)
		got, err := o.call(t.Context(), driver)
		last := driver.LastExchange()
		if err != nil {
			require.Equal(t, zero(o.result), got)
			require.Equal(t, err, last.Err)
		} else {
			require.Positive(t, last.RoundTrip())
			require.Contains(t, answer, last.Answer)
		}
		// Whatever it said, the next operation is not confused by it.
		delete(s.answers, "LOCO:STOP 9;:SYST:ERR?")
		s.to("LOCO:STOP 9;:SYST:ERR?", at(0, `-200,"Execution error"`))
		_, err = driver.Power(t.Context(), station.Main)
		require.Error(t, err)
	})
}
