package bench_test

import (
	"context"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness"
	"bufferstop/harness/link"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/rigs/bench"
	"bufferstop/rigs/serving"
	"bufferstop/rigs/simulated"
	"bufferstop/rigs/wire"
	"bufferstop/suites"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
)

func TestABenchWithoutASideReachesNoTrack(t *testing.T) {
	ctx, stop := context.WithCancel(context.Background())
	served, err := simulated.New(simulated.Options{})
	require.NoError(t, err)
	port, err := serving.TCP("127.0.0.1:0", func(serving.Notice) {})
	require.NoError(t, err)
	ended := make(chan error)
	go func() { ended <- wire.Serve(ctx, served, port, true) }()
	defer func() {
		stop()
		require.NoError(t, <-ended)
		require.NoError(t, port.Close())
	}()

	file, err := bench.Parse("x", []byte("kind = \"bench\"\n[station]\nfile = \"s\"\nlink = \""+port.Address().String()+"\"\n"))
	require.NoError(t, err)
	rig, err := bench.Open(ctx, file, reference(t), bench.Options{})
	require.NoError(t, err)
	defer func() { require.NoError(t, rig.Close()) }()
	assert.Equal(t, harness.Description{Name: "bench", Kind: "bench"}, rig.Describe())
	require.ErrorContains(t, rig.Restart(ctx), "not switched")
	run, err := suites.Run(ctx, rig, reference(t), suites.Options{})
	require.NoError(t, err)
	assert.Equal(t, "simulated station", run.Build.Model, "it talks")
	for _, r := range run.Results {
		if r.Verdict != verdict.NotClaimed { // which comes first
			assert.Equal(t, verdict.NotFitted, r.Verdict, r.Name())
		}
	}
	assert.Equal(t, verdict.Incomplete, run.Outcome)
}

func TestWhatIsMissingOrDoesNotFitIsSaidBeforeAnythingIsOpened(t *testing.T) {
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent()) // Ginkgo leaves one of its own
	ctx := context.Background()
	const start = "kind = \"bench\"\n[station]\nfile = \"s\"\n"
	adapted := *reference(t)
	adapted.Dialect, adapted.Adapter = nil, &station.Adapter{Command: []string{"x"}}
	for _, c := range []struct {
		text    string
		file    *station.File
		options bench.Options
		want    string
	}{
		{start, reference(t), bench.Options{}, "no link to the station"},
		{start, reference(t), bench.Options{Link: "nowhere"}, "nowhere"},
		{start, reference(t), bench.Options{Link: "tcp://127.0.0.1:1", Defect: "late-retry"}, "only a station inside"},
		{start, reference(t), bench.Options{Record: io.Discard}, "no probe whose stream"},
		{start + "[probe]\nlink = \"file:a.vcd\"\n", reference(t), bench.Options{Link: "tcp://127.0.0.1:1", Record: io.Discard}, "no probe whose stream"},
		{start + "[probe]\nlink = \"sigrok:driver=demo,channel=D0\"\n", reference(t), bench.Options{Link: "tcp://127.0.0.1:1", Record: io.Discard}, "no probe whose stream"},
		{start + "[inside]\nserve = \"tcp\"\n", reference(t), bench.Options{Defect: "absent"}, "no defect named"},
		{start + "[inside]\nserve = \"tcp\"\n", reference(t), bench.Options{Link: "serial:x"}, "begins with tcp:"},
		{start + "[inside]\nserve = \"tcp\"\nlisten = \"256.0.0.1:0\"\n", reference(t), bench.Options{}, "256.0.0.1"},
		{start + "[inside]\nserve = \"rfc2217\"\npath = \"a.tty\"\n", reference(t), bench.Options{}, "no link to the station"},
		{start + "[inside]\nserve = \"tcp\"\npace = \"virtual\"\n", &adapted, bench.Options{}, "an adapter lives in real time"},
	} {
		folder := t.TempDir()
		file, err := bench.Parse(filepath.Join(folder, "x.rig.toml"), []byte(c.text))
		require.NoError(t, err)
		_, err = bench.Open(ctx, file, c.file, c.options)
		require.ErrorContains(t, err, c.want)
		left, err := os.ReadDir(folder)
		require.NoError(t, err)
		assert.Empty(t, left, c.want)
	}
}

func TestOpeningAndClosingLeavesNothing(t *testing.T) {
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent()) // Ginkgo leaves one of its own
	for _, serve := range []string{"pty", "tcp"} {
		for _, pace := range []string{"real", "virtual"} {
			file := rigFile(t, serve, pace)
			for range 5 {
				rig, err := bench.Open(context.Background(), file, reference(t), bench.Options{})
				require.NoError(t, err)
				d := reference(t).Driver(rig.Link(), rig)
				_, err = d.Identify(context.Background())
				require.NoError(t, err)
				require.NoError(t, rig.Track(station.Main).Short(1e9))
				require.NoError(t, rig.Safe())
				require.NoError(t, rig.Close())
				_, err = rig.Link().Read(context.Background(), make([]byte, 1), 0)
				require.ErrorIs(t, err, link.ErrClosed)
			}
			left, err := os.ReadDir(file.Folder)
			require.NoError(t, err)
			assert.Empty(t, left)
		}
	}
}

func TestAnAdapterSpeaksWithTheStationInside(t *testing.T) {
	if _, err := exec.LookPath("python3"); err != nil {
		t.Skip("the example of an adapter needs python3, which is missing: ", err)
	}
	ctx := context.Background()
	file, err := station.LoadFile(filepath.Join("..", "adapters", "example.station.toml"))
	require.NoError(t, err)
	rig, err := bench.Open(ctx, rigFile(t, "tcp", "real"), file, bench.Options{})
	require.NoError(t, err)
	defer func() { require.NoError(t, rig.Close()) }()
	_, err = rig.Track(station.Programming).Fit(fakedecoder.Default())
	require.NoError(t, err)
	d := file.Driver(rig.Link(), rig)
	who, err := d.Identify(ctx)
	require.NoError(t, err)
	assert.Equal(t, "simulated station", who.Model)
	value, err := d.ReadCV(ctx, 1, "")
	require.NoError(t, err)
	assert.EqualValues(t, 3, value)
}

func TestALinkThatLeadsElsewhereIsNoticed(t *testing.T) {
	elsewhere, err := serving.PTY(filepath.Join(t.TempDir(), "other.tty"), func(serving.Notice) {})
	require.NoError(t, err)
	defer func() { require.NoError(t, elsewhere.Close()) }()
	ctx, cancel := context.WithTimeout(context.Background(), 300*time.Millisecond)
	defer cancel()
	_, err = bench.Open(ctx, rigFile(t, "pty", "real"), reference(t), bench.Options{Link: elsewhere.Address().String()})
	require.ErrorContains(t, err, "the link seems to lead elsewhere")
}

func TestTheEndsOfTheLinkMayBeGiven(t *testing.T) {
	near, far := link.Pipe(link.NewWallClock(), 0)
	rig, err := bench.Open(context.Background(), rigFile(t, "pty", "virtual"), reference(t),
		bench.Options{Ends: func(context.Context) (link.Link, link.Link, error) { return near, far, nil }})
	require.NoError(t, err)
	who, err := reference(t).Driver(rig.Link(), rig).Identify(context.Background())
	require.NoError(t, err)
	assert.Equal(t, "simulated station", who.Model)
	require.NoError(t, rig.Close())
	_, err = far.Read(context.Background(), make([]byte, 1), 0)
	require.ErrorIs(t, err, link.ErrClosed)
}
