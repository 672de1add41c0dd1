package station_test

import (
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/rigs"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
	"pgregory.net/rapid"
)

func TestReferenceStationClaimsAndDeclares(t *testing.T) {
	file, err := station.LoadFS(rigs.Files, "reference.station.toml")
	require.NoError(t, err)
	assert.Equal(t, "reference station", file.Name)
	assert.Equal(t, "reference", file.Dialect.Name())
	assert.Equal(t, station.Claims{
		Tracks:             []station.Track{station.Main, station.Programming},
		SpeedSteps:         []dcc.Steps{dcc.Steps28, dcc.Steps128},
		ShortAddresses:     station.Between(1, 127),
		LongAddresses:      station.Between(128, 10239),
		Functions:          station.Between(0, 68),
		Accessories:        station.Between(1, 2044),
		Aspects:            station.Between(1, 2044),
		AspectValues:       station.Between(0, 255),
		Numbering:          dcc.FirstIsRawFour,
		ServiceMethods:     []station.Method{station.Direct, station.Paged, station.Register, station.AddressOnly},
		BitWrite:           true,
		ProgrammingOnMain:  true,
		BitWriteOnMain:     true,
		AccessoryOff:       true,
		Consist:            true,
		PowerOffKeepsState: true,
	}, file.Claims)
	assert.Equal(t, station.Declares{
		SupplyVoltage: 16 * physic.Volt,
		StartTime:     500 * time.Millisecond,
		Main: station.Overload{
			NoTripCurrent: 1500 * physic.MilliAmpere, TripCurrent: 2500 * physic.MilliAmpere, TripTime: 100 * time.Millisecond,
			RetryAfter: time.Second, Recovery: station.Automatic, AfterRecovery: station.Kept,
			InrushPeak: 3 * physic.Ampere, InrushTau: 4 * time.Millisecond,
		},
		Programming: station.Overload{
			NoTripCurrent: 250 * physic.MilliAmpere, TripCurrent: 300 * physic.MilliAmpere, TripTime: 100 * time.Millisecond,
			RetryAfter: time.Second, Recovery: station.Automatic,
		},
		NoDecoderTime: 2 * time.Second, ReadTime: 3 * time.Second,
		StopLatency: 100 * time.Millisecond, CommandLatency: 200 * time.Millisecond, RefreshTime: time.Second,
		CurrentAccuracy: 50 * physic.MilliAmpere, ActiveLocomotives: 100,
		Idle:   station.Latency{P50: 40 * time.Millisecond, P95: 80 * time.Millisecond, Max: 200 * time.Millisecond},
		Loaded: station.Latency{P50: 60 * time.Millisecond, P95: 120 * time.Millisecond, Max: 200 * time.Millisecond},
	}, file.Declares)
	assert.Equal(t, file.Declares.Main, file.Declares.Track(station.Main))
	assert.Equal(t, file.Declares.Programming, file.Declares.Track(station.Programming))
	assert.Zero(t, file.Declares.Track("yard"))

	fromDisk, err := station.LoadFile("../../rigs/reference.station.toml")
	require.NoError(t, err)
	assert.Equal(t, file.Claims, fromDisk.Claims)
	assert.Equal(t, file.Declares, fromDisk.Declares)
}

func TestAFileKeepsItsClaimsAndDeclaresAsStated(t *testing.T) {
	file, err := station.LoadFS(rigs.Files, "reference.station.toml")
	require.NoError(t, err)
	assert.Equal(t, "1..127", file.Stated.Claims["short_addresses"])
	assert.Equal(t, "100ms", file.Stated.Declares["main"].(map[string]any)["trip_time"])
}

func TestClaimsAnswerWhatSuitesAsk(t *testing.T) {
	c := station.Claims{
		Tracks: []station.Track{station.Main}, SpeedSteps: []dcc.Steps{28}, ServiceMethods: []station.Method{station.Paged},
		ShortAddresses: station.Between(1, 99), LongAddresses: station.Between(100, 9999),
	}
	assert.True(t, c.Track(station.Main))
	assert.False(t, c.Track(station.Programming))
	assert.True(t, c.Steps(28))
	assert.False(t, c.Steps(128))
	assert.True(t, c.Method(station.Paged))
	assert.False(t, c.Method(station.Direct))
	assert.True(t, c.Address(dcc.Short(99)))
	assert.False(t, c.Address(dcc.Short(100)))
	assert.True(t, c.Address(dcc.Long(100)))
	assert.False(t, c.Address(dcc.Long(99)))
	assert.False(t, c.Address(dcc.Broadcast))
}

func TestFirstFunctionAloneIsNotNothing(t *testing.T) {
	r, err := station.ParseRange("0")
	require.NoError(t, err)
	assert.True(t, r.Contains(0))
	assert.Equal(t, []int{0}, slices.Collect(r.All()))
	assert.False(t, station.Range{}.Contains(0))
	assert.Empty(t, slices.Collect(station.Range{}.All()))
}

func TestRangeReadsBackAsItIsPrinted(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		first := rapid.IntRange(0, 65535).Draw(t, "first")
		r := station.Between(first, rapid.IntRange(first, min(first+300, 65535)).Draw(t, "last"))
		back, err := station.ParseRange(r.String())
		require.NoError(t, err)
		require.Equal(t, r, back)
		all := slices.Collect(r.All())
		require.Len(t, all, r.Len())
		for _, n := range all {
			require.True(t, r.Contains(n))
		}
		require.False(t, r.Contains(r.First-1))
		require.False(t, r.Contains(r.Last+1))
	})
	for _, text := range []string{"x", "1..", "..1", "5..3", "-1..3", "1...3", "1..70000", "1, 2", " 1"} {
		_, err := station.ParseRange(text)
		assert.Error(t, err, text)
	}
}

func TestStationFileErrorsNamePlaceGotAndWanted(t *testing.T) {
	data, err := os.ReadFile("../../rigs/reference.station.toml")
	require.NoError(t, err)
	right := string(data)
	dialect := func(string) ([]byte, error) { return os.ReadFile("../../rigs/reference.dialect.toml") }
	lineOf := func(text, part string) int {
		before, _, found := strings.Cut(text, part)
		require.True(t, found, part)
		return strings.Count(before, "\n") + 1
	}
	for _, c := range []struct{ name, old, new, at, what, got string }{
		{"unknown claim", `cutout = false`, `cutout = false` + "\nsteam = true", "steam", "key", "claims.steam"},
		{"no name", `name = "reference station"`, `name = ""`, `name = ""`, "name", "no name"},
		{"no track", `tracks = ["main", "programming"]`, `tracks = []`, "tracks = []", "claims.tracks", "no track"},
		{"unknown track", `tracks = ["main", "programming"]`, `tracks = ["main", "programming", "yard"]`, "tracks = ", "claims.tracks[2]", `"yard"`},
		{"track twice", `tracks = ["main", "programming"]`, `tracks = ["main", "main", "programming"]`, "tracks = ", "claims.tracks[1]", `"main"`},
		{"14 steps", `[28, 128]`, `[14, 28]`, "[14", "claims.speed_steps[0]", "14"},
		{"512 steps are not 0", `[28, 128]`, `[284]`, "[284", "claims.speed_steps[0]", "284"},
		{"short address 128", `"1..127"`, `"1..128"`, `"1..128"`, "claims.short_addresses", `"1..128"`},
		{"long address 10240", `"128..10239"`, `"128..10240"`, "10240", "claims.long_addresses", "10240"},
		{"range in words", `functions = "0..68"`, `functions = "all"`, `"all"`, "claims.functions", `"all"`},
		{"numbering", `"first is raw 4"`, `"first is raw 1"`, "raw 1", "claims.numbering", "raw 1"},
		{"no numbering", `numbering = "first is raw 4"`, ``, "[claims]", "claims.numbering", "no numbering"},
		{"aspects without values", `aspect_values = "0..255"`, ``, `aspects = `, "claims.aspects", "one of"},
		{"method", `["direct", "paged", "register", "address"]`, `["guess"]`, "guess", "claims.service_methods[0]", `"guess"`},
		{"unit", `supply_voltage = "16V"`, `supply_voltage = "16A"`, "16A", "declares.supply_voltage", `"16A"`},
		{"current without unit", `current_accuracy = "50mA"`, `current_accuracy = "0.05"`, "0.05", "declares.current_accuracy", `"0.05"`},
		{"negative current", `trip_current = "2.5A"`, `trip_current = "-2.5A"`, "-2.5A", "declares.main.trip_current", `"-2.5A"`},
		{"trips where it must not", `trip_current = "2.5A"`, `trip_current = "1.5A"`, `no_trip_current = "1.5A"`, "declares.main.no_trip_current", "1.5"},
		{"time", `read_time = "3s"`, `read_time = "3"`, `read_time`, "declares.read_time", `"3"`},
		{"off without on", `accessories = "1..2044"`, ``, "accessory_off", "claims.accessory_off", "none that go on"},
		{"no locomotives", `active_locomotives = 100`, `active_locomotives = 0`, "= 0", "declares.active_locomotives", "0"},
		{"latency in words", `p50 = "40ms"`, `p50 = "soon"`, "soon", "declares.latency.idle.p50", `"soon"`},
		{"median above the greatest", `p50 = "60ms"`, `p50 = "300ms"`, "loaded = ", "declares.latency.loaded.p50", "300ms"},
		{"a latency of no kind", `loaded = {`, `resting = {`, "resting", "key", "declares.latency.resting"},
		{"recovery", `recovery = "automatic"` + "\nafter", `recovery = "magic"` + "\nafter", "magic", "declares.main.recovery", `"magic"`},
		{"inrush without time", `inrush_tau = "4ms"`, ``, "[declares.main]", "declares.main", "one of inrush_peak"},
		{"no address", `dialect = "reference.dialect.toml"`, `dialect = "reference.dialect.toml"` + "\nlink = \"a:b\"", "link = ", "link", `address "a:b"`},
		{"no dialect", `dialect = "reference.dialect.toml"`, ``, "", "dialect", "no dialect"},
	} {
		t.Run(c.name, func(t *testing.T) {
			require.Equal(t, 1, strings.Count(right, c.old), "the case has to change one place")
			text := strings.Replace(right, c.old, c.new, 1)
			_, err := station.ParseFile("my.station.toml", []byte(text), dialect)
			all := problems(t, err)
			require.Len(t, all, 1, "%v", err)
			assert.Equal(t, c.what, all[0].What)
			assert.Contains(t, all[0].Got, c.got)
			if c.at != "" {
				assert.Equal(t, lineOf(text, c.at), all[0].Line, "%v", err)
				assert.Positive(t, all[0].Column)
			}
		})
	}
}

func TestClaimsThatNeedATrackNeedIt(t *testing.T) {
	none := func(string) ([]byte, error) { return []byte(small), nil }
	_, err := station.ParseFile("x", []byte("name = \"x\"\ndialect = \"d\"\n[claims]\ntracks = [\"main\"]\nservice_methods = [\"direct\"]\n"+
		"[declares.programming]\ntrip_current = \"1A\"\n"), none)
	all := problems(t, err)
	require.Len(t, all, 2)
	assert.Equal(t, "claims.service_methods", all[0].What)
	assert.Equal(t, "declares.programming", all[1].What)

	_, err = station.ParseFile("x", []byte("name = \"x\"\ndialect = \"d\"\n[claims]\ntracks = [\"programming\"]\nspeed_steps = [28]\n"), none)
	assert.Equal(t, "claims.tracks", problems(t, err)[0].What)
}

func TestDialectIsLookedForBesideTheStationFile(t *testing.T) {
	folder := t.TempDir()
	require.NoError(t, os.Mkdir(filepath.Join(folder, "below"), 0o755))
	write := func(name, text string) string {
		path := filepath.Join(folder, name)
		require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
		return path
	}
	name := write("my.station.toml", "name = \"mine\"\ndialect = \"below/my.dialect.toml\"\n[claims]\ntracks = [\"main\"]\n")
	_, err := station.LoadFile(name)
	missing := problems(t, err)
	require.Len(t, missing, 1)
	assert.Equal(t, "dialect", missing[0].What)
	assert.Equal(t, 2, missing[0].Line)

	spoilt := write("below/my.dialect.toml", strings.Replace(small, "{power}", "{voltage}", 1))
	_, err = station.LoadFile(name)
	wrong := problems(t, err)
	require.Len(t, wrong, 1)
	assert.Equal(t, "below/my.dialect.toml", wrong[0].File)
	assert.Equal(t, 11, wrong[0].Line)

	require.NoError(t, os.WriteFile(spoilt, []byte(small), 0o644))
	file, err := station.LoadFile(name)
	require.NoError(t, err)
	assert.Equal(t, "small", file.Dialect.Name())

	_, err = station.LoadFile(filepath.Join(folder, "nowhere.toml"))
	require.ErrorIs(t, err, os.ErrNotExist)
}

func TestRelativeLinkOfAStationFileIsRelativeToIt(t *testing.T) {
	folder := t.TempDir()
	dialect := filepath.Join(folder, "my.dialect.toml")
	require.NoError(t, os.WriteFile(dialect, []byte(small), 0o644))
	name := filepath.Join(folder, "my.station.toml")
	t.Chdir(filepath.Dir(folder))
	for written, want := range map[string]string{
		"serial:a.tty?baud=9600":        "serial:" + filepath.Join(folder, "a.tty") + "?baud=9600",
		"serial:../a.tty":               "serial:" + filepath.Join(filepath.Dir(folder), "a.tty"),
		"serial:" + dialect:             "serial:" + dialect,
		"serial:usb=1209:0001?baud=1":   "serial:usb=1209:0001?baud=1",
		"tcp://127.0.0.1:80":            "tcp://127.0.0.1:80",
		"rfc2217://127.0.0.1:80?stop=2": "rfc2217://127.0.0.1:80?stop=2",
	} {
		text := "name = \"mine\"\ndialect = \"my.dialect.toml\"\nlink = \"" + written + "\"\n[claims]\ntracks = [\"main\"]\n"
		require.NoError(t, os.WriteFile(name, []byte(text), 0o644))
		relative := filepath.Join(filepath.Base(folder), "my.station.toml")
		file, err := station.LoadFile(relative)
		require.NoError(t, err)
		assert.Equal(t, want, file.Link)
	}
}

func TestDialectMayBeInTheSameFileSystemOnly(t *testing.T) {
	files := fstest.MapFS{"a/s.toml": {Data: []byte("name = \"x\"\ndialect = \"../../etc/passwd\"\n[claims]\ntracks = [\"main\"]\n")}}
	_, err := station.LoadFS(files, "a/s.toml")
	assert.Equal(t, "dialect", problems(t, err)[0].What)
}

func FuzzStationFile(f *testing.F) {
	whole, err := os.ReadFile("../../rigs/reference.station.toml")
	require.NoError(f, err)
	f.Add(string(whole))
	f.Add("name = \"x\"\ndialect = \"d\"\nclaims = { tracks = [\"main\"], speed_steps = [284] }\n")
	f.Add("[declares]\nsupply_voltage = \"9999999999V\"\n[declares.main]\ntrip_current = \"1e400A\"\n")
	f.Fuzz(func(t *testing.T, text string) {
		file, err := station.ParseFile("fuzz", []byte(text), func(string) ([]byte, error) { return []byte(small), nil })
		if err != nil {
			for _, p := range problems(t, err) {
				require.NotEmpty(t, p.Want)
				require.LessOrEqual(t, p.Line, strings.Count(text, "\n")+1)
			}
			return
		}
		require.NotEmpty(t, file.Name)
		require.NotNil(t, file.Dialect)
		require.NotEmpty(t, file.Claims.Tracks)
		require.LessOrEqual(t, file.Claims.ShortAddresses.Last, 127)
		require.GreaterOrEqual(t, file.Declares.Main.TripCurrent, physic.ElectricCurrent(0))
		if file.Declares.Main.TripCurrent > 0 {
			require.Less(t, file.Declares.Main.NoTripCurrent, file.Declares.Main.TripCurrent)
		}
	})
}

// A FileError is found through the join of all of them.
func TestFileErrorIsFoundInAJoin(t *testing.T) {
	_, err := station.ParseDialect("x", []byte("nome = 1\nname = \"\"\n"))
	var one *station.FileError
	require.True(t, errors.As(err, &one))
	assert.Equal(t, 1, one.Line)
	assert.Equal(t, `x:1:1: key: got nome, want a key that this file may have (hint: did you mean name?)`, one.Error())
}
