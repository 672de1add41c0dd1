// Package adapters_test tries the example adapters against the simulated station.
package adapters_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness/dcc"
	"bufferstop/harness/link"
	"bufferstop/harness/station"
	"bufferstop/rigs/simulated"
	"bufferstop/rigs/wire"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
)

// examples are the commands of the adapters, by language; the address of the station is still to be added.
var examples struct {
	once    sync.Once
	folder  string
	command map[string][]string
	err     error
}

// TestMain takes the program away that the tests have built.
func TestMain(m *testing.M) {
	code := m.Run()
	if examples.folder != "" {
		_ = os.RemoveAll(examples.folder)
	}
	os.Exit(code)
}

// each runs a test with each of the examples.
func each(t *testing.T, test func(t *testing.T, command []string)) {
	examples.once.Do(func() {
		folder, err := os.MkdirTemp("", "adapters")
		if err != nil {
			examples.err = err
			return
		}
		examples.folder = folder
		program := filepath.Join(folder, "example")
		if runtime.GOOS == "windows" {
			program += ".exe"
		}
		if out, err := exec.Command("go", "build", "-buildvcs=false", "-o", program, "./example").CombinedOutput(); err != nil {
			examples.err = fmt.Errorf("%w: %s", err, out)
		}
		examples.command = map[string][]string{"Go": {program}, "Python": {"python3", "example.py"}}
	})
	require.NoError(t, examples.err)
	for language, command := range examples.command {
		t.Run(language, func(t *testing.T) {
			if language == "Python" {
				if _, err := exec.LookPath("python3"); err != nil {
					t.Skip("python3 is not installed, so the example in Python is not tried")
				}
			}
			defer goleak.VerifyNone(t, goleak.IgnoreCurrent())
			test(t, command)
		})
	}
}

// stationFile is a station that is driven by an adapter at the address.
func stationFile(t *testing.T, command []string, address string) *station.File {
	t.Helper()
	words := make([]string, len(command))
	for i, word := range command {
		words[i] = fmt.Sprintf("%q", word)
	}
	text := "name = \"a\"\nlink = \"tcp://" + address + "\"\n[adapter]\ncommand = [" + strings.Join(words, ", ") + ", \"{link}\"]\n[claims]\ntracks = [\"main\", \"programming\"]\n"
	f, err := station.ParseFile("a.station.toml", []byte(text), nil)
	require.NoError(t, err)
	f.Adapter.Folder, err = os.Getwd()
	require.NoError(t, err)
	return f
}

// adapted is a driver over an adapter, and the log of what the two have said.
func adapted(t *testing.T, f *station.File) (*station.Driver, *link.Recorder, func()) {
	t.Helper()
	var stderr bytes.Buffer
	opened, err := f.OpenAdapter(t.Context(), &stderr)
	require.NoError(t, err)
	clock := link.NewWallClock()
	recorded := link.Record(opened, clock)
	return f.Driver(recorded, clock), recorded, func() {
		require.NoError(t, opened.Close())
		assert.Empty(t, stderr.String(), "nothing to complain of")
	}
}

// newRig is a station whose programming track has a decoder, or none.
func newRig(t *testing.T, decoder bool) *simulated.Rig {
	t.Helper()
	r, err := simulated.New(simulated.Options{Nominal: true})
	require.NoError(t, err)
	if !decoder {
		return r
	}
	_, err = r.Track(station.Programming).Fit(fakedecoder.Default())
	require.NoError(t, err)
	return r
}

// serve lets one client after another talk with a station.
func serve(t *testing.T, talk func(ctx context.Context, c net.Conn)) (address string, end func()) {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		for {
			c, err := listener.Accept()
			if err != nil {
				return
			}
			stop := context.AfterFunc(ctx, func() { _ = c.Close() })
			talk(ctx, c)
			stop()
			_ = c.Close()
		}
	}()
	return listener.Addr().String(), func() {
		cancel()
		_ = listener.Close()
		<-ended
	}
}

// hurried passes lines between a client and a rig, whose time runs only until it has answered.
func hurried(t *testing.T, r *simulated.Rig) func(ctx context.Context, c net.Conn) {
	return func(ctx context.Context, c net.Conn) {
		p := make([]byte, 4096)
		for {
			n, err := c.Read(p)
			if err != nil {
				return
			}
			_, err = r.Link().Write(ctx, p[:n], time.Second)
			for answer := []byte(nil); err == nil && !bytes.HasSuffix(answer, []byte("\n")); {
				if n, err = r.Link().Read(ctx, p, time.Minute); err == nil {
					answer = append(answer, p[:n]...)
					_, err = c.Write(p[:n])
				}
			}
			if err != nil {
				if ctx.Err() == nil && !errors.Is(err, net.ErrClosed) {
					t.Errorf("the station: %v", err)
				}
				return
			}
		}
	}
}

// everything asks for every operation, and for much that a station refuses or cannot do.
func everything(ctx context.Context, d *station.Driver) (replies []string) {
	note := func(what string, value any, err error) {
		kind := "done"
		var refused *station.Refused
		switch {
		case errors.As(err, &refused):
			kind = fmt.Sprintf("refused %q %q", refused.Code, refused.Text)
		case errors.Is(err, station.ErrNoAcknowledge):
			kind = "no acknowledge"
		case errors.Is(err, station.ErrNotSupported):
			kind = "not supported"
		case err != nil:
			kind = err.Error()
		}
		replies = append(replies, fmt.Sprintf("%s: %v %s", what, value, kind))
	}
	do := func(what string, err error) { note(what, "", err) }
	for _, t := range []station.Track{station.Main, station.Programming} {
		state, err := d.Power(ctx, t)
		note("power before "+string(t), state, err)
	}
	do("accessory without power", d.SetAccessory(ctx, 1, 1))
	do("main on", d.SetPower(ctx, station.Main, true))
	who, err := d.Identify(ctx)
	note("identify", who, err)
	state, err := d.Power(ctx, station.Main)
	note("power", state, err)
	current, err := d.Current(ctx, station.Main)
	note("current", current, err)
	do("speed", d.SetSpeed(ctx, dcc.Short(3), dcc.Steps128, dcc.Forward, 100))
	do("speed in 28", d.SetSpeed(ctx, dcc.Long(1000), dcc.Steps28, dcc.Reverse, 28))
	do("speed beyond", d.SetSpeed(ctx, dcc.Short(3), dcc.Steps28, dcc.Forward, 29))
	do("steps", d.SetSpeed(ctx, dcc.Short(3), 14, dcc.Forward, 1))
	do("long below", d.SetSpeed(ctx, dcc.Long(100), dcc.Steps128, dcc.Forward, 1))
	do("function", d.SetFunction(ctx, dcc.Short(3), 28, true))
	do("function beyond", d.SetFunction(ctx, dcc.Short(3), 69, false))
	do("stop", d.Stop(ctx, dcc.Short(3)))
	do("stop all", d.StopAll(ctx))
	do("release", d.Release(ctx, dcc.Short(3)))
	do("accessory", d.SetAccessory(ctx, 2044, 0))
	do("accessory beyond", d.SetAccessory(ctx, 2045, 1))
	do("aspect", d.SetAspect(ctx, 7, 255))
	do("write on main", d.WriteOnMain(ctx, dcc.Long(1000), 29, 6))
	do("write bit on main", d.WriteBitOnMain(ctx, dcc.Short(3), 29, 5, true))
	do("clear accessory", d.ClearAccessory(ctx, 2044, 1))
	do("consist", d.SetConsist(ctx, dcc.Long(1000), 34, true))
	do("consist beyond", d.SetConsist(ctx, dcc.Short(3), 128, false))
	do("out of the consist", d.ClearConsist(ctx, dcc.Long(1000)))
	for _, m := range []station.Method{"", station.Direct, station.Paged} {
		value, err := d.ReadCV(ctx, 29, m)
		note("read "+string(m), value, err)
	}
	do("write", d.WriteCV(ctx, 3, 200, station.Direct))
	do("write register", d.WriteCV(ctx, 3, 200, station.Register))
	do("write bit", d.WriteBit(ctx, 3, 0, true))
	for _, v := range []byte{201, 200} {
		same, err := d.VerifyCV(ctx, 3, v, "")
		note("verify", same, err)
	}
	value, err := d.ReadCV(ctx, 1025, "")
	note("read beyond", value, err)
	do("reset", d.Reset(ctx))
	state, err = d.Power(ctx, station.Main)
	note("power after reset", state, err)
	return replies
}

func TestAdaptersReplyAsTheDialectDoes(t *testing.T) {
	file, err := station.LoadFile("../reference.station.toml")
	require.NoError(t, err)
	r := newRig(t, true)
	want := everything(t.Context(), file.Driver(r.Link(), r))
	require.Contains(t, strings.Join(want, "\n"), "verify: true done\nverify: false done")
	each(t, func(t *testing.T, command []string) {
		address, end := serve(t, hurried(t, newRig(t, true)))
		defer end()
		d, said, done := adapted(t, stationFile(t, command, address))
		defer done()
		assert.Equal(t, want, everything(t.Context(), d))
		heard, more := d.Unsolicited()
		assert.Empty(t, heard)
		assert.Zero(t, more)
		assert.Zero(t, d.LinkHealth().Noise())

		for direction, part := range map[link.Direction]string{link.Sent: "question", link.Received: "message"} {
			schema, err := jsonschema.NewCompiler().Compile("schema.json#/$defs/" + part)
			require.NoError(t, err)
			for line := range bytes.Lines(said.Log().Carried(direction)) {
				value, err := jsonschema.UnmarshalJSON(bytes.NewReader(line))
				require.NoError(t, err, "%s", line)
				assert.NoError(t, schema.Validate(value), "%s", line)
			}
		}
	})
}

func TestAdaptersTellThatThereIsNoDecoder(t *testing.T) {
	each(t, func(t *testing.T, command []string) {
		address, end := serve(t, hurried(t, newRig(t, false)))
		defer end()
		d, _, done := adapted(t, stationFile(t, command, address))
		defer done()
		_, err := d.ReadCV(t.Context(), 29, "")
		require.ErrorIs(t, err, station.ErrNoAcknowledge)
		require.ErrorIs(t, d.WriteCV(t.Context(), 29, 6, ""), station.ErrNoAcknowledge)
	})
}

func TestAdaptersWorkInRealTime(t *testing.T) {
	each(t, func(t *testing.T, command []string) {
		r := newRig(t, true)
		address, end := serve(t, func(ctx context.Context, c net.Conn) {
			assert.NoError(t, wire.Serve(ctx, r, &connection{c}, true))
		})
		defer end()
		d, _, done := adapted(t, stationFile(t, command, address))
		defer done()
		require.NoError(t, d.SetPower(t.Context(), station.Main, true))
		require.NoError(t, d.SetSpeed(t.Context(), dcc.Short(3), dcc.Steps128, dcc.Forward, 10))
		value, err := d.ReadCV(t.Context(), 29, station.Direct)
		require.NoError(t, err)
		assert.EqualValues(t, 6, value)
		assert.Greater(t, d.LastExchange().RoundTrip(), 100*time.Millisecond, "a read of a CV takes its time")
		require.NoError(t, d.SetPower(t.Context(), station.Main, false))
	})
}

// connection is a link over a connection that a client has made.
type connection struct{ net.Conn }

func (c *connection) Read(_ context.Context, p []byte, timeout time.Duration) (int, error) {
	n, err := 0, c.SetReadDeadline(time.Now().Add(max(timeout, time.Millisecond)))
	if err == nil {
		n, err = c.Conn.Read(p)
	}
	return n, asLink(err)
}

func (c *connection) Write(_ context.Context, p []byte, timeout time.Duration) (int, error) {
	n, err := 0, c.SetWriteDeadline(time.Now().Add(max(timeout, time.Millisecond)))
	if err == nil {
		n, err = c.Conn.Write(p)
	}
	return n, asLink(err)
}

func asLink(err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, os.ErrDeadlineExceeded):
		return link.ErrTimeout
	}
	return fmt.Errorf("%w: %w", link.ErrClosed, err)
}

func TestTheExampleStationFileStartsItsAdapter(t *testing.T) {
	f, err := station.LoadFile("example.station.toml")
	require.NoError(t, err)
	reference, err := station.LoadFile("../reference.station.toml")
	require.NoError(t, err)
	assert.Equal(t, reference.Claims, f.Claims, "it is the same station")
	if _, err := exec.LookPath("python3"); err != nil {
		t.Skip("python3 is not installed, so the example in Python is not tried")
	}
	address, end := serve(t, hurried(t, newRig(t, true)))
	defer end()
	f.Link = "tcp://" + address // in place of the port that the file names
	d, _, done := adapted(t, f)
	defer done()
	who, err := d.Identify(t.Context())
	require.NoError(t, err)
	assert.Equal(t, "simulated station", who.Model)
	introduced, ok := f.Adapter.Introduction()
	require.True(t, ok)
	assert.Equal(t, station.Introduction{Name: "reference example 1", Operations: station.Operations()}, introduced)
}
