package station_test

import (
	"fmt"
	"strings"
	"testing"

	"bufferstop/harness/station"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// parsed is a dialect that is right.
func parsed(t testing.TB, text string) *station.Dialect {
	t.Helper()
	d, err := station.ParseDialect("x", []byte(text))
	require.NoError(t, err)
	return d
}

// spoken checks one example of a dialect: what is sent, what comes back and what it means. An empty receive leaves that out.
func spoken(t testing.TB, dialect, operation, send, receive, means string) {
	t.Helper()
	text := dialect + fmt.Sprintf("\n[[example]]\noperation = %q\nsend = %q\n", operation, send)
	if receive != "" {
		text += fmt.Sprintf("receive = %q\nmeans = %q\n", receive, means)
	}
	results := parsed(t, text).CheckExamples()
	require.Len(t, results, 1)
	assert.Empty(t, results[0].Problem, operation)
	assert.Equal(t, strings.Count(dialect, "\n")+2, results[0].Line)
}

const fineAnswer = "\n[[answers.common]]\nmeans = \"done\"\npattern = \"ok\"\nsay = \"ok\"\n"

func TestNumbersAreWrittenInTheirFormat(t *testing.T) {
	for format, want := range map[string]string{"": "29", ":4": "0029", ":x2": "1d", ":X4": "001D", ":2": "29"} {
		spoken(t, "name = \"x\"\n[operation.write_cv]\nsend = \"cv {cv"+format+"} {value}\""+fineAnswer, "write cv 29 6", "cv "+want+" 6", "ok", "done")
	}
	binary := "name = \"x\"\n[frame]\nstart = \"7E\"\nlength = \"1\"\n[answers]\ncommon = [{ means = \"done\", pattern = \"80\" }]\n[operation.write_cv]\nsend = \"10 {cv%s} {value}\"\n"
	for format, want := range map[string]string{"": "7E 03 10 1D 06", ":2": "7E 04 10 00 1D 06", ":2le": "7E 04 10 1D 00 06", ":3": "7E 05 10 00 00 1D 06", ":2i": "7E 04 10 00 1D 06"} {
		spoken(t, fmt.Sprintf(binary, format), "write cv 29 6", want, "7E 01 80", "done")
	}
}

func TestNumbersThatDoNotFitAreNotSupported(t *testing.T) {
	for send, fits := range map[string]bool{"{cv:3} {value}": false, "{cv:x2} {value}": false, "{cv:4} {value}": true, "{cv:x3} {value}": true} {
		d := parsed(t, "name = \"x\"\n[operation.write_cv]\nsend = \""+send+"\""+fineAnswer)
		s := answering(t)
		s.to("1024 6", at(0, "ok"))
		s.to("400 6", at(0, "ok"))
		err := station.NewDriver(d, s.near, s.clock).WriteCV(t.Context(), 1024, 6, "")
		if fits {
			require.NoError(t, err, send)
			continue
		}
		require.ErrorIs(t, err, station.ErrNotSupported, send)
		assert.Empty(t, s.heard)
	}
}

func TestValuesOfAnswersAreReadInTheirFormat(t *testing.T) {
	text := "name = \"x\"\n[operation.read_cv]\nsend = \"cv {cv}\"\n[[operation.read_cv.answer]]\nmeans = \"value\"\npattern = \"v(?P<value>.*)\"\nformats = { value = \"x2\" }\n"
	for answer, means := range map[string]string{"v1D": "value 29", "vff": "value 255", "v1": "unexpected", "v100": "unexpected", "vxx": "unexpected"} {
		spoken(t, text, "read cv 1", "cv 1", answer, means)
	}
	binary := "name = \"x\"\n[frame]\nstart = \"7E\"\nlength = \"1\"\n[words.track]\nmain = \"01\"\n[operation.current]\nsend = \"10 {track}\"\nunit = \"10mA\"\n" +
		"[[operation.current.answer]]\nmeans = \"value\"\npattern = \"11 (?P<value>.*)\"\nformats = { value = \"2le\" }\n"
	spoken(t, binary, "current main", "7E 02 10 01", "7E 03 11 2C 01", "value 3000")
	spoken(t, binary, "current main", "7E 02 10 01", "7E 02 11 2C", "unexpected")
	spoken(t, strings.Replace(binary, "2le", "1i", 1), "current main", "7E 02 10 01", "7E 02 11 FF", "value -10")
}

// The check values of "123456789" that the public catalogues of CRC algorithms give; those of xor and sum are arithmetic.
var checkValues = map[string]string{
	"xor": "31", "sum": "DD",
	"crc-8/smbus": "F4", "crc-8/rohc": "D0", "crc-8/autosar": "DF",
	"crc-16/arc": "BB3D", "crc-16/modbus": "4B37", "crc-16/xmodem": "31C3", "crc-16/kermit": "2189", "crc-16/ibm-3740": "29B1", "crc-16/ibm-sdlc": "906E",
}

func TestChecksumsHaveTheirPublishedCheckValues(t *testing.T) {
	dialect := "name = \"x\"\n[checksum]\nkind = \"%s\"\n%s[operation.stop_all]\nsend = \"123456789\"\n[[answers.common]]\nmeans = \"done\"\npattern = \"123456789\"\n"
	for kind, value := range checkValues {
		spoken(t, fmt.Sprintf(dialect, kind, ""), "stop all", "123456789"+value, "123456789"+strings.ToLower(value), "done")
		spoken(t, fmt.Sprintf(dialect, strings.ToUpper(kind), "before = \"*\"\n"), "stop all", "123456789*"+value, "123456789*"+value, "done")
		spoken(t, fmt.Sprintf(dialect, kind, ""), "stop all", "123456789"+value, "123456788"+value, "garbled")
		swapped := value
		if len(value) == 4 {
			swapped = value[2:] + value[:2]
		}
		spoken(t, fmt.Sprintf(dialect, kind, "order = \"little\"\n"), "stop all", "123456789"+swapped, "x", "garbled")

		frame := "name = \"x\"\n[frame]\nstart = \"31\"\nlength = \"1\"\nhead = 1\ncounts = [\"body\", \"checksum\"]\n[checksum]\nkind = \"%s\"\nfrom = \"%s\"\n" +
			"[operation.stop_all]\nsend = \"30 %s\"\n[[answers.common]]\nmeans = \"done\"\npattern = \".*\"\n"
		body := "31 32 33 34 35 36 37 38 39"
		bytes := value
		if len(value) == 4 {
			bytes = value[:2] + " " + value[2:]
		}
		whole := fmt.Sprintf("31 30 %02X %s %s", 9+len(value)/2, body, bytes)
		spoken(t, fmt.Sprintf(frame, kind, "body", body), "stop all", whole, whole, "done")
	}
	assert.Len(t, checkValues, 11)
}

func TestChecksumOfAFrameCoversWhatItSays(t *testing.T) {
	for from, sum := range map[string]string{"start": "BA", "head": "15", "length": "05", "body": "03"} {
		text := "name = \"x\"\n[frame]\nstart = \"A5\"\nlength = \"1\"\nhead = 1\nend = \"0D\"\n[checksum]\nkind = \"sum\"\nfrom = \"" + from + "\"\n" +
			"[operation.stop_all]\nsend = \"10 01 02\"\n[[answers.common]]\nmeans = \"done\"\npattern = \"80 .*\"\n"
		spoken(t, text, "stop all", "A5 10 02 01 02 "+sum+" 0D", "", "")
	}
}

func TestFieldsAreComputedFromTheValues(t *testing.T) {
	text := "name = \"x\"\n[fields.pace]\nvalue = \"bitor(direction == 'forward' ? 128 : 0, step)\"\n[fields.mode]\nvalue = \"steps == 128 ? 'fine' : 'coarse'\"\n" +
		"[operation.set_speed]\nsend = \"go {address} {pace:x2} {mode}\"" + fineAnswer
	spoken(t, text, "speed 3 forward 10 of 128", "go 3 8a fine", "ok", "done")
	spoken(t, text, "speed 3 reverse 10 of 28", "go 3 0a coarse", "ok", "done")
}

func TestFieldThatCannotBeComputedIsNotSupported(t *testing.T) {
	for _, value := range []string{"step % (cv - cv)", "cv % (value - value)", "bitshl(cv, 0 - value)", "cv * 100000", "-cv"} {
		d, err := station.ParseDialect("x", []byte("name = \"x\"\n[fields.f]\nvalue = \""+value+"\"\n[operation.write_cv]\nsend = \"{f:x4} {cv} {value}\""+fineAnswer))
		if strings.Contains(value, "step") {
			require.ErrorContains(t, err, "computed from {step}")
			continue
		}
		require.NoError(t, err, value)
		s := answering(t)
		require.ErrorIs(t, station.NewDriver(d, s.near, s.clock).WriteCV(t.Context(), 3, 6, ""), station.ErrNotSupported, value)
	}
}

func TestNewKeysAreCheckedWhenTheyAreRead(t *testing.T) {
	const head = "name = \"x\"\n"
	const stop = "[operation.stop_all]\nsend = \"stop\"" + fineAnswer
	const go3 = "[operation.write_cv]\nsend = \"{cv} {value} {f}\"" + fineAnswer
	const binary = "[operation.stop_all]\nsend = \"10\"\n[[answers.common]]\nmeans = \"done\"\npattern = \"80\"\n"
	for _, c := range []struct{ name, text, what, got string }{
		{"format", head + "[operation.write_cv]\nsend = \"{cv:9} {value}\"" + fineAnswer, "operation.write_cv.send", "{cv:9}"},
		{"format of a word", head + "[words.track]\nmain = \"m\"\n[words.power]\non=\"1\"\noff=\"0\"\n[operation.set_power]\nsend = \"{track:2}{power}\"" + fineAnswer, "operation.set_power.send", "{track:2} and [words.track]"},
		{"binary format in text", head + "[operation.write_cv]\nsend = \"{cv:2le} {value}\"" + fineAnswer, "operation.write_cv.send", "{cv:2le}"},
		{"unknown checksum", head + "[checksum]\nkind = \"crc-12\"\n" + stop, "checksum.kind", "crc-12"},
		{"order", head + "[checksum]\nkind = \"xor\"\norder = \"middle\"\n" + stop, "checksum.order", "middle"},
		{"from in a line", head + "[checksum]\nkind = \"xor\"\nfrom = \"body\"\n" + stop, "checksum.from", "body"},
		{"before in a frame", head + "[frame]\nstart = \"A5\"\nlength = \"1\"\n[checksum]\nkind = \"xor\"\nbefore = \"*\"\n" + binary, "checksum.before", "*"},
		{"line and frame", head + "[line]\nend = \"\\n\"\n[frame]\nstart = \"A5\"\nlength = \"1\"\n" + binary, "line", "[line] and [frame]"},
		{"no start", head + "[frame]\nlength = \"1\"\n" + binary, "frame.start", `""`},
		{"start that is no bytes", head + "[frame]\nstart = \"A\"\nlength = \"1\"\n" + binary, "frame.start", `"A"`},
		{"no length", head + "[frame]\nstart = \"A5\"\n" + binary, "frame", "no length"},
		{"length in two's complement", head + "[frame]\nstart = \"A5\"\nlength = \"1i\"\n" + binary, "frame.length", `"1i"`},
		{"counts nothing", head + "[frame]\nstart = \"A5\"\nlength = \"1\"\ncounts = [\"start\"]\n" + binary, "frame.counts", "no body"},
		{"counts something else", head + "[frame]\nstart = \"A5\"\nlength = \"1\"\ncounts = [\"body\", \"soul\"]\n" + binary, "frame.counts[1]", "soul"},
		{"limit beyond the length", head + "[frame]\nstart = \"A5\"\nlength = \"1\"\nlimit = 256\n" + binary, "frame.limit", "256"},
		{"escape is the start", head + "[frame]\nstart = \"A5\"\nend = \"0D\"\nescape = \"A5\"\n" + binary, "frame.escape", "A5"},
		{"escape into itself", head + "[frame]\nstart = \"A5\"\nend = \"85\"\nescape = \"7D\"\n" + binary, "frame.escape_xor", "20"},
		{"escape_xor alone", head + "[frame]\nstart = \"A5\"\nlength = \"1\"\nescape_xor = \"20\"\n" + binary, "frame.escape_xor", "20"},
		{"template that is no bytes", head + "[frame]\nstart = \"A5\"\nlength = \"1\"\n" + stop, "operation.stop_all.send", "stop"},
		{"words that are no bytes", head + "[frame]\nstart = \"A5\"\nlength = \"1\"\n[words.track]\nmain = \"m\"\n" + binary, "words.track.main", `"m"`},
		{"payload without its head", head + "[frame]\nstart = \"A5\"\nlength = \"1\"\nhead = 2\n" + binary, "operation.stop_all.send", "a payload of 1 bytes"},
		{"payload beyond the limit", head + "[frame]\nstart = \"A5\"\nlength = \"1\"\nlimit = 3\n[operation.write_cv]\nsend = \"10 {cv:2} {value}\"\n[[answers.common]]\nmeans = \"done\"\npattern = \"80\"\n", "operation.write_cv.send", "a payload of 4 bytes"},
		{"question that is no bytes", head + "[frame]\nstart = \"A5\"\nlength = \"1\"\n[resynchronise]\nsend = \"who\"\npattern = \"x\"\n" + binary, "resynchronise.send", "who"},
		{"gap and end", head + "[line]\nanswer_gap = \"20ms\"\nanswer_end = \"\\n\"\n" + stop, "line.answer_gap", "20ms"},
		{"gap and echo", head + "[line]\nanswer_gap = \"20ms\"\necho = true\n" + stop, "line.answer_gap", "20ms"},
		{"too many answers", head + stop + strings.Repeat("[[answers.other]]\nmeans = \"done\"\npattern = \"x\"\n", 65), "answers.other", "65 patterns"},
		{"too many events", head + stop + strings.Repeat("[[event]]\nname = \"e\"\npattern = \"x\"\n", 65), "event", "65 patterns"},
		{"text", head + "[line]\ntext = \"some\"\n" + stop, "line.text", "some"},
		{"tolerant of another end", head + "[line]\ntolerant = true\nanswer_end = \";\"\n" + stop, "line.answer_end", ";"},
		{"field of nothing", head + "[fields.f]\nvalue = \"\"\n" + stop, "fields.f.value", "nothing"},
		{"field that is a value", head + "[fields.cv]\nvalue = \"step\"\n" + stop, "fields.cv", "cv"},
		{"field with an unknown value", head + "[fields.f]\nvalue = \"cv + voltage\"\n" + go3, "fields.f.value", "column 6"},
		{"field that is no syntax", head + "[fields.f]\nvalue = \"cv +\"\n" + go3, "fields.f.value", "column"},
		{"field with a division", head + "[fields.f]\nvalue = \"cv / 2\"\n" + go3, "fields.f.value", "something else"},
		{"field of a truth", head + "[fields.f]\nvalue = \"cv == 2\"\n" + go3, "fields.f.value", "something else"},
		{"field with a loop", head + "[fields.f]\nvalue = \"len(map(1..1000000, # + cv))\"\n" + go3, "fields.f.value", "in \"len(map"},
		{"field with a range", head + "[fields.f]\nvalue = \"len(1..1000000)\"\n" + go3, "fields.f.value", "the operator .."},
		{"field with a power", head + "[fields.f]\nvalue = \"int(cv ** 2)\"\n" + go3, "fields.f.value", "the operator **"},
		{"field with a function of time", head + "[fields.f]\nvalue = \"now().Year()\"\n" + go3, "fields.f.value", "in \"now"},
		{"field that repeats", head + "[fields.f]\nvalue = \"repeat('x', cv)\"\n" + go3, "fields.f.value", "the function repeat"},
		{"field with variables", head + "[fields.f]\nvalue = \"let x = cv; x + x\"\n" + go3, "fields.f.value", "something else"},
		{"field that is long", head + "[fields.f]\nvalue = \"cv" + strings.Repeat(" + cv", 100) + "\"\n" + go3, "fields.f.value", "201 parts"},
		{"field that is very deep", head + "[fields.f]\nvalue = \"" + strings.Repeat("(", 20000) + "cv" + strings.Repeat(")", 20000) + "\"\n" + go3, "fields.f.value", "40002 bytes"},
		{"back to another value", head + "[fields.f]\nvalue = \"cv + 1\"\nback = { step = \"f\" }\n" + go3, "fields.f.back.step", "step"},
		{"back of another type", head + "[fields.f]\nvalue = \"cv + 1\"\nback = { cv = \"'x'\" }\n" + go3, "fields.f.back.cv", "string"},
		{"format of a text field", head + "[fields.f]\nvalue = \"cv > 1 ? 'a' : 'b'\"\n[operation.read_cv]\nsend = \"{cv} {f:2}\"\n[[operation.read_cv.answer]]\nmeans = \"value\"\npattern = \"(?P<value>.)\"" + fineAnswer, "operation.read_cv.send", "which is a text"},
		{"formats of text", head + "[operation.stop_all]\nsend = \"s\"\n[[operation.stop_all.answer]]\nmeans = \"refused\"\npattern = \"(?P<text>.)\"\nformats = { text = \"x2\" }" + fineAnswer, "operation.stop_all.answer[0].formats.text", "text"},
		{"formats", head + "[operation.stop_all]\nsend = \"s\"\n[[operation.stop_all.answer]]\nmeans = \"refused\"\npattern = \"(?P<code>.)\"\nformats = { code = \"y\" }" + fineAnswer, "operation.stop_all.answer[0].formats.code", "y"},
		{"say that does not match", head + "[operation.stop_all]\nsend = \"s\"\n[[operation.stop_all.answer]]\nmeans = \"refused\"\npattern = \"no (?P<code>[0-9]+)\"\nsay = \"no{code}\"" + fineAnswer, "operation.stop_all.answer[0].say", "does not match"},
		{"say of an event that does not match", head + "[[event]]\nname = \"e\"\npattern = \"a\"\nsay = \"b\"\n" + stop, "event[0].say", "does not match"},
		{"say with another value", head + "[[event]]\nname = \"e\"\npattern = \"a\"\nsay = \"{cv}\"\n" + stop, "event[0].say", "{cv}"},
		{"start without a pattern", head + "[[start]]\nsend = \"a\"\n" + stop, "start[0].pattern", "no pattern"},
		{"start of two lines", head + "[[start]]\nsend = \"a\\nb\"\npattern = \"x\"\n" + stop, "start[0].send", "line end"},
		{"keep-alive without a time", head + "[keep_alive]\nsend = \"a\"\npattern = \"x\"\n" + stop, "keep_alive.every", "no time"},
		{"example of nothing", head + stop + "[[example]]\noperation = \"stop all\"\n", "example[0]", "neither"},
		{"example of no operation", head + stop + "[[example]]\noperation = \"stop al\"\nsend = \"x\"\n", "example[0].operation", "did you mean all"},
		{"example of another operation", head + stop + "[[example]]\noperation = \"reset\"\nsend = \"x\"\n", "example[0].operation", "reset"},
		{"example without a meaning", head + stop + "[[example]]\noperation = \"stop all\"\nreceive = \"x\"\n", "example[0]", "one of receive and means"},
		{"example of no meaning", head + stop + "[[example]]\noperation = \"stop all\"\nreceive = \"x\"\nmeans = \"fine\"\n", "example[0].means", "fine"},
		{"example that receives a number", head + stop + "[[example]]\noperation = \"stop all\"\nreceive = 3\nmeans = \"done\"\n", "example[0].receive", "3"},
		{"example of an answer to nothing", head + stop + "[[example]]\nreceive = \"x\"\nmeans = \"done\"\n", "example[0].means", "done"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := station.ParseDialect("x", []byte(c.text))
			first := problems(t, err)[0]
			assert.Equal(t, c.what, first.What, "%v", err)
			assert.Contains(t, first.Error(), c.got)
			assert.Positive(t, first.Line, "%v", err)
			assert.NotContains(t, first.Error(), "\n")
		})
	}
}

func TestExamplesThatDoNotComeOutSayWhy(t *testing.T) {
	dialect := "name = \"x\"\n[operation.stop_all]\nsend = \"stop\"\n[[event]]\nname = \"e\"\npattern = \"hey\"" + fineAnswer + "[[example]]\n"
	for example, want := range map[string]string{
		"operation = \"stop all\"\nsend = \"halt\"":                                  `sent as "stop", the example has "halt"`,
		"operation = \"stop all\"\nreceive = \"ok\"\nmeans = \"refused\"":            `it means "done", the example has "refused"`,
		"operation = \"stop all\"\nreceive = \"no\"\nmeans = \"done\"":               `it means "unexpected"`,
		"operation = \"stop all\"\nreceive = \"\\u0001\"\nmeans = \"done\"":          `it means "garbled"`,
		"operation = \"stop all\"\nreceive = \"hey\"\nmeans = \"done\"":              `it means "nothing"`,
		"receive = \"hey\"\nmeans = \"event f\"":                                     `it means "event e"`,
		"receive = \"ok\"\nmeans = \"event e\"":                                      `"ok" is no event`,
		"operation = \"stop all\"\nreceive = [\"hey\", \"ok\"]\nmeans = \"done\"":    "",
		"operation = \"stop all\"\nreceive = [\"hey\", \"ok\"]\nmeans = \"event e\"": "",
	} {
		results := parsed(t, dialect+example+"\n").CheckExamples()
		require.Len(t, results, 1)
		if want == "" {
			assert.Empty(t, results[0].Problem, example)
			continue
		}
		assert.Contains(t, results[0].Problem, want, example)
	}
}
