package station_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"bufferstop/harness/dcc"
	"bufferstop/harness/link"
	"bufferstop/harness/station"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
)

// adapterFile is a station file with an adapter; more stands in its table.
func adapterFile(t testing.TB, more string) *station.File {
	t.Helper()
	f, err := station.ParseFile("a.station.toml", []byte("name = \"a\"\n[adapter]\ncommand = [\"./mine\"]\n"+more+"\n[claims]\ntracks = [\"main\"]\n"), nil)
	require.NoError(t, err)
	return f
}

// A question as an adapter reads it.
type question map[string]any

// scriptedAdapter is an adapter that runs in the goroutine of the driver.
type scriptedAdapter struct {
	t     testing.TB
	clock *link.VirtualClock
	near  *link.PipeEnd
	far   *link.PipeEnd
	rest  []byte
	asked []question
	// says holds what is said to a question, in which # stands for its number. What is not there gets no answer.
	says map[string][]says
}

const introduction = `{"id":#,"hello":{"version":1,"name":"mine 1.0","operations":["identify","reset","set_power","power","current","set_speed",` +
	`"set_function","release","stop","stop_all","set_accessory","set_aspect","read_cv","write_cv","verify_cv","write_bit","write_on_main",` +
	`"write_bit_on_main","clear_accessory","set_consist","clear_consist"]}}`

func newScriptedAdapter(t testing.TB) *scriptedAdapter {
	a := &scriptedAdapter{t: t, clock: new(link.VirtualClock), says: map[string][]says{
		"hello": {at(0, introduction)}, "ping": {at(0, `{"id":#,"done":true}`)}}}
	a.near, a.far = link.Pipe(a.clock, time.Millisecond)
	a.far.OnArrival(a.listen)
	return a
}

func (a *scriptedAdapter) listen() {
	p := make([]byte, 64<<10)
	n, err := a.far.Read(a.t.Context(), p, 0)
	if err != nil {
		return
	}
	a.rest = append(a.rest, p[:n]...)
	for {
		line, rest, found := bytes.Cut(a.rest, []byte("\n"))
		if !found {
			return
		}
		a.rest = rest
		var q question
		if json.Unmarshal(line, &q) != nil {
			continue
		}
		a.asked = append(a.asked, q)
		for _, s := range a.says[q["ask"].(string)] {
			a.clock.At(a.clock.Now()+s.after, func() {
				_, _ = a.far.Write(a.t.Context(), []byte(strings.ReplaceAll(s.text, "#", fmt.Sprint(q["id"]))), 0)
			})
		}
	}
}

// questions are the names of what was asked.
func (a *scriptedAdapter) questions() (names []string) {
	for _, q := range a.asked {
		names = append(names, q["ask"].(string))
	}
	return names
}

func (a *scriptedAdapter) driver(f *station.File, options ...station.Option) *station.Driver {
	return f.Driver(a.near, a.clock, options...)
}

func TestAdapterIsAskedInTheHousesWords(t *testing.T) {
	for _, c := range []struct {
		call   func(context.Context, *station.Driver) (any, error)
		asked  string // without the id
		answer string
		want   any
	}{
		{func(ctx context.Context, d *station.Driver) (any, error) { return d.Identify(ctx) }, `"ask":"identify","within_ms":2000`,
			`"value":{"maker":"m","model":"o","serial":"s","version":"v","text":"m o s v"}`, station.Identity{Maker: "m", Model: "o", Serial: "s", Version: "v", Text: "m o s v"}},
		{func(ctx context.Context, d *station.Driver) (any, error) { return d.Identify(ctx) }, `"ask":"identify","within_ms":2000`,
			`"value":{"maker":"m","version":"3"}`, station.Identity{Maker: "m", Version: "3", Text: "m,,,3"}},
		{func(ctx context.Context, d *station.Driver) (any, error) { return nil, d.Reset(ctx) }, `"ask":"reset","within_ms":3000`, `"done":true`, nil},
		{func(ctx context.Context, d *station.Driver) (any, error) {
			return nil, d.SetPower(ctx, station.Programming, true)
		},
			`"ask":"set_power","within_ms":3000,"track":"programming","power":"on"`, `"done":true`, nil},
		{func(ctx context.Context, d *station.Driver) (any, error) { return d.Power(ctx, station.Main) },
			`"ask":"power","within_ms":2000,"track":"main"`, `"value":"tripped"`, station.Tripped},
		{func(ctx context.Context, d *station.Driver) (any, error) { return d.Current(ctx, station.Main) },
			`"ask":"current","within_ms":2000,"track":"main"`, `"value":12.5`, 12500 * physic.MicroAmpere},
		{func(ctx context.Context, d *station.Driver) (any, error) {
			return nil, d.SetSpeed(ctx, dcc.Long(1000), dcc.Steps128, dcc.Reverse, 126)
		}, `"ask":"set_speed","within_ms":2000,"address":1000,"kind":"long","steps":128,"direction":"reverse","step":126`, `"done":true`, nil},
		{func(ctx context.Context, d *station.Driver) (any, error) {
			return nil, d.SetFunction(ctx, dcc.Short(3), 28, false)
		},
			`"ask":"set_function","within_ms":2000,"address":3,"kind":"short","function":28,"state":"off"`, `"done":true`, nil},
		{func(ctx context.Context, d *station.Driver) (any, error) { return nil, d.Release(ctx, dcc.Short(3)) },
			`"ask":"release","within_ms":2000,"address":3,"kind":"short"`, `"done":true`, nil},
		{func(ctx context.Context, d *station.Driver) (any, error) { return nil, d.Stop(ctx, dcc.Short(3)) },
			`"ask":"stop","within_ms":2000,"address":3,"kind":"short"`, `"done":true`, nil},
		{func(ctx context.Context, d *station.Driver) (any, error) { return nil, d.StopAll(ctx) }, `"ask":"stop_all","within_ms":2000`, `"done":true`, nil},
		{func(ctx context.Context, d *station.Driver) (any, error) { return nil, d.SetAccessory(ctx, 2044, 1) },
			`"ask":"set_accessory","within_ms":2000,"number":2044,"output":1`, `"done":true`, nil},
		{func(ctx context.Context, d *station.Driver) (any, error) { return nil, d.SetAspect(ctx, 7, 255) },
			`"ask":"set_aspect","within_ms":2000,"number":7,"aspect":255`, `"done":true`, nil},
		{func(ctx context.Context, d *station.Driver) (any, error) { return d.ReadCV(ctx, 29, station.Paged) },
			`"ask":"read_cv","within_ms":10000,"cv":29,"method":"paged"`, `"value":6.0`, byte(6)},
		{func(ctx context.Context, d *station.Driver) (any, error) { return nil, d.WriteCV(ctx, 1, 255, "") },
			`"ask":"write_cv","within_ms":10000,"cv":1,"value":255,"method":"default"`, `"done":true`, nil},
		{func(ctx context.Context, d *station.Driver) (any, error) {
			return d.VerifyCV(ctx, 1, 0, station.Direct)
		},
			`"ask":"verify_cv","within_ms":10000,"cv":1,"value":0,"method":"direct"`, `"value":true`, true},
		{func(ctx context.Context, d *station.Driver) (any, error) { return nil, d.WriteBit(ctx, 29, 5, true) },
			`"ask":"write_bit","within_ms":10000,"cv":29,"bit":5,"value":1,"method":"default"`, `"done":true`, nil},
		{func(ctx context.Context, d *station.Driver) (any, error) {
			return nil, d.WriteOnMain(ctx, dcc.Short(3), 3, 10)
		},
			`"ask":"write_on_main","within_ms":2000,"address":3,"kind":"short","cv":3,"value":10`, `"done":true`, nil},
		{func(ctx context.Context, d *station.Driver) (any, error) {
			return nil, d.WriteBitOnMain(ctx, dcc.Long(1000), 29, 5, true)
		}, `"ask":"write_bit_on_main","within_ms":2000,"address":1000,"kind":"long","cv":29,"bit":5,"value":1`, `"done":true`, nil},
		{func(ctx context.Context, d *station.Driver) (any, error) { return nil, d.ClearAccessory(ctx, 310, 0) },
			`"ask":"clear_accessory","within_ms":2000,"number":310,"output":0`, `"done":true`, nil},
		{func(ctx context.Context, d *station.Driver) (any, error) {
			return nil, d.SetConsist(ctx, dcc.Short(3), 34, true)
		}, `"ask":"set_consist","within_ms":2000,"address":3,"kind":"short","consist":34,"facing":"reversed"`, `"done":true`, nil},
		{func(ctx context.Context, d *station.Driver) (any, error) {
			return nil, d.ClearConsist(ctx, dcc.Short(3))
		},
			`"ask":"clear_consist","within_ms":2000,"address":3,"kind":"short"`, `"done":true`, nil},
	} {
		a := newScriptedAdapter(t)
		d := a.driver(adapterFile(t, ""))
		var asked struct{ Ask string }
		require.NoError(t, json.Unmarshal([]byte("{"+c.asked+"}"), &asked))
		a.says[asked.Ask] = []says{at(0, `{ "note": {"free": 1}, `+c.answer+`, "id": # }`)}
		got, err := c.call(t.Context(), d)
		require.NoError(t, err, asked.Ask)
		assert.Equal(t, c.want, got, asked.Ask)
		last := d.LastExchange()
		id := fmt.Sprint(a.asked[len(a.asked)-1]["id"])
		assert.Equal(t, `{"id":`+id+`,`+c.asked+`}`, last.Sent)
		assert.True(t, strings.HasPrefix(last.Answer, `{"id":`+id+`,`+c.answer[:7]), "the answer is shown in one way: %s", last.Answer)
		assert.Equal(t, []string{"hello", "ping", asked.Ask}, a.questions())
	}
}

func TestAdapterOutcomesAreThoseOfADialect(t *testing.T) {
	for said, check := range map[string]func(*testing.T, error){
		`"refused":{"code":"-222","text":"too much"}`: func(t *testing.T, err error) {
			var refused *station.Refused
			require.ErrorAs(t, err, &refused)
			assert.Equal(t, station.Refused{Code: "-222", Text: "too much"}, *refused)
		},
		`"refused":{}`:          func(t *testing.T, err error) { require.ErrorContains(t, err, "the station refused") },
		`"no_acknowledge":true`: func(t *testing.T, err error) { require.ErrorIs(t, err, station.ErrNoAcknowledge) },
		`"tripped":true`:        func(t *testing.T, err error) { require.ErrorIs(t, err, station.ErrTripped) },
		`"busy":true`:           func(t *testing.T, err error) { require.ErrorIs(t, err, station.ErrBusy) },
		`"not_supported":"no"`:  func(t *testing.T, err error) { require.ErrorIs(t, err, station.ErrNotSupported) },
		`"unexpected":"?\u0007"`: func(t *testing.T, err error) {
			var unexpected *station.UnexpectedAnswer
			require.ErrorAs(t, err, &unexpected)
			assert.Equal(t, "?\a", unexpected.Got)
		},
		`"silent":true`: func(t *testing.T, err error) {
			require.ErrorIs(t, err, link.ErrTimeout)
			var broken *station.AdapterError
			require.False(t, errors.As(err, &broken), "the adapter has done its part")
		},
		`"failed":"cable\u001b[2J"`: func(t *testing.T, err error) {
			var broken *station.AdapterError
			require.ErrorAs(t, err, &broken)
			assert.NotContains(t, err.Error(), "\x1b", "what an adapter says is quoted")
			assert.Contains(t, err.Error(), "cable")
		},
	} {
		t.Run(said, func(t *testing.T) {
			a := newScriptedAdapter(t)
			a.says["read_cv"] = []says{at(0, `{"id":#,`+said+`}`)}
			d := a.driver(adapterFile(t, ""))
			_, err := d.ReadCV(t.Context(), 29, "")
			check(t, err)
			a.says["read_cv"] = []says{at(0, `{"id":#,"value":29}`)}
			v, err := d.ReadCV(t.Context(), 29, "")
			require.NoError(t, err)
			assert.EqualValues(t, 29, v)
			if !strings.Contains(said, "unexpected") {
				assert.Equal(t, "read_cv", a.questions()[len(a.asked)-2], "they stay in step")
			}
		})
	}
}

func TestAnswerToAnEarlierQuestionIsNoAnswer(t *testing.T) {
	a := newScriptedAdapter(t)
	a.says["read_cv"] = []says{at(0, `{"id":#,"value":1}`)}
	d := a.driver(adapterFile(t, ""))
	_, err := d.ReadCV(t.Context(), 1, "")
	require.NoError(t, err)
	earlier := fmt.Sprint(a.asked[len(a.asked)-1]["id"])
	a.says["read_cv"] = []says{at(0, `{"id":`+earlier+`,"value":77}`), at(time.Millisecond, `{"id":#,"value":29}`), at(2*time.Millisecond, `{"id":#,"value":30}`)}
	for range 3 {
		v, err := d.ReadCV(t.Context(), 29, "")
		require.NoError(t, err)
		assert.EqualValues(t, 29, v)
	}
}

func TestDriversOfOneAdapterDoNotMistakeEachOthersAnswers(t *testing.T) {
	a := newScriptedAdapter(t)
	f := adapterFile(t, "")
	a.says["read_cv"] = []says{at(12*time.Second, `{"id":#,"value":77}`)}
	_, err := a.driver(f).ReadCV(t.Context(), 29, "")
	require.ErrorIs(t, err, link.ErrTimeout)
	a.says["read_cv"] = []says{at(2*time.Second, `{"id":#,"value":29}`)}
	v, err := a.driver(f).ReadCV(t.Context(), 29, "")
	require.NoError(t, err)
	assert.EqualValues(t, 29, v)
}

func TestEventsOfAnAdapterAreKeptApart(t *testing.T) {
	a := newScriptedAdapter(t)
	a.says["stop_all"] = []says{at(0, `{"text":"71 °C","event":"hot","x":[ 1 ]}`), at(0, `{"id":#,"done":true}`)}
	d := a.driver(adapterFile(t, ""))
	require.NoError(t, d.StopAll(t.Context()))
	heard, more := d.Unsolicited()
	assert.Zero(t, more)
	require.Len(t, heard, 1)
	assert.Equal(t, "hot", heard[0].Event)
	assert.Equal(t, `{"event":"hot","text":"71 °C","x":[1]}`, heard[0].Text)
}

func TestAdapterTellsThatTheStationRestarted(t *testing.T) {
	a := newScriptedAdapter(t)
	a.says["stop_all"] = []says{at(0, `{"id":#,"done":true}`)}
	d := a.driver(adapterFile(t, ""))
	require.NoError(t, d.StopAll(t.Context()))
	a.says["stop_all"] = []says{at(0, `{"event":"restarted","text":"power lost"}`), at(time.Millisecond, `{"id":#,"failed":"power lost"}`)}
	err := d.StopAll(t.Context())
	require.ErrorIs(t, err, station.ErrRestarted)
	assert.Equal(t, 1, d.Restarts())
	assert.Equal(t, station.StationFault, d.Diagnose(t.Context(), err).Fault)
	a.says["stop_all"] = []says{at(0, `{"id":#,"done":true}`)}
	require.NoError(t, d.StopAll(t.Context()))
}

func TestOperationThatTheAdapterLacksIsNotAsked(t *testing.T) {
	a := newScriptedAdapter(t)
	a.says["hello"] = []says{at(0, `{"id":#,"hello":{"version":1,"name":"small","operations":["stop_all","stop_all"],"tells_restarts":true}}`)}
	a.says["stop_all"] = []says{at(0, `{"id":#,"done":true}`)}
	f := adapterFile(t, "")
	d := a.driver(f)
	_, said := f.Adapter.Introduction()
	assert.False(t, said)
	require.NoError(t, d.StopAll(t.Context()))
	introduced, said := f.Adapter.Introduction()
	assert.True(t, said)
	assert.Equal(t, station.Introduction{Name: "small", Operations: []station.Operation{station.StopAll}, TellsRestarts: true}, introduced)
	for name, call := range map[string]func() error{
		"operation":       func() error { return d.Reset(t.Context()) },
		"in a flood":      func() error { _, err := d.Flood(t.Context(), time.Second); return err },
		"all locomotives": func() error { return d.Stop(t.Context(), dcc.Broadcast) },
	} {
		require.ErrorIs(t, call(), station.ErrNotSupported, name)
	}
	assert.Equal(t, []string{"hello", "ping", "stop_all"}, a.questions())
}

func TestTrackThatNoStationHasIsNotAsked(t *testing.T) {
	a := newScriptedAdapter(t)
	_, err := a.driver(adapterFile(t, "")).Power(t.Context(), `yard","x":"`)
	require.ErrorIs(t, err, station.ErrNotSupported)
	assert.Empty(t, a.asked)
}

func TestFloodOfAnAdapterIsOneQuestionAfterTheOther(t *testing.T) {
	a := newScriptedAdapter(t)
	a.says["set_function"] = []says{at(3*time.Millisecond, `{"id":#,"done":true}`)}
	report, err := a.driver(adapterFile(t, "")).Flood(t.Context(), time.Second)
	require.NoError(t, err)
	assert.InDelta(t, 200, report.Sent, 2)
	assert.Equal(t, report.Sent, report.Done)
}

// reborn is a link to a program that ends, and is there again at the next call.
type reborn struct {
	*scriptedAdapter
	*link.PipeEnd
	ended bool
}

func (r *reborn) Read(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	if r.ended {
		r.ended = false
		r.asked = nil
		return 0, fmt.Errorf("%w: exit status 3", link.ErrClosed)
	}
	return r.PipeEnd.Read(ctx, p, timeout)
}

func TestAdapterThatWasStartedAgainIntroducesItselfAgain(t *testing.T) {
	a := newScriptedAdapter(t)
	a.says["stop_all"] = []says{at(0, `{"id":#,"done":true}`)}
	over := &reborn{a, a.near, false}
	d := adapterFile(t, "").Driver(over, a.clock)
	require.NoError(t, d.StopAll(t.Context()))
	over.ended = true
	err := d.StopAll(t.Context())
	require.ErrorIs(t, err, link.ErrClosed)
	assert.Contains(t, err.Error(), "exit status 3")
	var broken *station.AdapterError
	require.ErrorAs(t, err, &broken)
	require.NoError(t, d.StopAll(t.Context()))
	assert.Equal(t, []string{"hello", "ping", "stop_all"}, a.questions())
}

func TestEndOfTheContextIsNoFaultOfTheAdapter(t *testing.T) {
	a := newScriptedAdapter(t)
	d := a.driver(adapterFile(t, ""))
	require.NoError(t, d.Resynchronise(t.Context()))
	ctx, cancel := context.WithCancel(t.Context())
	a.clock.At(a.clock.Now()+50*time.Millisecond, cancel)
	err := d.StopAll(ctx)
	require.ErrorIs(t, err, context.Canceled)
	var broken *station.AdapterError
	require.False(t, errors.As(err, &broken))
}

func TestStationFileSaysWhatIsWrongWithAnAdapter(t *testing.T) {
	none := func(string) ([]byte, error) { return []byte(small), nil }
	for name, c := range map[string]struct{ text, what, got string }{
		"both":            {"dialect = \"d\"\n[adapter]\ncommand = [\"x\"]", "adapter", "an adapter and a dialect"},
		"neither":         {"", "dialect", "no dialect"},
		"no command":      {"[adapter]\ncommand = []", "adapter.command", "no command"},
		"empty command":   {"[adapter]\ncommand = [\"\", \"x\"]", "adapter.command", "no command"},
		"zero byte":       {"[adapter]\ncommand = [\"a\\u0000b\"]", "adapter.command", `"a\x00b"`},
		"link not handed": {"link = \"tcp://h:1\"\n[adapter]\ncommand = [\"x\", \"y\"]", "link", "told nothing"},
		"timeout":         {"[adapter]\ncommand = [\"x\"]\ntimeout = \"3\"", "adapter.timeout", `"3"`},
		"unknown timeout": {"[adapter]\ncommand = [\"x\"]\n[adapter.timeouts]\nread = \"3s\"", "adapter.timeouts.read", `"read"`},
		"bad timeout":     {"[adapter]\ncommand = [\"x\"]\n[adapter.timeouts]\nread_cv = \"-3s\"", "adapter.timeouts.read_cv", `"-3s"`},
		"restarts":        {"[adapter]\ncommand = [\"x\"]\nrestarts = -1", "adapter.restarts", "-1"},
		"unknown key":     {"[adapter]\ncommand = [\"x\"]\nshell = true", "key", "adapter.shell"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := station.ParseFile("a", []byte("name = \"a\"\n"+c.text+"\n[claims]\ntracks = [\"main\"]\n"), none)
			all := problems(t, err)
			require.Len(t, all, 1, "%v", err)
			assert.Equal(t, c.what, all[0].What)
			assert.Contains(t, all[0].Got, c.got)
		})
	}
	f, err := station.ParseFile("a", []byte("name = \"a\"\nlink = \"tcp://h:1\"\n[adapter]\ncommand = [\"x\", \"{link}\"]\n[claims]\ntracks = [\"main\"]\n"), none)
	require.NoError(t, err)
	assert.Nil(t, f.Dialect)
	assert.Equal(t, []string{"x", "{link}"}, f.Adapter.Command)
	assert.Equal(t, 2, f.Adapter.Restarts)
}
