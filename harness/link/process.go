package link

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"time"
)

const (
	// processChunk is how many bytes go from and to a program at once; no more than a pipe takes whole (PIPE_BUF of Linux).
	processChunk = 4096
	// defaultGrace is how long a program may take to end once its standard input has ended: it may have to leave a station
	// in a safe state. Our own choice.
	defaultGrace = 2 * time.Second
	// drainLimit is how long after the end of a program its last words may take to arrive, when another program that it
	// started still holds the pipe, and how long its exit status may take once the pipe has ended. Our own choice.
	drainLimit = 250 * time.Millisecond
	// killLimit is how long a program that was killed may take to end: the system does it at once, unless a driver holds it.
	killLimit = 5 * time.Second
)

// A ProcessConfig says which program to start.
type ProcessConfig struct {
	// Command is the program and its arguments; no shell sees them. A program without a slash is looked for in the PATH,
	// one with a relative path in Dir.
	Command []string
	Dir     string // where it works; "" is where this program does
	// Stderr gets what the program writes to its standard error, one Write for each line with its end, in a goroutine, none
	// after Close. Characters that could harm a terminal are escaped, lines over 4 KiB cut, and all beyond 1 MiB is counted
	// only. nil discards it. A Write must not block.
	Stderr io.Writer
	// Grace is how long Close waits, after closing the standard input, before it kills the program; 0 is two seconds.
	Grace time.Duration
	// Chunk is how many bytes are taken from the program at once; 0 is 4 KiB. For more than that the system is asked, on
	// Linux, to hold a chunk for a program that says much while we are busy.
	Chunk int
}

// OpenProcess starts a program and returns the link to its standard input and output. The context is for the starting
// alone. The end of the program, or of its output, is ErrClosed, after its last words, with its exit status in the text.
// Close closes the standard input, reads on until the program has ended or the grace is over, and then kills it, on Unix
// with all that it started in its process group. On Linux nothing of that group outlives the program in any case. The link is used by one goroutine at a time, but Close may come from
// another.
func OpenProcess(ctx context.Context, config ProcessConfig) (Link, error) {
	if len(config.Command) == 0 || config.Command[0] == "" {
		return nil, errors.New("link: program to start: got none, want its name or path")
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	name := config.Command[0]
	if filepath.Base(name) != name {
		if !filepath.IsAbs(name) {
			name = filepath.Join(config.Dir, name)
		}
		// The exec package would take what is relative as from Dir once more.
		absolute, err := filepath.Abs(name)
		if err != nil {
			return nil, fmt.Errorf("link: program %+q: %w", name, err)
		}
		name = absolute
	}
	command := exec.Command(name, config.Command[1:]...)
	command.Dir = config.Dir
	ownGroup(command)
	pipes, err := connect(command)
	if err != nil {
		return nil, fmt.Errorf("link: program %+q: %w", name, err)
	}
	err = command.Start()
	pipes.closeFar()
	if err != nil {
		pipes.closeNear()
		return nil, fmt.Errorf("link: program %+q does not start: %w (is it there, and executable?)", name, err)
	}
	l := &processLink{command: command, pipes: pipes, name: name, grace: config.Grace, stderr: newStderrLog(config.Stderr),
		chunk: max(config.Chunk, processChunk), output: make(chan []byte), silent: make(chan struct{}), exited: make(chan struct{}), told: make(chan struct{}),
		closed: make(chan struct{})}
	if l.grace <= 0 {
		l.grace = defaultGrace
	}
	l.input = newHandover(pipes.in, processChunk, l.closed)
	if l.chunk > processChunk {
		widen(pipes.out, l.chunk)
	}
	go l.listen()
	go func() {
		defer close(l.told)
		l.stderr.copy(pipes.err)
	}()
	go l.wait()
	return l, nil
}

type processLink struct {
	command *exec.Cmd
	pipes   *processPipes
	name    string
	grace   time.Duration
	input   *handover
	stderr  *stderrLog
	broken  error // how the writing ended
	over    error // how the reading ended

	chunk   int           // bytes taken at once
	output  chan []byte   // what the program says; its sender waits until it is taken
	pending []byte        // taken and not returned yet
	silent  chan struct{} // closed when the output has ended
	told    chan struct{} // closed when the standard error has ended
	exited  chan struct{} // closed when the program has ended
	ending  time.Time     // when that was; set before

	closing sync.Once
	closed  chan struct{}
	failure error // of Close
}

// listen hands on what the program says, and once the link is closed discards it, so that no program waits for us before
// it ends.
func (l *processLink) listen() {
	defer close(l.silent)
	// Two buffers are enough: the reader takes one only when it is done with the other.
	p, other := make([]byte, l.chunk), make([]byte, l.chunk)
	for {
		n, err := l.pipes.out.Read(p)
		if n > 0 {
			select {
			case l.output <- p[:n]:
				p, other = other, p
			case <-l.closed:
			}
		}
		if err != nil {
			return
		}
	}
}

// wait takes the exit status, which the command then holds.
func (l *processLink) wait() {
	endGroup(l.command.Process)
	_ = l.command.Wait()
	l.ending = time.Now()
	close(l.exited)
}

// Read follows the rules of Link.
func (l *processLink) Read(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	if err := l.usable(ctx); err != nil || len(p) == 0 {
		return 0, err
	}
	if len(l.pending) == 0 {
		if err := l.receive(ctx, timeout); err != nil {
			return 0, err
		}
	}
	n := copy(p, l.pending)
	l.pending = l.pending[n:]
	return n, nil
}

// receive waits for the next piece of output.
func (l *processLink) receive(ctx context.Context, timeout time.Duration) error {
	if l.take() {
		return nil
	}
	if l.over != nil {
		return l.over
	}
	timer := time.NewTimer(max(timeout, 0))
	defer timer.Stop()
	exited := l.exited
	var drained <-chan time.Time
	for {
		select {
		case l.pending = <-l.output:
			return nil
		case <-l.silent:
			l.over = l.ended()
			return l.over
		case <-exited:
			exited = nil
			drain := time.NewTimer(time.Until(l.ending.Add(drainLimit)))
			defer drain.Stop()
			drained = drain.C
		case <-drained:
			if l.take() {
				return nil
			}
			l.over = l.ended()
			return l.over
		case <-timer.C:
			return ErrTimeout
		case <-ctx.Done():
			return ctx.Err()
		case <-l.closed:
			return ErrClosed
		}
	}
}

// take takes output that waits. What is there comes before the news that there will be no more, or that the time has
// passed.
func (l *processLink) take() bool {
	select {
	case l.pending = <-l.output:
		return true
	default:
		return false
	}
}

// Write follows the rules of Link. What it counts is with the system or, after a timeout, up to 4 KiB of it in our hands,
// and goes to the program as soon as that reads again.
func (l *processLink) Write(ctx context.Context, p []byte, timeout time.Duration) (int, error) {
	if err := l.usable(ctx); err != nil {
		return 0, err
	}
	if l.broken != nil {
		return 0, l.broken
	}
	n, err := l.input.write(ctx, p, timeout)
	if errors.Is(err, ErrClosed) {
		select {
		case <-l.closed:
		default:
			err = l.ended()
		}
		l.broken = err
	}
	return n, err
}

func (l *processLink) usable(ctx context.Context) error {
	select {
	case <-l.closed:
		return ErrClosed
	default:
	}
	return ctx.Err()
}

// ended says how the program ended, if it did.
func (l *processLink) ended() error {
	timer := time.NewTimer(drainLimit)
	defer timer.Stop()
	select {
	case <-l.exited:
	case <-timer.C:
		return fmt.Errorf("%w: the program %+q has closed its side and runs on", ErrClosed, l.name)
	}
	select { // what it said last is worth the wait
	case <-l.told:
	case <-timer.C:
	}
	text := fmt.Sprintf("the program %+q has ended: %v", l.name, l.command.ProcessState)
	if last := l.stderr.lastLine(); last != "" {
		text += fmt.Sprintf("; its last line on standard error: %+q", last)
	}
	return fmt.Errorf("%w: %s", ErrClosed, text)
}

// Close ends the program: see OpenProcess.
func (l *processLink) Close() error {
	l.closing.Do(func() {
		close(l.closed)
		l.failure = l.release()
	})
	return l.failure
}

func (l *processLink) release() error {
	_ = l.pipes.in.Close() // ends a blocked write as well
	if !closedWithin(l.exited, l.grace) {
		kill(l.command.Process)
	}
	gone := closedWithin(l.exited, killLimit)
	// What the program started may live on and hold the pipes.
	if !closedWithin(l.told, drainLimit) {
		_ = l.pipes.err.Close()
	}
	_ = l.pipes.out.Close()
	_ = l.pipes.err.Close()
	<-l.silent
	<-l.told
	<-l.input.ended
	if !gone {
		return fmt.Errorf("link: program %+q: killed, and it does not end", l.name)
	}
	return nil
}

// closedWithin reports whether the channel is closed within the time.
func closedWithin(c <-chan struct{}, limit time.Duration) bool {
	timer := time.NewTimer(limit)
	defer timer.Stop()
	select {
	case <-c:
		return true
	case <-timer.C:
		return false
	}
}

// processPipes are our ends of a program's three streams, and its own ends until it has them.
type processPipes struct {
	in, out, err *os.File
	far          []*os.File
}

// connect makes the pipes. They are files, not what the exec package offers: that would close them at the end of the
// program with its last words in them.
func connect(command *exec.Cmd) (*processPipes, error) {
	p := &processPipes{}
	for _, stream := range []struct {
		near **os.File
		far  func(*os.File)
		in   bool
	}{
		{&p.in, func(f *os.File) { command.Stdin = f }, true},
		{&p.out, func(f *os.File) { command.Stdout = f }, false},
		{&p.err, func(f *os.File) { command.Stderr = f }, false},
	} {
		reader, writer, err := os.Pipe()
		if err != nil {
			p.closeFar()
			p.closeNear()
			return nil, err
		}
		near, far := reader, writer
		if stream.in {
			near, far = writer, reader
		}
		*stream.near = near
		stream.far(far)
		p.far = append(p.far, far)
	}
	return p, nil
}

func (p *processPipes) closeFar() {
	for _, f := range p.far {
		_ = f.Close()
	}
	p.far = nil
}

func (p *processPipes) closeNear() {
	for _, f := range []*os.File{p.in, p.out, p.err} {
		if f != nil {
			_ = f.Close()
		}
	}
}
