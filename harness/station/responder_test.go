package station_test

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"testing"

	"bufferstop/harness/dcc"
	"bufferstop/harness/link"
	"bufferstop/harness/station"
	"bufferstop/rigs"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
	"pgregory.net/rapid"
)

// shippedDialects are those that come with the program.
func shippedDialects(t require.TestingT) map[string]*station.Dialect {
	names, err := filepath.Glob("../../rigs/*.dialect.toml")
	require.NoError(t, err)
	all := map[string]*station.Dialect{}
	for _, name := range names {
		base := filepath.Base(name)
		data, err := rigs.Files.ReadFile(base)
		require.NoError(t, err)
		d, err := station.ParseDialect(base, data)
		require.NoError(t, err)
		all[base] = d
	}
	require.NotEmpty(t, all)
	return all
}

// anyCommand draws from what ParseCommand reads.
func anyCommand(t *rapid.T) station.Command {
	number := func(low, high int, name string) int { return rapid.IntRange(low, high).Draw(t, name) }
	on := func() bool { return rapid.Bool().Draw(t, "on") }
	track := func() station.Track {
		return rapid.SampledFrom([]station.Track{station.Main, station.Programming}).Draw(t, "track")
	}
	method := func() station.Method {
		return rapid.SampledFrom([]station.Method{"", station.Direct, station.Paged, station.Register, station.AddressOnly}).Draw(t, "method")
	}
	address := func() dcc.Address {
		if rapid.Bool().Draw(t, "long") {
			return dcc.Long(uint16(number(0, dcc.MaxLong, "address")))
		}
		return dcc.Short(uint16(number(1, dcc.MaxShort, "address")))
	}
	direction := func() dcc.Direction {
		return rapid.SampledFrom([]dcc.Direction{dcc.Forward, dcc.Reverse}).Draw(t, "direction")
	}
	const most = 65535
	switch rapid.SampledFrom(station.Operations()).Draw(t, "operation") {
	case station.Identify:
		return station.IdentifyCommand()
	case station.Reset:
		return station.ResetCommand()
	case station.SetPower:
		return station.SetPowerCommand(track(), on())
	case station.ReadPower:
		return station.PowerCommand(track())
	case station.ReadCurrent:
		return station.CurrentCommand(track())
	case station.SetSpeed:
		return station.SetSpeedCommand(address(), rapid.SampledFrom([]dcc.Steps{dcc.Steps28, dcc.Steps128}).Draw(t, "steps"), direction(), number(0, 300, "step"))
	case station.SetFunction:
		return station.SetFunctionCommand(address(), number(0, 300, "function"), on())
	case station.Release:
		return station.ReleaseCommand(address())
	case station.Stop:
		return station.StopCommand(address())
	case station.StopAll:
		return station.StopAllCommand()
	case station.SetAccessory:
		return station.SetAccessoryCommand(number(0, most, "accessory"), number(0, 1, "output"))
	case station.SetAspect:
		return station.SetAspectCommand(number(0, most, "accessory"), number(0, 300, "aspect"))
	case station.ReadCV:
		return station.ReadCVCommand(number(0, most, "cv"), method())
	case station.WriteCV:
		return station.WriteCVCommand(number(0, most, "cv"), byte(number(0, 255, "value")), method())
	case station.VerifyCV:
		return station.VerifyCVCommand(number(0, most, "cv"), byte(number(0, 255, "value")), method())
	case station.WriteBit:
		return station.WriteBitCommand(number(0, most, "cv"), number(0, 9, "bit"), on())
	case station.WriteBitOnMain:
		return station.WriteBitOnMainCommand(address(), number(0, most, "cv"), number(0, 9, "bit"), on())
	case station.ClearAccessory:
		return station.ClearAccessoryCommand(number(0, most, "accessory"), number(0, 1, "output"))
	case station.SetConsist:
		return station.SetConsistCommand(address(), number(0, 300, "consist"), on())
	case station.ClearConsist:
		return station.ClearConsistCommand(address())
	default:
		return station.WriteOnMainCommand(address(), number(0, most, "cv"), byte(number(0, 255, "value")))
	}
}

// anyResult draws a result of the operation, in the harness's words.
func anyResult(t *rapid.T, o station.Operation) station.Result {
	text := rapid.StringMatching(`[A-Za-z][A-Za-z0-9]{0,7}( [A-Za-z0-9.]{1,8})?`)
	r := station.Result{Means: rapid.SampledFrom([]station.Means{station.MeansDone, station.MeansDone, station.MeansDone,
		station.MeansRefused, station.MeansNoAcknowledge, station.MeansTripped}).Draw(t, "means")}
	switch {
	case r.Means == station.MeansRefused:
		r.Code = rapid.SampledFrom([]string{"-222", "-113", "-240", "5", "113"}).Draw(t, "code")
		r.Text = text.Draw(t, "text")
		return r
	case r.Means != station.MeansDone:
		return r
	}
	value := func(values ...string) {
		r.Means, r.Value = station.MeansValue, rapid.SampledFrom(values).Draw(t, "value")
	}
	switch o {
	case station.Identify:
		r.Means = station.MeansValue
		r.Identity = station.Identity{Maker: text.Draw(t, "maker"), Model: text.Draw(t, "model"), Serial: text.Draw(t, "serial"), Version: text.Draw(t, "version")}
	case station.ReadPower:
		value("on", "off", "tripped")
	case station.ReadCurrent:
		value("0", "1", "17", "1500", "3000")
	case station.VerifyCV:
		value("true", "false")
	case station.ReadCV:
		value("0", "1", "6", "128", "255")
	}
	return r
}

// served is a station that answers every command by a result, and notes the commands.
type served struct {
	t         require.TestingT
	responder *station.Responder
	far       *link.PipeEnd
	split     func(n int) int // how many bytes are fed at once
	result    station.Result
	heard     []station.Request
}

func (s *served) listen() {
	p := make([]byte, 4096)
	n, err := s.far.Read(context.Background(), p, 0)
	if err != nil {
		require.ErrorIs(s.t, err, link.ErrTimeout)
		return
	}
	for rest := p[:n]; len(rest) > 0; {
		some := s.split(len(rest))
		for _, q := range s.responder.Feed(rest[:some]) {
			result := s.result
			if q.Question == "" {
				s.heard = append(s.heard, q)
			}
			answer, err := s.responder.Answer(q, result)
			require.NoError(s.t, err)
			_, err = s.far.Write(context.Background(), answer, 0)
			require.NoError(s.t, err)
		}
		rest = rest[some:]
	}
}

// call carries a command out by the method of the driver that it belongs to.
func call(ctx context.Context, d *station.Driver, c station.Command) (string, station.Identity, error) {
	address, _ := dccAddress(c)
	number := func(name string) int { return atoi(c.Value(name)) }
	byteOf := func() byte { return byte(number("value")) }
	track := station.Track(c.Value("track"))
	m := station.Method(c.Value("method"))
	if m == "default" {
		m = ""
	}
	switch c.Operation() {
	case station.Identify:
		i, err := d.Identify(ctx)
		i.Text = ""
		return "", i, err
	case station.Reset:
		return "", station.Identity{}, d.Reset(ctx)
	case station.SetPower:
		return "", station.Identity{}, d.SetPower(ctx, track, c.Value("power") == "on")
	case station.ReadPower:
		p, err := d.Power(ctx, track)
		return string(p), station.Identity{}, err
	case station.ReadCurrent:
		i, err := d.Current(ctx, track)
		if err != nil {
			return "", station.Identity{}, err
		}
		return itoa(int(i / physic.MilliAmpere)), station.Identity{}, err
	case station.SetSpeed:
		return "", station.Identity{}, d.SetSpeed(ctx, address, dcc.Steps(number("steps")), map[string]dcc.Direction{"forward": dcc.Forward, "reverse": dcc.Reverse}[c.Value("direction")], number("step"))
	case station.SetFunction:
		return "", station.Identity{}, d.SetFunction(ctx, address, number("function"), c.Value("state") == "on")
	case station.Release:
		return "", station.Identity{}, d.Release(ctx, address)
	case station.Stop:
		return "", station.Identity{}, d.Stop(ctx, address)
	case station.StopAll:
		return "", station.Identity{}, d.StopAll(ctx)
	case station.SetAccessory:
		return "", station.Identity{}, d.SetAccessory(ctx, number("number"), number("output"))
	case station.SetAspect:
		return "", station.Identity{}, d.SetAspect(ctx, number("number"), number("aspect"))
	case station.ReadCV:
		v, err := d.ReadCV(ctx, number("cv"), m)
		if err != nil {
			return "", station.Identity{}, err
		}
		return itoa(int(v)), station.Identity{}, err
	case station.WriteCV:
		return "", station.Identity{}, d.WriteCV(ctx, number("cv"), byteOf(), m)
	case station.VerifyCV:
		same, err := d.VerifyCV(ctx, number("cv"), byteOf(), m)
		if err != nil {
			return "", station.Identity{}, err
		}
		return map[bool]string{true: "true", false: "false"}[same], station.Identity{}, err
	case station.WriteBit:
		return "", station.Identity{}, d.WriteBit(ctx, number("cv"), number("bit"), c.Value("value") == "1")
	case station.WriteBitOnMain:
		return "", station.Identity{}, d.WriteBitOnMain(ctx, address, number("cv"), number("bit"), c.Value("value") == "1")
	case station.ClearAccessory:
		return "", station.Identity{}, d.ClearAccessory(ctx, number("number"), number("output"))
	case station.SetConsist:
		return "", station.Identity{}, d.SetConsist(ctx, address, number("consist"), c.Value("facing") == "reversed")
	case station.ClearConsist:
		return "", station.Identity{}, d.ClearConsist(ctx, address)
	default:
		return "", station.Identity{}, d.WriteOnMain(ctx, address, number("cv"), byteOf())
	}
}

func TestEveryShippedDialectComesBackFromItsResponder(t *testing.T) {
	for name, d := range shippedDialects(t) {
		t.Run(name, func(t *testing.T) { comesBack(t, d) })
	}
}

// TestDialectsOfEveryFramingComeBackFromTheirResponders says the shipped dialects' messages in other ways.
func TestDialectsOfEveryFramingComeBackFromTheirResponders(t *testing.T) {
	for _, c := range []struct{ name, file, old, new string }{
		{"tolerant", "words", "end = \"\\r\\n\"", "end = \"\\r\"\ntolerant = true"},
		{"echo", "words", "end = \"\\r\\n\"", "end = \"\\r\"\nanswer_end = \"\\r\\n\"\necho = true"},
		{"no checksum", "words", "[checksum]\nkind = \"crc-8/smbus\"\nbefore = \" ~\"\n", ""},
		{"another checksum", "words", "\"crc-8/smbus\"\nbefore = \" ~\"", "\"crc-16/modbus\"\norder = \"little\""},
		{"end by silence", "new", "tolerant = true ", "answer_gap = \"5ms\" "},
		{"any text", "new", "tolerant = true ", "text = \"any\" "},
		{"escape and end", "frames", "start = \"C5 3A\"\nlength = \"1\"", "start = \"02\"\nend = \"03\"\nescape = \"10\"\nescape_xor = \"80\""},
		{"flags", "frames", "start = \"C5 3A\"\nlength = \"1\"", "start = \"7E\"\nend = \"7E\"\nescape = \"7D\""},
		{"escape and length", "frames", "start = \"C5 3A\"\nlength = \"1\"", "start = \"02\"\nlength = \"2\"\nescape = \"10\""},
		{"length inside", "frames", "start = \"C5 3A\"\nlength = \"1\"", "start = \"02\"\nlength = \"2le\"\nhead = 1\nend = \"0D 0A\"\ncounts = [\"start\", \"length\", \"head\", \"body\", \"checksum\", \"end\"]"},
		{"frames with an echo", "frames", "start = \"C5 3A\"\n", "start = \"C5 3A\"\necho = true\n"},
	} {
		t.Run(c.name, func(t *testing.T) {
			data, err := rigs.Files.ReadFile(c.file + ".dialect.toml")
			require.NoError(t, err)
			whole, _, _ := strings.Cut(string(data), "[[example]]") // which are of the shipped framing
			require.Equal(t, 1, strings.Count(whole, c.old))
			comesBack(t, parsed(t, strings.Replace(whole, c.old, c.new, 1)))
		})
	}
}

// comesBack sees that a station and a driver that both speak the dialect understand each other.
func comesBack(t *testing.T, d *station.Dialect) {
	responder, err := station.NewResponder(d)
	require.NoError(t, err)
	rapid.Check(t, func(t *rapid.T) {
		responder.Reset()
		clock := new(link.VirtualClock)
		near, far := link.Pipe(clock, 0)
		s := &served{t: t, responder: responder, far: far,
			split: func(n int) int { return rapid.IntRange(1, n).Draw(t, "bytes at once") }}
		far.OnArrival(s.listen)
		driver := station.NewDriver(d, near, clock)
		s.result = station.Result{Means: station.MeansDone, Identity: station.Identity{Maker: "a maker", Model: "a model", Serial: "1", Version: "2"}}
		require.NoError(t, driver.Resynchronise(context.Background()))

		c := anyCommand(t)
		s.result = anyResult(t, c.Operation())
		value, identity, err := call(context.Background(), driver, c)
		if errors.Is(err, station.ErrNotSupported) {
			require.Empty(t, s.heard)
			return
		}
		require.Len(t, s.heard, 1)
		require.Empty(t, s.heard[0].Problem)
		if m := s.heard[0].Command.Value("method"); c.Value("method") != "default" || m == "default" {
			require.Equal(t, c, s.heard[0].Command)
		}
		var refused *station.Refused
		switch s.result.Means {
		case station.MeansDone, station.MeansValue:
			require.NoError(t, err)
		case station.MeansNoAcknowledge:
			require.ErrorIs(t, err, station.ErrNoAcknowledge)
		case station.MeansTripped:
			require.ErrorIs(t, err, station.ErrTripped)
		default:
			require.ErrorAs(t, err, &refused)
			require.Equal(t, &station.Refused{Code: s.result.Code, Text: s.result.Text}, refused)
		}
		require.Equal(t, s.result.Value, value)
		require.Equal(t, s.result.Identity, identity)
	})
}

func TestWhatCannotBeTurnedRoundIsNamed(t *testing.T) {
	const whole = "name = \"x\"\n[[answers.common]]\nmeans = \"done\"\npattern = \"ok\"\nsay = \"ok\"\n[[answers.common]]\nmeans = \"refused\"\npattern = \"no\"\nsay = \"no\"\n" +
		"[operation.write_cv]\nsend = \"cv {cv} {value}\"\n"
	_, err := station.NewResponder(parsed(t, whole))
	require.NoError(t, err)
	for _, c := range []struct{ name, old, new, what, got string }{
		{"no way back", "send = \"cv {cv} {value}\"\n", "send = \"{f}\"\n[fields.f]\nvalue = \"cv * 256 + value\"\nback = { cv = \"f\" }\n", "fields.f.back", "no way back to {value}"},
		{"wrong way back", "send = \"cv {cv} {value}\"\n", "send = \"{f}\"\n[fields.f]\nvalue = \"cv * 256 + value\"\nback = { cv = \"f\", value = \"f % 256\" }\n", "operation.write_cv.send", "not recognised"},
		{"nothing between", "{cv} {value}", "{cv}{value}", "operation.write_cv.send", ""},
		{"the same twice", "[operation.write_cv]", "[operation.verify_cv]\nsend = \"cv {cv} {value}\"\n[[operation.verify_cv.answer]]\nmeans = \"value\"\npattern = \"(?P<value>[01])\"\nsay = \"{value}\"\n" +
			"[words.verified]\ntrue = \"1\"\nfalse = \"0\"\n[operation.write_cv]", "operation.write_cv.send", "taken for"},
		{"nothing to say", "pattern = \"ok\"\nsay = \"ok\"", "pattern = \"ok\"", "operation.write_cv", `no answer that means "done" with a say`},
		{"nothing to refuse with", "pattern = \"no\"\nsay = \"no\"", "pattern = \"no\"", "operation.write_cv", `no answer that means "refused" with a say`},
		{"no answer to the question", "[operation", "[resynchronise]\nsend = \"hey\"\npattern = \"hey\"\n[operation", "resynchronise", "no say"},
		{"no answer to the start", "[operation", "[[start]]\nsend = \"hey\"\npattern = \"hey\"\n[operation", "start[0]", "no say"},
	} {
		t.Run(c.name, func(t *testing.T) {
			require.Equal(t, 1, strings.Count(whole, c.old))
			_, err := station.NewResponder(parsed(t, strings.Replace(whole, c.old, c.new, 1)))
			first := problems(t, err)[0]
			assert.Equal(t, c.what, first.What)
			assert.Contains(t, first.Got, c.got)
			assert.Positive(t, first.Line)
		})
	}
}

// words is the responder of the example dialect "words".
func words(t testing.TB) *station.Responder {
	r, err := station.NewResponder(shippedDialects(t)["words.dialect.toml"])
	require.NoError(t, err)
	return r
}

func TestResponderSaysWhatIsNoRequest(t *testing.T) {
	r := words(t)
	// Checksums as in the examples of the dialect, computed by another program.
	for text, problem := range map[string]string{
		"who are you ~78\r\n":           "",
		"who are you ~79\r\n":           "wrong checksum",
		"who are you\r\n":               "no checksum",
		"fine ~C1\r\n":                  `"fine" is no request of dialect "words"`,
		"\x1b[2J\r\n":                   "no checksum",
		strings.Repeat("x", 300):        "more than 202 bytes without an end",
		strings.Repeat("x", 300) + "\r": "more than 202 bytes without an end",
	} {
		all := r.Feed([]byte(text))
		require.Len(t, all, 1, "%q", text)
		if problem == "" {
			assert.Empty(t, all[0].Problem)
			assert.Equal(t, station.IdentifyCommand(), all[0].Command)
			continue
		}
		assert.Contains(t, all[0].Problem, problem)
		answer, err := r.Answer(all[0], station.Result{Means: station.MeansRefused, Code: "-100", Text: "what"})
		require.NoError(t, err)
		assert.True(t, strings.HasPrefix(string(answer), "no -100 what ~"), "%q", answer)
		_, err = r.Answer(all[0], station.Result{Means: station.MeansDone})
		require.ErrorContains(t, err, "can only be refused")
		r.Reset()
	}
	assert.Empty(t, r.Feed([]byte("who are y")))
	assert.Len(t, r.Feed([]byte("ou ~78\r\nwho are you ~78\r\n")), 2)
}

func TestResponderGivesUpAFrameWithoutItsEnd(t *testing.T) {
	r, err := station.NewResponder(shippedDialects(t)["frames.dialect.toml"])
	require.NoError(t, err)
	// The beginning of a frame of nine bytes, then "stop all" as in the examples of the dialect.
	stop := []byte{0xc5, 0x3a, 0x01, 0x34}
	stop = append(stop, frameCheck(stop[2:])...)
	require.Empty(t, r.Feed(append([]byte{0xc5, 0x3a, 0x09, 0x50}, stop...)))
	all := r.Silence()
	require.Len(t, all, 2)
	assert.Contains(t, all[0].Problem, "a frame without its end")
	assert.Equal(t, station.StopAllCommand(), all[1].Command)
	assert.Empty(t, r.Silence())
	assert.Equal(t, station.StopAllCommand(), r.Feed(stop)[0].Command)
}

// frameCheck is CRC-16/KERMIT, once more and in another way than the program's: with the lowest bit first.
func frameCheck(p []byte) []byte {
	register := 0
	for _, b := range p {
		register ^= int(b)
		for range 8 {
			carry := register & 1
			register >>= 1
			register ^= carry * 0x8408
		}
	}
	return []byte{byte(register), byte(register >> 8)}
}

func TestResponderAnswersTheQuestionsBesideTheOperations(t *testing.T) {
	d := parsed(t, `name = "x"
[line]
end = "\r"
answer_end = "\r\n"
echo = true
[[start]]
send = "log off"
pattern = "log (?P<text>on|off)"
say = "log {text}"
[keep_alive]
every = "1s"
send = "hey"
pattern = "hey"
say = "hey"
[resynchronise]
send = "who"
pattern = "I am (?P<maker>.*)"
say = "I am {maker}"
[[event]]
name = "hot"
pattern = "hot (?P<value>[0-9]+)"
say = "hot {value}"
[[event]]
name = "up"
restart = true
pattern = "up"
say = "up"
[operation.stop_all]
send = "stop"
[[answers.common]]
means = "done"
pattern = "ok"
say = "ok"
[[answers.common]]
means = "refused"
pattern = "no(?P<text>.*)"
say = "no{text}"
`)
	r, err := station.NewResponder(d)
	require.NoError(t, err)
	for _, c := range []struct {
		sent, question string
		result         station.Result
		want           string
	}{
		{"who", "resynchronise", station.Result{Identity: station.Identity{Maker: "me"}}, "who\r\nI am me\r\n"},
		{"hey", "keep_alive", station.Result{}, "hey\r\nhey\r\n"},
		{"log off", "start", station.Result{Text: "off"}, "log off\r\nlog off\r\n"},
		{"stop", "", station.Result{Means: station.MeansDone}, "stop\r\nok\r\n"},
		{"stop", "", station.Result{Means: station.MeansTripped}, "stop\r\nnotripped\r\n"},
		{"stop", "", station.Result{Means: station.MeansBusy, Text: "w"}, "stop\r\nnow\r\n"},
	} {
		all := r.Feed([]byte(c.sent + "\r"))
		require.Len(t, all, 1)
		assert.Equal(t, c.question, all[0].Question)
		answer, err := r.Answer(all[0], c.result)
		require.NoError(t, err, c.sent)
		assert.Equal(t, c.want, string(answer))
	}
	hot, err := r.Event("hot", map[string]string{"value": "90"})
	require.NoError(t, err)
	assert.Equal(t, "hot 90\r\n", string(hot))
	_, err = r.Event("cold", nil)
	require.ErrorContains(t, err, `no event "cold"`)
	up, err := r.Started()
	require.NoError(t, err)
	assert.Equal(t, "up\r\n", string(up))
}

func TestResponderSaysNothingThatWouldBeMisunderstood(t *testing.T) {
	r := words(t)
	read := r.Feed([]byte("get variable 29 ~" + checksumOf("get variable 29") + "\r\n"))[0]
	require.Empty(t, read.Problem)
	for _, result := range []station.Result{
		{Means: station.MeansValue, Value: "256"},
		{Means: station.MeansValue, Value: "on"},
		{Means: station.MeansDone},
		{Means: station.MeansEvent},
		{Means: station.MeansRefused, Code: "x"},
		{Means: station.MeansRefused, Code: "1", Text: "two\r\nlines"},
		{Means: station.MeansRefused, Code: "1", Text: strings.Repeat("long ", 100)},
		{Means: station.MeansRefused, Code: "1", Text: "\x1b[2J"},
	} {
		answer, err := r.Answer(read, result)
		assert.Error(t, err, "%v", result)
		assert.Empty(t, answer)
	}
}

// checksumOf is CRC-8/SMBUS, once more and in another way than the program's: bit by bit over the message's bits.
func checksumOf(text string) string {
	register := 0
	for i := 0; i < 8*len(text); i++ {
		in := int(text[i/8]>>(7-i%8)) & 1
		out := register >> 7 & 1
		register = register << 1 & 0xff
		if in != out {
			register ^= 7
		}
	}
	return fmt.Sprintf("%02X", register)
}

func FuzzResponder(f *testing.F) {
	for _, text := range []string{"who are you ~78\r\n", "\xc5\x3a\x04\x50\x00\x1d\x00", "LOCO:SPE 3,10,FORW,128;:SYST:ERR?\n", "read 29\n", "\r\r\n\x00"} {
		for i := range 4 {
			f.Add([]byte(text), uint8(i))
		}
	}
	var responders []*station.Responder
	for _, name := range []string{"words.dialect.toml", "frames.dialect.toml", "reference.dialect.toml", "new.dialect.toml"} {
		r, err := station.NewResponder(shippedDialects(f)[name])
		require.NoError(f, err)
		responders = append(responders, r)
	}
	f.Fuzz(func(t *testing.T, stream []byte, which uint8) {
		r := responders[int(which)%len(responders)]
		r.Reset()
		for _, q := range r.Feed(stream) {
			require.Equal(t, q.Problem == "", q.Question != "" || q.Command.Words() != "")
			if _, err := r.Answer(q, station.Result{Means: station.MeansRefused, Code: "-100", Text: "no"}); err != nil && q.Question == "" {
				require.NotEmpty(t, q.Sent)
			}
		}
	})
}
