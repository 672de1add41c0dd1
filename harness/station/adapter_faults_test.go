package station_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"strings"
	"testing"
	"time"

	"bufferstop/harness/link"
	"bufferstop/harness/station"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestWhatAnAdapterDoesWrongIsNotTheStationsFault(t *testing.T) {
	for name, said := range map[string]string{
		"text for people":       "connecting to the station ...",
		"empty line":            "",
		"no object":             `[1]`,
		"null":                  `null`,
		"cut short":             `{"id":#,"value"`,
		"not UTF-8":             "{\"id\":#,\"value\":1,\"x\":\"\xff\"}",
		"no id":                 `{"value":1}`,
		"id in text":            `{"id":"#","value":1}`,
		"id with a fraction":    `{"id":1.5,"value":1}`,
		"negative id":           `{"id":-1,"value":1}`,
		"id that was not asked": `{"id":900000000,"value":1}`,
		"no outcome":            `{"id":#}`,
		"two outcomes":          `{"id":#,"value":1,"done":true}`,
		"other capitals":        `{"ID":#,"Value":1}`,
		"done for a value":      `{"id":#,"done":true}`,
		"value above a byte":    `{"id":#,"value":256}`,
		"value with a fraction": `{"id":#,"value":1.5}`,
		"value in text":         `{"id":#,"value":"1"}`,
		"value null":            `{"id":#,"value":null}`,
		"busy false":            `{"id":#,"busy":false}`,
		"refused in text":       `{"id":#,"refused":"no"}`,
		"code in digits":        `{"id":#,"refused":{"code":1}}`,
		"failed without why":    `{"id":#,"failed":""}`,
		"hello for a value":     strings.TrimSpace(introduction),
		"event with an id":      `{"id":#,"event":"restarted"}`,
		"event without a name":  `{"event":""}`,
		"event in digits":       `{"event":1}`,
		"event text in digits":  `{"event":"x","text":1}`,
		"long line":             strings.Repeat("A", 1<<20),
		"deep":                  strings.Repeat("[", 60000),
	} {
		t.Run(name, func(t *testing.T) {
			a := newScriptedAdapter(t)
			a.says["read_cv"] = []says{at(0, said)}
			d := a.driver(adapterFile(t, ""))
			_, err := d.ReadCV(t.Context(), 29, "")
			var broken *station.AdapterError
			require.ErrorAs(t, err, &broken)
			assert.Equal(t, "mine 1.0", broken.Adapter)
			assert.Contains(t, err.Error(), "not the station")
			assert.Less(t, len(err.Error()), 1200)
			assert.Less(t, a.clock.Now(), 100*time.Millisecond, "at once")
			var unexpected *station.UnexpectedAnswer
			assert.False(t, errors.As(err, &unexpected))

			a.says["read_cv"] = []says{at(0, `{"id":#,"value":29}`)}
			v, err := d.ReadCV(t.Context(), 29, "")
			require.NoError(t, err, "and the next operation works")
			assert.EqualValues(t, 29, v)
		})
	}
}

func TestAdapterValuesAreChecked(t *testing.T) {
	for name, c := range map[string]struct {
		value string
		call  func(context.Context, *station.Driver) error
	}{
		"power":    {`"half"`, func(ctx context.Context, d *station.Driver) error { _, err := d.Power(ctx, station.Main); return err }},
		"current":  {`1e300`, func(ctx context.Context, d *station.Driver) error { _, err := d.Current(ctx, station.Main); return err }},
		"verify":   {`1`, func(ctx context.Context, d *station.Driver) error { _, err := d.VerifyCV(ctx, 1, 1, ""); return err }},
		"identity": {`{"make":"m"}`, func(ctx context.Context, d *station.Driver) error { _, err := d.Identify(ctx); return err }},
		"nothing":  {`1`, func(ctx context.Context, d *station.Driver) error { return d.StopAll(ctx) }},
	} {
		t.Run(name, func(t *testing.T) {
			a := newScriptedAdapter(t)
			for _, o := range station.Operations() {
				a.says[string(o)] = []says{at(0, `{"id":#,"value":`+c.value+`}`)}
			}
			var broken *station.AdapterError
			require.ErrorAs(t, c.call(t.Context(), a.driver(adapterFile(t, ""))), &broken)
			assert.NotEmpty(t, broken.Want)
		})
	}
}

func TestAdapterThatNeverAnswersIsTimedOutAndItsLateAnswerPassedOver(t *testing.T) {
	a := newScriptedAdapter(t)
	f := adapterFile(t, "timeout = \"500ms\"\ntimeouts = { read_cv = \"4s\", ping = \"1s\" }")
	assert.Equal(t, 4*time.Second, f.Adapter.Timeout(station.ReadCV))
	assert.Equal(t, 500*time.Millisecond, f.Adapter.Timeout(station.StopAll))
	a.says["read_cv"] = []says{at(6*time.Second, `{"id":#,"value":77}`)}
	d := a.driver(f)
	_, err := d.ReadCV(t.Context(), 29, "")
	require.ErrorIs(t, err, link.ErrTimeout)
	var broken *station.AdapterError
	require.ErrorAs(t, err, &broken, "an adapter has to say that its station keeps silent")
	last := d.LastExchange()
	assert.Equal(t, 5*time.Second, a.clock.Now()-last.HandedOver, "the station's time, and a second to say so")

	// The station is asked only when the adapter has got round to it.
	a.says["ping"] = nil
	a.says["stop_all"] = []says{at(0, `{"id":#,"done":true}`)}
	a.clock.At(a.clock.Now()+1500*time.Millisecond, func() { a.says["ping"] = []says{at(0, `{"id":#,"done":true}`)} })
	require.NoError(t, d.StopAll(t.Context()))
	heard, _ := d.Unsolicited()
	require.NotEmpty(t, heard)
	assert.Equal(t, "late answer of the adapter", heard[0].Event)
	assert.Contains(t, heard[0].Text, `"value":77`)
	assert.Equal(t, []string{"hello", "ping", "read_cv", "ping", "ping", "stop_all"}, a.questions())
}

func TestOnlyWhatTheStationDoesIsHeldAgainstIt(t *testing.T) {
	const who = `{"id":#,"value":{"text":"mine"}}`
	for name, c := range map[string]struct {
		identify, ping, said string
		want                 station.Fault
		silent               bool
	}{
		"the same odd answer":  {identify: who, said: `{"id":#,"unexpected":"what?"}`, want: station.StationFault},
		"the same refusal":     {identify: who, said: `{"id":#,"refused":{"code":"7"}}`, want: station.StationFault},
		"silent to this":       {identify: who, said: `{"id":#,"silent":true}`, want: station.StationFault},
		"silent to all":        {identify: `{"id":#,"silent":true}`, ping: `{"id":#,"silent":true}`, said: `{"id":#,"silent":true}`, want: station.UnclearFault, silent: true},
		"silent to all but":    {identify: `{"id":#,"silent":true}`, said: `{"id":#,"silent":true}`, want: station.UnclearFault, silent: true},
		"adapter that fails":   {identify: who, said: `{"id":#,"failed":"no cable"}`, want: station.LinkFault},
		"adapter that prints":  {identify: who, said: `Traceback (most recent call last):`, want: station.LinkFault},
		"adapter that hangs":   {identify: who, said: `{"id":1,"hello":`, want: station.LinkFault},
		"adapter out of range": {identify: who, said: `{"id":#,"value":1000}`, want: station.LinkFault},
		"not supported":        {identify: who, said: `{"id":#,"not_supported":"no"}`, want: station.UnclearFault},
	} {
		t.Run(name, func(t *testing.T) {
			a := newScriptedAdapter(t)
			d := a.driver(adapterFile(t, ""))
			a.says["identify"] = []says{at(0, who)}
			_, err := d.Identify(t.Context())
			require.NoError(t, err)
			a.says["read_cv"] = []says{at(0, c.said)}
			if name == "adapter that hangs" {
				a.says["read_cv"] = []says{{0, c.said}} // and no more
			}
			_, err = d.ReadCV(t.Context(), 29, "")
			require.Error(t, err)
			a.says["identify"] = []says{at(0, c.identify)}
			if c.ping != "" {
				a.says["ping"] = []says{at(0, c.ping)}
			}
			diagnosis := d.Diagnose(t.Context(), err)
			assert.Equal(t, c.want, diagnosis.Fault, diagnosis.Why)
			assert.Equal(t, c.silent, diagnosis.OutOfReach, diagnosis.Why)
		})
	}
}

func TestAdapterIntroducesItselfOrIsNotUsed(t *testing.T) {
	for name, said := range map[string]string{
		"another version":   `{"id":#,"hello":{"version":2,"name":"mine","operations":["identify"]}}`,
		"no version":        `{"id":#,"hello":{"name":"mine","operations":["identify"]}}`,
		"no name":           `{"id":#,"hello":{"version":1,"operations":["identify"]}}`,
		"no operation":      `{"id":#,"hello":{"version":1,"name":"mine","operations":[]}}`,
		"tells in words":    `{"id":#,"hello":{"version":1,"name":"mine","operations":["identify"],"tells_restarts":"yes"}}`,
		"unknown operation": `{"id":#,"hello":{"version":1,"name":"mine","operations":["fly"]}}`,
		"hello null":        `{"id":#,"hello":null}`,
		"done":              `{"id":#,"done":true}`,
		"failed":            `{"id":#,"failed":"I speak version 2 only"}`,
		"usage":             `usage: mine [-v] PORT`,
	} {
		t.Run(name, func(t *testing.T) {
			a := newScriptedAdapter(t)
			a.says["hello"] = []says{at(0, said)}
			err := a.driver(adapterFile(t, "")).StopAll(t.Context())
			var broken *station.AdapterError
			require.ErrorAs(t, err, &broken)
			assert.Equal(t, "mine", broken.Adapter, "the program, as long as there is no name")
			assert.Equal(t, []string{"hello"}, a.questions(), "nothing else is asked")
		})
	}
}

func TestSilentStationBehindAnAdapterIsNotInStep(t *testing.T) {
	a := newScriptedAdapter(t)
	a.says["stop_all"] = []says{at(0, `{"id":#,"silent":true}`)}
	a.says["ping"] = []says{at(0, `{"id":#,"silent":true}`)}
	d := a.driver(adapterFile(t, ""))
	require.ErrorIs(t, d.StopAll(t.Context()), link.ErrTimeout)
	began := a.clock.Now()
	require.ErrorIs(t, d.Resynchronise(t.Context()), link.ErrTimeout, "asked whether it is there, it keeps silent too")
	assert.Equal(t, 9*time.Second, a.clock.Now()-began)
	a.says["ping"] = []says{at(0, `{"id":#,"failed":"the port has gone"}`)}
	require.ErrorContains(t, d.Resynchronise(t.Context()), "the port has gone")
}

func TestAdapterThatFloodsIsGivenUpInTime(t *testing.T) {
	for name, line := range map[string]string{
		"events": `{"event":"hot"}`, "late answers": `{"id":1,"done":true}`, "text": `what now?`, "no line end": "",
	} {
		t.Run(name, func(t *testing.T) {
			a := newScriptedAdapter(t)
			d := a.driver(adapterFile(t, ""))
			require.NoError(t, d.Resynchronise(t.Context()))
			text := strings.Repeat(line+"\n", 50)
			if line == "" {
				text = strings.Repeat("A", 1000)
			}
			var talk func()
			talk = func() {
				_, err := a.far.Write(t.Context(), []byte(text), 0)
				require.NoError(t, err)
				a.clock.At(a.clock.Now()+20*time.Millisecond, talk)
			}
			talk()
			for range 3 {
				began := a.clock.Now()
				err := d.StopAll(t.Context())
				var broken *station.AdapterError
				if !errors.As(err, &broken) {
					require.ErrorIs(t, err, link.ErrTimeout)
				}
				assert.LessOrEqual(t, a.clock.Now()-began, 15*time.Second)
			}
		})
	}
}

// saysUnexpected reports whether a line has the key, however it is escaped.
func saysUnexpected(said []byte) bool {
	for line := range bytes.Lines(said) {
		var keys map[string]json.RawMessage
		if json.Unmarshal(line, &keys) == nil && keys["unexpected"] != nil {
			return true
		}
	}
	return false
}

func FuzzAdapterOutput(f *testing.F) {
	f.Add([]byte(`{"id":2,"value":6}`))
	f.Add([]byte(`{"id":2,"value":{"maker":"m","text":"m"}}` + "\n" + `{"event":"restarted","text":"x"}`))
	f.Add([]byte(`{"id":2,"refused":{"code":"-1","text":"\u0000"}}` + "\r\n" + `{"id":2,"failed":"x"}`))
	f.Add([]byte(`{"id":9007199254740992,"done":true}` + "\n" + `{"id":1e400,"done":true}`))
	f.Add([]byte(strings.Repeat(`{"a":`, 20000)))
	f.Add([]byte(strings.ReplaceAll(introduction, "#", "4")))
	f.Fuzz(func(t *testing.T, said []byte) {
		a := newScriptedAdapter(t)
		file := adapterFile(t, "")
		for _, o := range station.Operations() {
			a.says[string(o)] = []says{{0, strings.ReplaceAll(string(said), "#", "%23")}}
		}
		d := a.driver(file)
		for _, call := range []func() error{
			func() error { return d.StopAll(t.Context()) },
			func() error { _, err := d.Identify(t.Context()); return err },
			func() error { _, err := d.Power(t.Context(), station.Main); return err },
			func() error { _, err := d.Current(t.Context(), station.Main); return err },
			func() error { _, err := d.ReadCV(t.Context(), 1, ""); return err },
			func() error { _, err := d.VerifyCV(t.Context(), 1, 1, ""); return err },
		} {
			began := a.clock.Now()
			err := call()
			var unexpected *station.UnexpectedAnswer
			if errors.As(err, &unexpected) {
				require.True(t, saysUnexpected(said), "not the station's unless the adapter says so")
			}
			if err != nil {
				require.Less(t, len(err.Error()), 4*64<<10)
				require.NotContains(t, err.Error(), "\x1b")
			}
			require.Less(t, a.clock.Now()-began, time.Minute)
		}
	})
}
