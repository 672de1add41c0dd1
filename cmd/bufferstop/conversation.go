package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"bufferstop/harness/link"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
)

const (
	// listenEvery is how often talk looks whether the station has said something while nobody types.
	listenEvery = 100 * time.Millisecond
	// rawAnswer is how long what raw has sent may take to be answered, and rawQuiet the silence that ends the answer.
	rawAnswer, rawQuiet = 2 * time.Second, 200 * time.Millisecond
	// powerOffLimit is how long, on the wall clock, switching off may take at the end: longer than a command takes.
	powerOffLimit = 15 * time.Second
)

// A conversation is one talk with a station, from the greeting until the power is off.
type conversation struct {
	*partner
	out    io.Writer
	wire   *tap
	driver *station.Driver
	named  []station.Track // by commands, beside those that the station claims
}

// talk reads commands until there are no more, or the link breaks, or ctx ends.
func (p *partner) talk(ctx context.Context, cmd *cobra.Command) (err error) {
	lines, done := newPrompt(cmd.InOrStdin(), cmd.OutOrStdout())
	defer done()
	c := &conversation{partner: p, out: lines.out, wire: &tap{Link: p.line, clock: p.clock}}
	c.driver = p.file.Driver(c.wire, p.clock)
	c.say("talking with %+q; help lists the commands, quit ends", p.file.Name)
	defer func() { // also when something panics
		if off := c.powerOff(ctx); err == nil { // else that of the power follows from it
			err = off
		}
	}()
	return c.listenToBoth(ctx, lines)
}

func (c *conversation) say(format string, values ...any) { fmt.Fprintf(c.out, format+"\n", values...) }

// listenToBoth attends to the user and to the station, until either has had enough. A nil error is the user's.
func (c *conversation) listenToBoth(ctx context.Context, lines *prompt) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	commands := make(chan string)
	var failure error // of the input
	go func() {
		defer close(commands)
		failure = lines.each(func(line string) bool {
			select {
			case commands <- line:
				return true
			case <-ctx.Done():
				return false
			}
		})
		if lines.terminal != nil {
			cancel() // Ctrl-C is no signal there, and has to end a command that waits for its answer
		}
	}()
	ticker := time.NewTicker(listenEvery)
	defer ticker.Stop()
	for {
		var err error
		quit := false
		select {
		case <-ctx.Done():
			return nil
		case line, more := <-commands:
			if !more {
				return failure
			}
			if lines.terminal == nil {
				c.say("%s%s", promptText, harmless(line))
			}
			quit, err = c.obey(ctx, line)
		case <-ticker.C:
			err = c.attend(ctx)
		}
		if errors.Is(err, link.ErrClosed) {
			return exit{verdict.ExitFault, &mistake{What: "the link to the station broke: " + err.Error(),
				Hint: "the track power may still be on: switch the supply of the station off"}}
		}
		if quit {
			return nil
		}
	}
}

// attend shows what the station says by itself, and says to it what it wants to hear now and then.
func (c *conversation) attend(ctx context.Context) error {
	if !c.alive {
		return nil
	}
	err := c.driver.Listen(ctx)
	if left, wanted := c.driver.NextKeepAlive(); err == nil && wanted && left <= listenEvery {
		err = c.driver.KeepAlive(ctx)
	}
	c.show()
	if err != nil && ctx.Err() == nil && !errors.Is(err, link.ErrClosed) {
		c.say("%s", harmless(err.Error()))
	}
	return err
}

// show shows the bytes that have gone both ways, and what came unasked.
func (c *conversation) show() {
	for _, e := range c.wire.take() {
		c.say("%12.6f %c %s", e.Time.Seconds(), e.Direction, quoteBytes(e.Bytes))
	}
	heard, more := c.driver.Unsolicited()
	for _, u := range heard {
		if u.Event != "" {
			c.say("by itself: %s (%+q)", harmless(u.Event), u.Text)
		} else {
			c.say("by itself: %+q", u.Text)
		}
	}
	if more > 0 {
		c.say("by itself: %s more", plural(more, "line"))
	}
}

// powerOff leaves the station in a safe state, also when all else has failed.
func (c *conversation) powerOff(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), powerOffLimit)
	defer cancel()
	c.show()
	var all []error
	for _, track := range slices.Concat(c.file.Claims.Tracks, c.named) {
		err := c.driver.SetPower(ctx, track, false)
		c.show()
		if err == nil {
			c.say("the %s track is off", track)
			continue
		}
		c.say("the %s track is NOT known to be off: %s", track, harmless(err.Error()))
		all = append(all, fmt.Errorf("the power of the %s track could not be switched off: %w", track, err))
		if errors.Is(err, station.ErrSilent) || errors.Is(err, station.ErrNotTaken) || errors.Is(err, link.ErrClosed) {
			break // nobody there who could switch off the other
		}
	}
	if len(all) == 0 {
		return nil
	}
	return exit{verdict.ExitFault, &mistake{What: errors.Join(all...).Error(), Hint: "switch the supply of the station off"}}
}

// unnamed is an error of the driver without the operation, which is said already.
func unnamed(err error) error {
	if inner := errors.Unwrap(err); inner != nil {
		return inner
	}
	return err
}
