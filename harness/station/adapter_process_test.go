package station_test

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"bufferstop/harness/link"
	"bufferstop/harness/station"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
)

// This test program is also the adapter: started as "... act-as-adapter WAY FILE", it adds its process number to FILE and
// goes wrong in the way named.
func init() {
	if len(os.Args) == 4 && os.Args[1] == "act-as-adapter" {
		actAsAdapter(os.Args[2], os.Args[3])
		os.Exit(0)
	}
}

func actAsAdapter(way, file string) {
	f, err := os.OpenFile(file, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o644)
	if err != nil {
		panic(err)
	}
	fmt.Fprintln(f, os.Getpid())
	f.Close()
	switch way {
	case "ends at once":
		fmt.Fprintln(os.Stderr, "usage: mine PORT")
		os.Exit(2)
	case "does not read":
		time.Sleep(2 * time.Second)
		return
	case "floods":
		for {
			fmt.Println(`{"event":"hot","text":"` + strings.Repeat("x", 100) + `"}`)
		}
	}
	for in := bufio.NewScanner(os.Stdin); in.Scan(); {
		var q struct {
			ID  int64
			Ask string
		}
		if err := json.Unmarshal(in.Bytes(), &q); err != nil {
			panic(err)
		}
		answer := fmt.Sprintf(`{"id":%d,"done":true}`, q.ID)
		switch {
		case q.Ask == "hello" && way == "never answers":
			continue
		case q.Ask == "hello" && way == "says it to the wrong side":
			fmt.Fprintln(os.Stderr, answer)
			continue
		case q.Ask == "hello":
			answer = fmt.Sprintf(`{"id":%d,"hello":{"version":1,"name":"acted","operations":["stop_all","release"]}}`, q.ID)
		case q.Ask != "stop_all":
		case way == "dies":
			fmt.Fprintln(os.Stderr, "it is all \x1b[31mtoo much")
			os.Exit(3)
		case way == "crashes":
			panic("crashed")
		case way == "prints garbage":
			answer = "Traceback (most recent call last):\n\x00\xff" + answer
		case way == "answers with a wrong id":
			answer = `{"id":123456,"done":true}`
		case way == "answers an old id":
			answer = `{"id":1,"hello":{"version":1,"name":"acted","operations":["stop_all"]}}`
		case way == "hangs":
			continue
		case way == "answers late":
			time.Sleep(2500 * time.Millisecond)
		case way == "closes its output":
			os.Stdout.Close()
			continue
		case way == "ends its line never":
			fmt.Print(strings.Repeat("A", 200_000))
			continue
		}
		fmt.Println(answer)
	}
}

// notes is a log that two goroutines use.
type notes struct {
	sync.Mutex
	text bytes.Buffer
}

func (n *notes) Write(p []byte) (int, error) {
	n.Lock()
	defer n.Unlock()
	return n.text.Write(p)
}

func (n *notes) String() string {
	n.Lock()
	defer n.Unlock()
	return n.text.String()
}

// acted is a station file in a folder of its own, whose adapter goes wrong in the way named. The other result is the file
// with the process numbers.
func acted(t *testing.T, way, more string) (*station.File, string) {
	t.Helper()
	program, err := os.Executable()
	require.NoError(t, err)
	folder := t.TempDir()
	name := filepath.Join(folder, "a.station.toml")
	require.NoError(t, os.WriteFile(name, fmt.Appendf(nil, "name = \"a\"\n[adapter]\ncommand = [%q, \"act-as-adapter\", %q, \"pids\"]\n%s\n[claims]\ntracks = [\"main\"]\n",
		program, way, more), 0o644))
	f, err := station.LoadFile(name)
	require.NoError(t, err)
	return f, filepath.Join(folder, "pids")
}

// started lists the processes that were started, and sees that none of them lives.
func started(t *testing.T, pids string) (count int) {
	t.Helper()
	data, err := os.ReadFile(pids)
	require.NoError(t, err)
	for _, text := range strings.Fields(string(data)) {
		pid, err := strconv.Atoi(text)
		require.NoError(t, err)
		count++
		if runtime.GOOS == "windows" {
			continue // where signal 0 is not known
		}
		p, err := os.FindProcess(pid)
		require.NoError(t, err)
		assert.Error(t, p.Signal(syscall.Signal(0)), "process %d lives", pid)
	}
	return count
}

func TestAdapterProgramThatGoesWrongIsNoFaultOfTheStation(t *testing.T) {
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent())
	const quick = "timeout = \"200ms\"\ntimeouts = { hello = \"5s\", ping = \"5s\" }"
	const hasty = "timeouts = { hello = \"100ms\" }"
	for _, c := range []struct {
		way, more string
		errors    []string // of operations one after the other; "" for one that works, "any" for one that fails somehow
		stderr    string
		starts    int
	}{
		{way: "dies", errors: []string{"exit status 3", "exit status 3", "exit status 3"}, stderr: `it is all \x1b[31mtoo much`, starts: 3},
		{way: "dies", more: "restarts = 1", errors: []string{"exit status 3", "exit status 3", "has ended 2 times"}, starts: 2},
		{way: "dies", more: "restarts = 0", errors: []string{"exit status 3", "has ended 1 times", "has ended 1 times"}, starts: 1},
		{way: "crashes", errors: []string{"exit status 2", "exit status 2"}, stderr: "panic: crashed", starts: 2},
		{way: "ends at once", errors: []string{"exit status 2", "exit status 2"}, stderr: "usage: mine PORT", starts: 2},
		{way: "prints garbage", errors: []string{"no JSON object", "any"}, starts: 1},
		{way: "answers with a wrong id", errors: []string{"not asked", "not asked"}, starts: 1},
		{way: "answers an old id", errors: []string{"not answered in time"}, starts: 1},
		{way: "hangs", errors: []string{"not answered in time"}, starts: 1},
		{way: "answers late", errors: []string{"not answered in time"}, starts: 1},
		{way: "ends its line never", errors: []string{"too long"}, starts: 1},
		{way: "closes its output", errors: []string{"closed its side"}, starts: 1},
		{way: "never answers", more: hasty, errors: []string{"no sign of life", "no sign of life"}, starts: 1},
		{way: "says it to the wrong side", more: hasty, errors: []string{"no sign of life"}, stderr: `"done":true`, starts: 1},
		{way: "does not read", more: hasty, errors: []string{"no sign of life"}, starts: 1},
		{way: "floods", more: hasty, errors: []string{"any"}, starts: 1},
		{way: "well", errors: []string{"", "", ""}, starts: 1},
	} {
		if c.more != hasty {
			c.more += "\n" + quick
		}
		t.Run(c.way, func(t *testing.T) {
			t.Parallel() // they all wait most of the time
			f, pids := acted(t, c.way, c.more)
			var stderr notes
			l, err := f.OpenAdapter(t.Context(), &stderr)
			require.NoError(t, err)
			d := f.Driver(l, link.NewWallClock())
			var failure error
			for _, want := range c.errors {
				began := time.Now()
				err := d.StopAll(t.Context())
				// The longest are three hellos, a ping and the operation; the rest is for a busy machine.
				assert.Less(t, time.Since(began), 25*time.Second)
				switch {
				case want == "":
					require.NoError(t, err)
				case want == "any":
					require.Error(t, err)
				default:
					require.ErrorContains(t, err, want)
				}
				failure = errors.Join(failure, err)
			}
			var unexpected *station.UnexpectedAnswer
			assert.False(t, errors.As(failure, &unexpected))
			if failure != nil {
				assert.NotEqual(t, station.StationFault, d.Diagnose(t.Context(), d.LastExchange().Err).Fault, "%v", failure)
			}
			if c.stderr != "" {
				assert.Eventually(t, func() bool { return strings.Contains(stderr.String(), c.stderr) }, 10*time.Second, 5*time.Millisecond,
					"%s is missing", c.stderr)
			}
			require.NoError(t, l.Close())
			starts := started(t, pids)
			assert.GreaterOrEqual(t, starts, c.starts)
			assert.LessOrEqual(t, starts, f.Adapter.Restarts+1)
			_, err = l.Read(t.Context(), make([]byte, 1), 0)
			require.ErrorIs(t, err, link.ErrClosed)
		})
	}
}

func TestAdapterThatDoesNotStartIsToldAtOnce(t *testing.T) {
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent())
	folder := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(folder, "text"), []byte("no program"), 0o644))
	for name, c := range map[string]struct{ command, link, want string }{
		"missing":            {`["./missing"]`, "", "does not start"},
		"not executable":     {`["./text"]`, "", "does not start"},
		"not in the PATH":    {`["bufferstop-has-no-such-program"]`, "", "does not start"},
		"never beside it":    {`["text"]`, "", "does not start"},
		"no link to hand on": {`["./text", "{link}"]`, "", `has to say link`},
		"link not handed on": {`["./text"]`, "tcp://127.0.0.1:1", `needs the argument "{link}"`},
	} {
		t.Run(name, func(t *testing.T) {
			file := filepath.Join(folder, "a.station.toml")
			require.NoError(t, os.WriteFile(file, []byte("name = \"a\"\n[adapter]\ncommand = "+c.command+"\n[claims]\ntracks = [\"main\"]\n"), 0o644))
			f, err := station.LoadFile(file)
			require.NoError(t, err)
			f.Link = c.link // as a rig sets it
			_, err = f.OpenAdapter(t.Context(), io.Discard)
			require.ErrorContains(t, err, c.want)
			require.ErrorContains(t, err, `station "a": adapter:`)
		})
	}
	f := adapterFile(t, "")
	_, err := f.OpenAdapter(t.Context(), nil)
	require.ErrorContains(t, err, "relative to the folder of the station file")
	f, err = station.LoadFile("../../rigs/reference.station.toml")
	require.NoError(t, err)
	_, err = f.OpenAdapter(t.Context(), nil)
	require.ErrorContains(t, err, "no adapter")
}

func TestAdapterRunsInTheFolderOfItsFile(t *testing.T) {
	f, pids := acted(t, "well", "")
	assert.True(t, filepath.IsAbs(f.Adapter.Folder))
	l, err := f.OpenAdapter(t.Context(), nil)
	require.NoError(t, err)
	d := f.Driver(l, link.NewWallClock())
	require.NoError(t, d.StopAll(t.Context()))
	require.NoError(t, l.Close())
	assert.Equal(t, 1, started(t, pids), "it has written where it works")
}
