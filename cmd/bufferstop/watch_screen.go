package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"runtime/debug"
	"time"

	tea "charm.land/bubbletea/v2"
	"github.com/charmbracelet/colorprofile"
	"github.com/spf13/cobra"
	"golang.org/x/term"

	"bufferstop/harness/live"
	"bufferstop/harness/verdict"
)

const (
	// redraw is how often the screen is drawn anew: as often as one can follow numbers that change.
	redraw = 100 * time.Millisecond
	// messageStays is how long a message stands. Our own choice.
	messageStays = 8 * time.Second
)

// A watchScreen is the full-screen view of what is watched.
type watchScreen struct {
	watchView
	seen    *watching
	quit    bool // by the user
	broken  bool // by Ctrl-C
	stays   bool // when the source is over
	crashed any
	trace   []byte
	ended   error
}

type (
	drawMsg  struct{}
	endedMsg struct{ err error }
)

// A panicked is what the goroutine that watches died of.
type panicked struct {
	value any
	trace []byte
}

func (p panicked) Error() string { return fmt.Sprintf("%v\n\n%s", p.value, p.trace) }

// fillScreen watches and shows it on the whole terminal, until the user has had enough.
func (w *watchCommand) fillScreen(ctx context.Context, cmd *cobra.Command, seen *watching, held *heldBack) error {
	watched, enough := context.WithCancel(ctx)
	defer enough()
	_, isRig := seen.source.(*rigSource)
	m := &watchScreen{seen: seen, stays: !isRig && w.lasting == 0}
	m.screen, m.about, m.names, m.filters = screenFor(cmd), seen.about, seen.names, seen.filters
	m.asks, m.pace = isRig, w.pace.String()
	m.waits = seen.pauses()
	if isRig && !m.waits {
		m.pace = ""
	}
	if seen.recorder != nil {
		m.recording = harmless(seen.recorder.name)
	}
	m.tracks = make([]live.Snapshot, len(seen.names))
	m.look()
	profile := colorprofile.Ascii // NO_COLOR and --color decide, and then nobody looks again
	if m.colour {
		profile = colorprofile.ANSI
	}
	options := []tea.ProgramOption{tea.WithContext(watched), tea.WithoutSignalHandler(), tea.WithoutCatchPanics(),
		tea.WithOutput(cmd.OutOrStdout()), tea.WithColorProfile(profile), tea.WithFPS(int(time.Second / redraw * 2))}
	if keys, ok := cmd.InOrStdin().(*os.File); ok && term.IsTerminal(int(keys.Fd())) {
		options = append(options, tea.WithInput(keys))
	} else {
		keys, err := openKeyboard()
		if err != nil {
			return exit{verdict.ExitFault, err}
		}
		defer keys.Close()
		options = append(options, tea.WithInput(keys))
	}
	program := tea.NewProgram(m, options...)
	// The rig is made safe where it is watched, so that it does not hang on a terminal which takes nothing any more.
	done := make(chan error, 1)
	go func() {
		err := watchSafely(watched, seen, w)
		done <- err
		program.Send(endedMsg{err})
	}()
	held.hold()
	_, shown := program.Run()
	held.release()
	interrupted := ctx.Err() != nil || m.broken
	enough()
	if capture, ok := seen.source.(*captureSource); ok {
		capture.stop() // a read of standard input may last for ever
	}
	err := <-done
	if m.crashed != nil {
		panic(panicked{m.crashed, m.trace}.Error())
	}
	var crash panicked
	if errors.As(err, &crash) {
		panic(crash.Error())
	}
	if shown != nil && !interrupted && !m.quit && watched.Err() == nil {
		err = worse(err, exit{verdict.ExitFault, fmt.Errorf("the terminal: %w", shown)})
	}
	if interrupted {
		err = worse(err, exit{code: verdict.ExitInterrupted})
	}
	m.farewell(cmd)
	return err
}

// watchSafely watches until there is no more, and makes everything safe, also when something panics.
func watchSafely(ctx context.Context, seen *watching, w *watchCommand) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = errors.Join(panicked{p, debug.Stack()}, seen.close(ctx))
		}
	}()
	err = seen.watch(ctx, w.pace, w.lasting, func() error { return nil })
	return worse(err, seen.close(ctx))
}

// look takes a new picture of what is watched, unless it is to stay as it is.
func (m *watchScreen) look() {
	s := m.seen
	s.mu.Lock()
	defer s.mu.Unlock()
	m.message = ""
	if time.Since(s.said) < messageStays {
		m.message = s.message
	}
	m.slow = time.Since(s.slow) < slowFor
	m.late = 0
	if s.recorder != nil {
		m.late = s.recorder.late
	}
	if s.paused {
		return
	}
	m.now = s.now
	for i, t := range s.tracks {
		t.Snapshot(&m.tracks[i])
	}
}

// Init starts the drawing.
func (m *watchScreen) Init() tea.Cmd { return nextDraw() }

func nextDraw() tea.Cmd { return tea.Tick(redraw, func(time.Time) tea.Msg { return drawMsg{} }) }

// Update takes a key, a new size, the time for a new picture, or the end.
func (m *watchScreen) Update(msg tea.Msg) (_ tea.Model, cmd tea.Cmd) {
	defer func() {
		if p := recover(); p != nil {
			m.crashed, m.trace, cmd = p, debug.Stack(), tea.Quit
		}
	}()
	switch msg := msg.(type) {
	case drawMsg:
		m.look()
		return m, nextDraw()
	case tea.WindowSizeMsg:
		m.width, m.height = msg.Width, msg.Height
		m.screen.width = msg.Width
	case tea.KeyPressMsg:
		return m, m.key(msg)
	case endedMsg:
		m.over, m.ended = true, msg.err
		m.look()
		if msg.err != nil || !m.stays {
			return m, tea.Quit
		}
	}
	return m, nil
}

// View draws the picture.
func (m *watchScreen) View() (v tea.View) {
	defer func() {
		if p := recover(); p != nil && m.crashed == nil {
			m.crashed, m.trace = p, debug.Stack()
		}
	}()
	v.AltScreen = true
	if m.crashed == nil {
		v.Content = m.draw()
	}
	return v
}

// key does what a key stands for.
func (m *watchScreen) key(k tea.KeyPressMsg) tea.Cmd {
	name := k.String()
	if m.crashed != nil || name == "ctrl+c" {
		m.broken = m.crashed == nil
		return tea.Quit
	}
	if name == "ctrl+l" { // as everywhere: what others have written over the screen goes
		return tea.ClearScreen
	}
	if m.asking != nil {
		m.type_(k)
		return nil
	}
	switch name {
	case "q":
		m.quit = true
		return tea.Quit
	case "space":
		m.pause()
	case "c":
		m.seen.mu.Lock()
		for _, t := range m.seen.tracks {
			t.Clear()
		}
		m.seen.mu.Unlock()
		m.back = 0
		m.look()
	case "t", "tab":
		if len(m.names) > 0 {
			m.chosen, m.back = (m.chosen+1)%len(m.names), 0
		}
	case "z":
		m.scale = (m.scale + 1) % len(live.Spans)
	case "l":
		m.limits = !m.limits
	case "+", "-":
		if m.asks && len(m.names) > 0 {
			m.seen.request(powerOrder(m.names[m.chosen], name == "+"))
			m.look()
		}
	case "0":
		for _, track := range m.names {
			if m.asks {
				m.seen.request(powerOrder(track, false))
			}
		}
		m.look()
	case ":":
		if m.asks {
			m.asking = new(string)
		}
	default:
		m.scroll(name)
	}
	return nil
}

// powerOrder asks for the power of a track.
func powerOrder(track string, on bool) order {
	state := "off"
	if on {
		state = "on"
	}
	return order("power " + track + " " + state)
}

func (m *watchScreen) pause() {
	s := m.seen
	s.mu.Lock()
	s.paused = !s.paused
	m.paused = s.paused
	s.mu.Unlock()
	m.look()
}

// longestCommand is how much can be typed. Our own choice: the longest command has half of it.
const longestCommand = 100

// type_ takes a key of a command that is typed.
func (m *watchScreen) type_(k tea.KeyPressMsg) {
	text := *m.asking
	switch k.String() {
	case "esc":
		m.asking = nil
	case "enter":
		m.asking = nil
		if text != "" {
			m.seen.request(order(text))
			m.look()
		}
	case "backspace":
		if r := []rune(text); len(r) > 0 {
			*m.asking = string(r[:len(r)-1])
		}
	default:
		if len(text)+len(k.Text) <= longestCommand {
			*m.asking += k.Text
		}
	}
}

// farewell leaves on the terminal what the screen took away with it.
func (m *watchScreen) farewell(cmd *cobra.Command) {
	out := cmd.OutOrStdout()
	m.seen.mu.Lock()
	now := m.seen.now
	for i, t := range m.seen.tracks {
		t.Snapshot(&m.tracks[i])
	}
	m.seen.mu.Unlock()
	for i := range m.tracks {
		s := &m.tracks[i]
		fmt.Fprintf(out, "%s: %d packets, %d of them invalid, %d unusable stretches", m.names[i], s.Total.Packets, s.Total.Invalid, s.Total.Unusable)
		if m.filters[i].Trips.Above > 0 {
			fmt.Fprintf(out, ", %s", plural(int(s.Trips), "trip"))
		}
		if m.filters[i].Acknowledges.Threshold > 0 {
			fmt.Fprintf(out, ", %s", plural(int(s.Acknowledges), "acknowledge"))
		}
		fmt.Fprintln(out)
	}
	fmt.Fprintf(out, "watched until %s s\n", seconds(now))
	if m.recording != "" {
		fmt.Fprintf(out, "recorded in %s\n", m.recording)
	}
}
