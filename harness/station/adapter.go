package station

import (
	"fmt"
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"time"

	"bufferstop/harness/written"
)

// An Adapter is an external program that talks with a station which no dialect fits. It speaks JSON lines on its
// standard input and output: rigs/adapters/README.md says how, for those who write one.
type Adapter struct {
	// Command is the program and its arguments, as the station file names them.
	Command []string
	// Folder is where the program runs, and what its path is relative to: that of the station file. Empty for a file
	// that is in no folder; then only programs that the system finds by their name can be started.
	Folder string
	// Restarts is how often the program is started again after it has ended.
	Restarts int

	timeouts map[question]time.Duration
	// asked is the number of the last question: all drivers of one adapter count on, so that a late answer to one of them
	// is none to another.
	asked        atomic.Int64
	introduction atomic.Pointer[Introduction]
}

// Introduction is what the adapter has said about itself last, and whether it has: a driver asks for it when it first
// comes into step.
func (a *Adapter) Introduction() (Introduction, bool) {
	if said := a.introduction.Load(); said != nil {
		return Introduction{said.Name, slices.Clone(said.Operations), said.TellsRestarts}, true
	}
	return Introduction{}, false
}

// linkPlace is the argument in whose place an adapter gets the address of the station's link.
const linkPlace = "{link}"

// A question is what an adapter is asked: an operation, or one of the two below, which are about the adapter itself.
type question string

const (
	// askHello has the adapter introduce itself. It does not concern the station.
	askHello question = "hello"
	// askPing has the adapter ask its station anything harmless, to see whether it is there.
	askPing question = "ping"
)

// What an adapter's table may leave out. All are our own choice.
const (
	defaultRestarts = 2
	mostRestarts    = 100
	// A program in a language that is compiled as it starts, on a busy machine, takes seconds until it can say a word.
	defaultHello = 15 * time.Second
	// Reading a CV takes a second or two in direct mode and several in paged mode, with a slow decoder more.
	defaultService = 10 * time.Second
	// adapterGrace is what an adapter has beyond the station's time, to say that the station kept silent.
	adapterGrace = time.Second
	adapterWrite = 2 * time.Second
	// adapterQuiet is time enough to take in what an adapter has said by itself. What is late is known by its number.
	adapterQuiet = 20 * time.Millisecond
	// adapterLine is how long a line may be that an adapter says.
	adapterLine = 64 << 10
)

// longer holds the questions that take longer than others, by their usual time.
var longer = map[question]time.Duration{
	askHello:           defaultHello,
	question(Reset):    3 * time.Second, // both outputs are off before it ends
	question(SetPower): 3 * time.Second,
	question(ReadCV):   defaultService,
	question(WriteCV):  defaultService,
	question(VerifyCV): defaultService,
	question(WriteBit): defaultService,
}

// adapterFile is the table [adapter] of a station file.
type adapterFile struct {
	Command  []string          `toml:"command"`
	Timeout  *string           `toml:"timeout"`
	Restarts *int              `toml:"restarts"`
	Timeouts map[string]string `toml:"timeouts"`
}

// adapter reads the table [adapter].
func (d *document) adapter(f *adapterFile, link string) *Adapter {
	const at = "adapter"
	a := &Adapter{Command: f.Command, Restarts: d.Between(at+".restarts", f.Restarts, 0, mostRestarts, defaultRestarts)}
	switch {
	case len(f.Command) == 0 || f.Command[0] == "":
		d.Fail(at+".command", "no command", "a program and its arguments", `command = ["./my-adapter", "--verbose"]`)
	case slices.ContainsFunc(f.Command, func(part string) bool { return strings.ContainsRune(part, 0) }):
		d.Fail(at+".command", written.Quote(strings.Join(f.Command, " ")), "texts without a zero byte", "")
	case link != "" && !slices.Contains(f.Command[1:], linkPlace):
		d.Fail("link", "a link of which the adapter is told nothing", "the argument "+written.Quote(linkPlace)+" in [adapter] command",
			"the address of the link takes its place")
	}
	usual := d.Positive(at+".timeout", f.Timeout, defaultAnswer)
	a.timeouts = map[question]time.Duration{}
	for _, q := range questions() {
		a.timeouts[q] = max(usual, longer[q])
	}
	for _, name := range slices.Sorted(maps.Keys(f.Timeouts)) {
		path := at + ".timeouts." + name
		text := f.Timeouts[name]
		if _, known := a.timeouts[question(name)]; !known {
			d.Fail(path, written.Quote(name), "one of "+joined(questions()), "")
			continue
		}
		a.timeouts[question(name)] = d.Positive(path, &text, usual)
	}
	return a
}

// questions lists all that an adapter can be asked, in alphabetical order.
func questions() []question {
	all := []question{askHello, askPing}
	for o := range operations {
		all = append(all, question(o))
	}
	slices.Sort(all)
	return all
}

// Timeout is how long the station may take for an operation. The adapter has a second more to say what came of it.
func (a *Adapter) Timeout(o Operation) time.Duration { return a.timeouts[question(o)] }

// program is what the adapter is called until it has said its name.
func (a *Adapter) program() string { return filepath.Base(a.Command[0]) }

// clipped keeps a text of an adapter short enough for an error.
func clipped(text string) string {
	const longest = 200
	if len(text) > longest {
		return text[:longest] + "…"
	}
	return text
}

// An AdapterError says what an adapter has done wrong, or what has kept it from its work. The station has no part in it.
type AdapterError struct {
	Adapter   string // the name that it gave itself, or its program: untrusted
	What      string // went wrong
	Got, Want string // empty if there is nothing to compare; Got is untrusted
	Err       error  // what lies behind, or nil: an error of the link to the adapter
}

// Error names the adapter and shows what it said.
func (a *AdapterError) Error() string {
	text := fmt.Sprintf("the adapter %+q, not the station: %s", a.Adapter, a.What)
	if a.Want != "" {
		text += fmt.Sprintf(": got %+q, want %s", a.Got, a.Want)
	}
	if a.Err != nil {
		text += ": " + a.Err.Error()
	}
	return text
}

// Unwrap gives what lies behind.
func (a *AdapterError) Unwrap() error { return a.Err }
