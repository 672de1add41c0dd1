package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"sync"
	"syscall"
)

// stopping are the signals that end a run or a talk. SIGHUP comes when the terminal's window is closed, or its connection lost.
// A program that nohup has started goes on.
var stopping = func() []os.Signal {
	signals := []os.Signal{os.Interrupt, syscall.SIGTERM}
	if !signal.Ignored(syscall.SIGHUP) {
		signals = append(signals, syscall.SIGHUP)
	}
	return signals
}()

// interrupts ends a context at the first of them, so that the rig is made safe and the record written. From then
// on these signals do what they do by default: a second one ends the program at once, whatever hangs.
type interrupts struct {
	arrived chan os.Signal
	cancel  context.CancelFunc
	done    chan struct{}

	mu      sync.Mutex
	settled bool // nothing is to be changed now: a signal has arrived, or the signals were reclaimed
	struck  bool // a signal has arrived
}

func catchInterrupts(parent context.Context, stderr io.Writer) (context.Context, *interrupts) {
	ctx, cancel := context.WithCancel(parent)
	i := &interrupts{arrived: make(chan os.Signal, 1), cancel: cancel, done: make(chan struct{})}
	i.notify()
	go func() {
		defer close(i.done)
		select {
		case <-i.arrived:
			i.mu.Lock()
			i.settled, i.struck = true, true
			signal.Reset(stopping...)
			i.mu.Unlock()
			fmt.Fprintln(stderr, "\nbufferstop: interrupted, making the rig safe; once more ends at once")
			cancel()
		case <-ctx.Done():
		}
	}()
	return ctx, i
}

func (i *interrupts) notify() { signal.Notify(i.arrived, stopping...) }

// reclaim takes the signals from Ginkgo, which asks for them when it begins and would take an interrupt for a fault of the
// check that is going on. Only the first call does anything, and the first after each again.
func (i *interrupts) reclaim() {
	i.mu.Lock()
	defer i.mu.Unlock()
	if !i.settled {
		signal.Reset(stopping...)
		i.notify()
		i.settled = true
	}
}

// again says that Ginkgo is about to begin once more.
func (i *interrupts) again() {
	i.mu.Lock()
	defer i.mu.Unlock()
	i.settled = i.struck
}

// release stops listening to the signals.
func (i *interrupts) release() {
	signal.Stop(i.arrived)
	i.cancel()
	<-i.done
}

// catchStop ends a context at the first of these signals, for a verb that is meant to be ended so. A second one ends the
// program at once. release stops listening.
func catchStop(parent context.Context) (ctx context.Context, release func()) {
	ctx, cancel := signal.NotifyContext(parent, stopping...)
	// From the first signal on they do again what they do by default.
	stop := context.AfterFunc(ctx, cancel)
	return ctx, func() {
		stop()
		cancel()
	}
}
