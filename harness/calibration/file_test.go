package calibration_test

import (
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"bufferstop/harness/calibration"
	"bufferstop/harness/station"
	"bufferstop/harness/written"
)

const example = `date = 2026-11-26T10:00:00Z
tool = "v1"
valid_days = 365

[probe]
name = "two-track probe"
serial = 7

[time]
ppm = -12.5
u_ppm = 58.1
over = "1m0s"
host_ppm = 50.0

[main]
zero = 1.52
u_zero = 0.04
gain = 1.0132
u_gain = 0.013
load_gain = 0.991
u_load_gain = 0.015
noise_ma = 2.31
noise_samples = 4000
edge_repeatability = "31ns"
edge_spans = 9000
edge_steady = true
loop_median = "3.1ms"
loop_p99 = "4.2ms"
loop_events = 200

[programming]
zero = 0.0
u_zero = 0.6
`

func TestAFileReadsAsItWasWritten(t *testing.T) {
	f, err := calibration.Parse("x", []byte(example))
	require.NoError(t, err)
	assert.InDelta(t, -12.5, f.PPM(), 0)
	assert.Equal(t, 4200*time.Microsecond, f.Loop(station.Main).P99)
	assert.Nil(t, f.Loop(station.Programming))
	assert.InDelta(t, 0.991, f.LoadGain(station.Main), 0)
	_, after, _ := strings.Cut(string(f.Text()), "\n\n")
	assert.Equal(t, example, after)
}

func TestAFileIsReadStrictlyAndMistakesHaveTheirPlace(t *testing.T) {
	for name, c := range map[string]struct{ from, to, want string }{
		"unknown key":      {"zero = 1.52", "nought = 1.52", "x:16:1: key: got main.nought"},
		"half an estimate": {"u_zero = 0.04\n", "", "x:15:2: main.u_zero: got nothing, want a number of 0 to 4095"},
		"gain":             {"gain = 1.0132", "gain = 0.0", "x:18:8: main.gain: got 0, want a number of 0.2 to 5"},
		"not a number":     {"ppm = -12.5", "ppm = nan", "x:10:7: time.ppm: got NaN, want a number of -20000 to 20000"},
		"infinite":         {"u_ppm = 58.1", "u_ppm = inf", "time.u_ppm: got +Inf"},
		"no date":          {"date = 2026-11-26T10:00:00Z\n", "", "date: got no date"},
		"serial":           {"serial = 7", "serial = -1", "probe.serial: got -1, want 0 to 4294967295"},
		"name":             {`name = "two-track probe"`, `name = ""`, "probe.name: got no name"},
		"percentiles":      {`loop_p99 = "4.2ms"`, `loop_p99 = "1ms"`, "main.loop_p99: got 1ms, want no less than the median, 3.1ms"},
		"time":             {`over = "1m0s"`, `over = "soon"`, `time.over: got "soon", want a time above zero`},
		"negative":         {`edge_repeatability = "31ns"`, `edge_repeatability = "-1ns"`, "want a time of zero or more"},
		"count":            {"noise_samples = 4000", "noise_samples = 0", "main.noise_samples: got 0, want 1 to"},
		"days":             {"valid_days = 365", "valid_days = 0", "valid_days: got 0, want 1 to 36500"},
		"kind":             {"ppm = -12.5", `ppm = "much"`, "time.ppm"},
		"no TOML":          {"[probe]", "[probe", "x:5"},
	} {
		text := strings.Replace(example, c.from, c.to, 1)
		require.NotEqual(t, example, text, name)
		_, err := calibration.Parse("x", []byte(text))
		var wrong *written.Error
		require.ErrorAs(t, err, &wrong, name)
		assert.ErrorContains(t, err, c.want, name)
	}
}

func TestObservationsTellTheStateOfACalibration(t *testing.T) {
	f, err := calibration.Parse("x", []byte(example))
	require.NoError(t, err)
	p := calibration.Probe{Name: "two-track probe", Serial: 7, Channels: []calibration.Channel{{Track: station.Main, PerCount: 1, PerStep: 1}}}
	day := 24 * time.Hour
	assert.Empty(t, f.Observations(p, f.Date.Add(365*day+time.Hour)))
	assert.Equal(t, []string{"the calibration of 2026-11-26 is out of date: it was valid for 365 days"}, f.Observations(p, f.Date.Add(366*day)))
	assert.Empty(t, f.Observations(p, f.Date.Add(-time.Minute)), "clocks that are set by hand differ")
	assert.Contains(t, f.Observations(p, f.Date.Add(-2*time.Hour))[0], "in the future (2026-11-26)")
	p.Serial = 8
	other := f.Observations(p, f.Date)
	require.Len(t, other, 1)
	assert.Contains(t, other[0], `of another probe ("two-track probe", number 7; this is "two-track probe", number 8), so it is not used`)
	assert.Equal(t, []string{"the probe is not calibrated: its uncertainties are those of any probe of its kind"},
		(*calibration.File)(nil).Observations(p, f.Date))
	p.Serial = 7
	p.Channels = append(p.Channels, calibration.Channel{Track: station.Programming, PerCount: 1})
	assert.Equal(t, []string{"not calibrated: the current of the programming track"}, f.Observations(p, f.Date))
}

func TestSavingIsAllOrNothing(t *testing.T) {
	f, err := calibration.Parse("x", []byte(example))
	require.NoError(t, err)
	dir := t.TempDir()
	path := calibration.PathBeside(filepath.Join(dir, "bench.rig.toml"))
	assert.Equal(t, filepath.Join(dir, "bench.calibration.toml"), path)
	_, err = calibration.Load(path)
	require.ErrorIs(t, err, os.ErrNotExist)
	require.NoError(t, f.Save(path))
	f.Tool = "v2"
	require.NoError(t, f.Save(path))
	loaded, err := calibration.Load(path)
	require.NoError(t, err)
	assert.Equal(t, f, loaded)
	assert.ErrorContains(t, f.Save(filepath.Join(dir, "no", "such.toml")), "calibration: save: ")
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	assert.Len(t, entries, 1, "nothing half is left behind")
	_, err = calibration.Load(dir)
	assert.ErrorContains(t, err, "no regular file")
	if runtime.GOOS != "windows" {
		require.NoError(t, os.Mkdir(filepath.Join(dir, "taken"), 0o755))
		require.NoError(t, os.WriteFile(filepath.Join(dir, "taken", "x"), nil, 0o644))
		assert.Error(t, f.Save(filepath.Join(dir, "taken")))
		entries, err = os.ReadDir(dir)
		require.NoError(t, err)
		assert.Len(t, entries, 2)
	}
}

// A calibration may be written by hand: it is refused, or can be written and read again as it is.
func FuzzParse(f *testing.F) {
	f.Add([]byte(example))
	f.Add([]byte("date = 2026-11-26\n[probe]\nname = \"\\u0000\\\"\"\nserial = 0\n[main]\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		once, err := calibration.Parse("x", data)
		if err != nil {
			return
		}
		twice, err := calibration.Parse("x", once.Text())
		require.NoError(t, err, "%s", once.Text())
		require.Equal(t, string(once.Text()), string(twice.Text()))
		once.Observations(calibration.Probe{Name: once.Name, Serial: once.Serial}, time.Now())
		for _, b := range calibration.Budgets(calibration.Probe{Name: once.Name, Serial: once.Serial, Clock: 16e6,
			Channels: []calibration.Channel{{Track: station.Main, PerCount: 0.005}, {Track: station.Programming}}}, once) {
			require.NoError(t, b.Check())
		}
	})
}

func TestAnswersAreThoseOfAFile(t *testing.T) {
	a, err := calibration.ParseAnswers("x", []byte("supervised = true\n[time]\nover = \"5s\"\nhost_ppm = 2.5\n[main]\nohms = 47\nzero = \"go\"\n"))
	require.NoError(t, err)
	for key, want := range map[string]string{"supervised": "yes", "time.over": "5s", "time.host_ppm": "2.5", "main.ohms": "47", "main.zero": "go"} {
		got, err := a.Answer(calibration.Question{Key: key, Switches: true})
		require.NoError(t, err)
		assert.Equal(t, want, got, key)
	}
	for _, c := range []struct {
		q    calibration.Question
		want string
	}{
		{calibration.Question{Key: "main.tolerance", Default: "1"}, ""},
		{calibration.Question{Key: "main.load", Default: "go", Switches: true}, "skip"},
		{calibration.Question{Key: "main.reading"}, "skip"},
	} {
		got, err := a.Answer(c.q)
		require.NoError(t, err)
		assert.Equal(t, c.want, got, c.q.Key)
	}
	_, err = a.Answer(calibration.Question{Key: "again"})
	require.ErrorIs(t, err, calibration.ErrNoAnswer)
	for text, want := range map[string]string{
		"[main]\nohm = 47\n":            "x:2:1: key: got main.ohm",
		"[main]\nohms = [47]\n":         "x:2:1: main.ohms: got a value of another kind",
		"[main]\nohms = 1979-05-27\n":   "main.ohms: got a value of another kind",
		"supervised = tru\n":            "x:1",
		"[time]\nover = {a = \"5s\"}\n": "time.over",
	} {
		_, err := calibration.ParseAnswers("x", []byte(text))
		assert.ErrorContains(t, err, want, text)
	}
}

func FuzzParseAnswers(f *testing.F) {
	f.Add([]byte("supervised = true\n[main]\nohms = 47.0\nreading = \"15 V\"\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		a, err := calibration.ParseAnswers("x", data)
		if err != nil {
			return
		}
		b := newBench(1)
		w, _ := b.walk(nil)
		w.Ask = a.Answer
		_, _ = w.Run(t.Context())
		for track, on := range b.on {
			require.False(t, on, track)
		}
		require.Zero(t, b.level[station.Main])
	})
}
