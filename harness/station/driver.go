package station

import (
	"context"
	"errors"
	"fmt"
	"time"

	"bufferstop/harness/link"
)

// Clock is the rig's time; harness.Rig satisfies it.
type Clock = link.Clock

// A Driver asks a station for operations and reads its answers, in the way that a dialect says. It is used by one
// goroutine at a time and starts none. The link stays its owner's.
//
// One operation is one line sent and one line awaited. A line that comes when none is awaited, or that is one of the
// dialect's events, is kept for Unsolicited and is never taken for an answer. After an answer that did not come in time,
// came garbled or too long, or was given up because a context ended, driver and station are out of step: an answer may
// still be on its way. The next operation then first brings them into step again; see Resynchronise. A new driver is out
// of step too, since nobody knows what was on the line before.
type Driver struct {
	language language
	manners  manners
	link     link.Link
	clock    Clock
	lines    messageReader
	observe  func(Exchange)

	outOfStep bool
	halfSent  bool // the station may hold the beginning of a line
	last      Exchange
	heard     []Unsolicited
	unheard   int
}

// An Option changes a Driver.
type Option func(*Driver)

// Observe has f see every exchange as it ends, those of Resynchronise and Flood apart.
func Observe(f func(Exchange)) Option {
	return func(d *Driver) { d.observe = f }
}

// NewDriver returns a driver of the station at the other end of l. Times are those of c.
func NewDriver(dialect *Dialect, l link.Link, c Clock, options ...Option) *Driver {
	return newDriver(dialect, l, c, options...)
}

func newDriver(spoken language, l link.Link, c Clock, options ...Option) *Driver {
	d := &Driver{language: spoken, manners: spoken.manners(), link: l, clock: c, outOfStep: true, lines: spoken.messages(l, c)}
	for _, option := range options {
		option(d)
	}
	return d
}

// An Exchange is one operation as it went over the link.
type Exchange struct {
	Operation Operation
	Sent      string // without the line end; empty when nothing was sent
	Answer    string // without the line end: untrusted; empty when there was none
	// Begun is the time on the rig's clock just before the first byte was handed to the link, HandedOver just after the
	// last one, and Answered when the line end of the answer was read. A time that was not reached is zero. With a
	// repetition after "busy", Sent, HandedOver and Answered are those of the last one.
	Begun, HandedOver, Answered time.Duration
	Tries                       int   // 1, and one more for every repetition after "busy"
	Err                         error // as the operation returned it
}

// RoundTrip is the time from the last byte handed over to the answer, or zero when there was none.
func (e Exchange) RoundTrip() time.Duration {
	if e.Answered == 0 {
		return 0
	}
	return e.Answered - e.HandedOver
}

// LastExchange is the latest operation that was tried. A Flood leaves it as it was.
func (d *Driver) LastExchange() Exchange { return d.last }

// Unsolicited is a line that a station sent by itself, or that came when no answer was awaited.
type Unsolicited struct {
	Received time.Duration // on the rig's clock
	Event    string        // the name that the dialect gives the event; empty for a line that it does not know
	Text     string        // without the line end: untrusted
}

// unsolicitedKept bounds what is kept for Unsolicited.
const unsolicitedKept = 1000

// Unsolicited returns the lines that came unasked since the last call, and how many more came than are kept.
func (d *Driver) Unsolicited() (lines []Unsolicited, more int) {
	lines, more = d.heard, d.unheard
	d.heard, d.unheard = nil, 0
	return lines, more
}

func (d *Driver) hear(line link.Line, event string) {
	if len(d.heard) == unsolicitedKept {
		d.unheard++
		return
	}
	d.heard = append(d.heard, Unsolicited{Received: line.Received, Event: event, Text: string(line.Text)})
}

// do carries out one operation and returns its answer.
func (d *Driver) do(ctx context.Context, c Command) (reply, error) {
	e := Exchange{Operation: c.operation}
	got, err := d.exchange(ctx, c, &e)
	if err != nil {
		err = fmt.Errorf("station: %s: %w", c, err)
	}
	e.Err = err
	d.last = e
	if d.observe != nil {
		d.observe(e)
	}
	return got, err
}

func (d *Driver) exchange(ctx context.Context, c Command, e *Exchange) (reply, error) {
	r, text, err := d.language.render(c)
	if err != nil {
		return reply{}, err
	}
	if err := d.ready(ctx); err != nil {
		return reply{}, err
	}
	e.Begun = d.clock.Now()
	giveUp := e.Begun + d.manners.write + r.timeout
	for {
		e.Tries++
		e.Sent = text
		if err := d.send(ctx, text); err != nil {
			return reply{}, err
		}
		e.HandedOver = d.clock.Now()
		line, err := d.await(ctx, r, e.HandedOver+r.timeout)
		if err != nil {
			d.outOfStep = true
			return reply{}, fmt.Errorf("answer to %q: %w", text, err)
		}
		e.Answer, e.Answered = string(line.Text), line.Received
		got, err := d.understand(c, r, text, line)
		if !errors.Is(err, ErrBusy) {
			return got, err
		}
		if d.clock.Now()+d.manners.busyPause >= giveUp {
			return reply{}, err
		}
		if err := d.clock.Wait(ctx, d.manners.busyPause); err != nil {
			return reply{}, err
		}
	}
}

// ready brings driver and station into step if need be, and takes away what came unasked since the last operation.
func (d *Driver) ready(ctx context.Context) error {
	if d.outOfStep {
		return d.Resynchronise(ctx)
	}
	for {
		line, err := d.lines.ReadLine(ctx, 0)
		if errors.Is(err, link.ErrTimeout) {
			// The rest of a line that has begun would otherwise become the answer's first half.
			if len(d.lines.Pending()) > 0 {
				return d.Resynchronise(ctx)
			}
			return nil
		}
		var long *link.LongLineError
		if errors.As(err, &long) {
			d.hear(link.Line{Text: long.Start, Received: d.clock.Now()}, "")
			return d.Resynchronise(ctx)
		}
		if err != nil {
			d.outOfStep = true
			return err
		}
		e, _ := d.language.isEvent(nil, line)
		d.hear(line, e.name)
	}
}

// send hands over one line.
func (d *Driver) send(ctx context.Context, text string) error {
	line := d.language.encode(text)
	n, err := d.link.Write(ctx, line, d.manners.write)
	if err == nil {
		return nil
	}
	d.outOfStep = true
	if n > 0 && n < len(line) {
		d.halfSent = true
	}
	return fmt.Errorf("%d of %d bytes of %q handed over: %w", n, len(line), text, err)
}

// understand asks the language what a message means. One that it does not know leaves driver and station out of step.
func (d *Driver) understand(c Command, r *request, sent string, m link.Line) (reply, error) {
	got, err := d.language.understand(c, r, sent, []link.Line{m})
	var unexpected *UnexpectedAnswer
	if errors.As(err, &unexpected) {
		d.outOfStep = true
	}
	return got, err
}

// await returns the next line that is no event.
func (d *Driver) await(ctx context.Context, r *request, until time.Duration) (link.Line, error) {
	for {
		line, err := d.lines.ReadLine(ctx, max(until-d.clock.Now(), 0))
		if err != nil {
			return link.Line{}, err
		}
		e, isEvent := d.language.isEvent(r, line)
		if !isEvent {
			return line, nil
		}
		d.hear(line, e.name)
		// A station that talks without pause must not hold us here.
		if d.clock.Now() >= until && len(d.lines.Pending()) == 0 {
			return link.Line{}, link.ErrTimeout
		}
		if err := ctx.Err(); err != nil {
			return link.Line{}, err
		}
	}
}

// Resynchronise brings driver and station into step: after it, no answer to an earlier operation is on its way, as far as
// that can be known. Operations do it by themselves when it is needed; call it after the station was restarted.
//
// With [resynchronise] in the dialect, the query there is sent, and every line until its answer is passed over: a
// station answers in order, so whatever was on its way has come before. The query is sent up to three times within its
// time, since the first may have been lost; then the driver listens until the line has been quiet for [time] quiet,
// which also takes away answers to the repeated query. Without [resynchronise] there is only the quiet time: an answer
// that is later than that will be taken for the answer of the next operation if it looks like one. So a dialect should
// have the query whenever the language has one that fits.
//
// Lines that are passed over are kept for Unsolicited.
func (d *Driver) Resynchronise(ctx context.Context) error {
	d.outOfStep = true
	if d.halfSent {
		// End the line of which the station holds the beginning; what it makes of it is passed over.
		if _, err := d.link.Write(ctx, d.language.ending(), d.manners.write); err != nil {
			return fmt.Errorf("coming into step: %w", err)
		}
		d.halfSent = false
	}
	if d.language.query() != nil {
		if err := d.askInStep(ctx); err != nil {
			return fmt.Errorf("coming into step: %w", err)
		}
	}
	if err := d.listenUntilQuiet(ctx); err != nil {
		return fmt.Errorf("coming into step: %w", err)
	}
	d.outOfStep = false
	return nil
}

// inStepTries is how often the query of [resynchronise] is sent at most.
const inStepTries = 3

func (d *Driver) askInStep(ctx context.Context) error {
	s := d.language.query()
	start := d.clock.Now()
	for try := range inStepTries {
		if err := d.send(ctx, s.send); err != nil {
			return err
		}
		// Later tries get what is left of the whole time, evenly.
		until := start + s.timeout*time.Duration(try+1)/inStepTries
		found, err := d.passOver(ctx, until, s.matches)
		if found || err != nil {
			return err
		}
	}
	return fmt.Errorf("no answer to %q: %w", s.send, link.ErrTimeout)
}

func (s *inStep) matches(line link.Line) bool { return s.pattern.Match(line.Text) }

// passOver reads lines until one is wanted or the time has come; the others are kept as unsolicited.
func (d *Driver) passOver(ctx context.Context, until time.Duration, wanted func(link.Line) bool) (bool, error) {
	for {
		line, err := d.lines.ReadLine(ctx, max(until-d.clock.Now(), 0))
		var long *link.LongLineError
		switch {
		case errors.Is(err, link.ErrTimeout):
			return false, nil
		case errors.As(err, &long):
			d.hear(link.Line{Text: long.Start, Received: d.clock.Now()}, "")
			if !long.Ended {
				return false, nil
			}
		case err != nil:
			return false, err
		case wanted(line):
			return true, nil
		default:
			e, _ := d.language.isEvent(nil, line)
			d.hear(line, e.name)
		}
		if d.clock.Now() >= until {
			return false, nil
		}
	}
}

// listenUntilQuiet waits for [time] quiet without a byte. A line that was begun and not ended is thrown away.
func (d *Driver) listenUntilQuiet(ctx context.Context) error {
	// A station that never is quiet must not hold us here: it has the time of one answer.
	giveUp := d.clock.Now() + max(defaultAnswer, 2*d.manners.quiet)
	for {
		read := d.lines.BytesRead()
		began := d.clock.Now()
		heard, err := d.passOver(ctx, began+d.manners.quiet, func(line link.Line) bool {
			e, _ := d.language.isEvent(nil, line)
			if s := d.language.query(); s == nil || !s.matches(line) {
				d.hear(line, e.name)
			}
			return true
		})
		if err != nil {
			return err
		}
		if !heard && d.lines.BytesRead() == read {
			if rest := d.lines.Discard(); len(rest) > 0 {
				d.hear(link.Line{Text: rest, Received: d.clock.Now()}, "")
			}
			return nil
		}
		if d.clock.Now() >= giveUp {
			return fmt.Errorf("the station talks without pause: %w", link.ErrTimeout)
		}
	}
}
