//go:build linux || darwin || freebsd || netbsd || openbsd || dragonfly

package serving

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"runtime"
	"strings"
	"sync/atomic"
	"syscall"
	"time"

	"github.com/creack/pty"
	"golang.org/x/term"

	"bufferstop/harness/link"
)

// PTY makes a pseudo-terminal in raw mode, and a symbolic link to it at path if that is not empty. A link to a
// pseudo-terminal, or to nothing, is replaced, so the caller must have made sure that nobody serves there; whatever else
// is there is an error: see Vacant. tell hears of clients, during calls of the port.
func PTY(path string, tell func(Notice)) (Port, error) {
	fail := func(err error) (Port, error) { return nil, fmt.Errorf("serving at a pseudo-terminal: %w", err) }
	blocking, device, err := pty.Open()
	if err != nil {
		return fail(err)
	}
	p := &ptyPort{device: device.Name(), path: path, tell: tell}
	_, rawErr := term.MakeRaw(int(device.Fd()))
	// The device's end is let go of: while nobody has it open, reading ours is an error, and so clients are known. The
	// settings stay as long as ours is open.
	if err := errors.Join(rawErr, device.Close()); err != nil {
		return fail(errors.Join(err, blocking.Close()))
	}
	if p.ours, err = pollable(blocking); err != nil {
		return fail(err)
	}
	if path != "" {
		if err := symlink(path, p.device); err != nil {
			return fail(errors.Join(err, p.ours.Close()))
		}
	}
	return p, nil
}

// pollable gives a file deadlines, which it has only in non-blocking mode.
func pollable(blocking *os.File) (*os.File, error) {
	defer blocking.Close()
	number, err := syscall.Dup(int(blocking.Fd()))
	if err != nil {
		return nil, err
	}
	syscall.CloseOnExec(number)
	if err := syscall.SetNonblock(number, true); err != nil {
		return nil, errors.Join(err, syscall.Close(number))
	}
	return os.NewFile(uintptr(number), blocking.Name()), nil
}

// Vacant says what keeps a pseudo-terminal from being served at a path: nil for nothing. A symbolic link to a
// pseudo-terminal does not. One that was killed leaves it behind, and the system soon gives the name to which it leads to
// another terminal, so that it cannot be told from one that is in use.
func Vacant(path string) error {
	info, err := os.Lstat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	taken := fmt.Errorf("%+q is there already, and no link to a pseudo-terminal (hint: remove it, or name another path)", path)
	if info.Mode()&fs.ModeSymlink == 0 {
		return taken
	}
	target, err := os.Readlink(path)
	if err != nil {
		return err
	}
	if _, err := os.Stat(path); err == nil && !isPseudoTerminal(target) {
		return taken
	}
	return nil
}

// isPseudoTerminal tells by its name what a device is.
func isPseudoTerminal(device string) bool {
	switch runtime.GOOS {
	case "darwin":
		return strings.HasPrefix(device, "/dev/ttys")
	case "openbsd":
		return strings.HasPrefix(device, "/dev/tty") && !strings.HasPrefix(device, "/dev/tty0") // serial ports
	}
	return strings.HasPrefix(device, "/dev/pts/")
}

func symlink(path, device string) error {
	if err := Vacant(path); err != nil {
		return err
	}
	if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return os.Symlink(device, path)
}

// unhurried is how long a client is waited for that may be there: long beside what a busy machine holds a process up. Our own choice.
const unhurried = 50 * time.Millisecond

type ptyPort struct {
	ours         *os.File
	device, path string
	tell         func(Notice)
	open         bool // a client has the device open
	closed       atomic.Bool
	failure      error // of Close
}

// Address is that of the symbolic link, if there is one, else of the device.
func (p *ptyPort) Address() link.Address {
	device := p.device
	if p.path != "" {
		device = p.path
	}
	return link.Address{Serial: &link.SerialConfig{Device: device}}
}

// Read follows the rules of link.Link.
func (p *ptyPort) Read(ctx context.Context, b []byte, timeout time.Duration) (int, error) {
	if len(b) == 0 {
		return 0, ctx.Err()
	}
	read := func(timeout time.Duration) (int, error) {
		return within(ctx, timeout, p.ours.SetReadDeadline, func() (int, error) { return p.ours.Read(b) })
	}
	n, err := read(timeout)
	if errors.Is(err, link.ErrTimeout) && !p.open {
		// On a busy machine a short time may have passed before there was any look at the device.
		n, err = read(unhurried)
	}
	switch {
	case n > 0, errors.Is(err, link.ErrTimeout):
		p.seen(true)
		return n, err
	case ctx.Err() != nil:
		return 0, ctx.Err()
	case p.closed.Load():
		return 0, link.ErrClosed
	}
	p.seen(false)
	return 0, pause(ctx, timeout)
}

func (p *ptyPort) seen(open bool) {
	if open == p.open {
		return
	}
	p.open = open
	event := Went
	if open {
		event = Came
	}
	p.tell(Notice{Event: event})
}

// Write follows the rules of link.Link; what is written while no client is there is lost, and does not wait for the next.
func (p *ptyPort) Write(ctx context.Context, b []byte, timeout time.Duration) (int, error) {
	if p.closed.Load() {
		return 0, link.ErrClosed
	}
	if err := ctx.Err(); err != nil {
		return 0, err
	}
	if !p.open {
		return len(b), nil
	}
	n, err := within(ctx, timeout, p.ours.SetWriteDeadline, func() (int, error) { return p.ours.Write(b) })
	switch {
	case n == len(b):
		return n, nil
	case p.closed.Load():
		return n, link.ErrClosed
	case ctx.Err() != nil:
		return n, ctx.Err()
	case errors.Is(err, link.ErrTimeout), err == nil:
		return n, link.ErrTimeout
	}
	p.seen(false)
	return len(b), nil
}

// Close hangs up and removes the symbolic link, unless it is another's by now. A second Close does nothing.
func (p *ptyPort) Close() error {
	if p.closed.Swap(true) {
		return p.failure
	}
	p.failure = p.ours.Close()
	if target, err := os.Readlink(p.path); err == nil && target == p.device {
		p.failure = errors.Join(p.failure, os.Remove(p.path))
	}
	return p.failure
}
