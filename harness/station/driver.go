package station

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"bufferstop/harness/link"
)

// Clock is the rig's time; harness.Rig satisfies it.
type Clock = link.Clock

// A Driver asks a station for operations and reads its answers, in the way that a dialect says. It is used by one
// goroutine at a time and starts none. The link stays its owner's.
//
// One operation is one message sent and one answer awaited: one message, or several where the language has such. A message
// that comes when none is awaited, or that is one of the language's events, is kept for Unsolicited and is never taken
// for an answer. After an answer that did not come in time, came garbled or too long, or was given up because a context
// ended, driver and station are out of step: an answer may still be on its way. The next operation then first brings them
// into step again; see Resynchronise. A new driver is out of step too, since nobody knows what was on the line before.
//
// Restarts, Echoes and LinkHealth tell what else was noticed. Diagnose says whose fault it is that an operation failed.
type Driver struct {
	language language
	manners  manners
	link     link.Link
	clock    Clock
	lines    messageReader
	observe  func(Exchange)

	outOfStep bool
	comingIn  bool // while Resynchronise is at work
	halfSent  bool // the station may hold the beginning of a message
	started   bool // the start-up script is said
	lastSent  time.Duration
	everSent  bool
	last      Exchange
	heard     []Unsolicited
	unheard   int

	boots   boots
	echoing []string // sent, their declared echo not yet heard
	echoed  bool     // a declared echo was heard
	echoes  int      // undeclared
	lost    bool     // the link was closed, and nothing has shown since that it is back
	health  LinkHealth
	before  LinkHealth // health when the last operation began
	strange int        // damaged messages that the last Resynchronise has passed over
	other   int        // messages of any other kind that it has passed over
	// readAtStep is how many bytes had been read when it began.
	readAtStep int64
	known      Identity // first answer to identify, empty before
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
	d.ExpectRestart() // many boards restart when their port is opened
	for _, option := range options {
		option(d)
	}
	return d
}

// An Exchange is one operation as it went over the link.
type Exchange struct {
	Operation Operation
	Command   Command
	Sent      string // without the line end; empty when nothing was sent
	Answer    string // without line ends, several messages joined by "\n": untrusted; empty when there was none
	// Begun is the time on the rig's clock just before the first byte was handed to the link, HandedOver just after the
	// last one, and Answered when the line end of the answer was read. A time that was not reached is zero. With a
	// repetition, Sent, HandedOver and Answered are those of the last one.
	Begun, HandedOver, Answered time.Duration
	Tries                       int   // 1, and one more for every repetition after "busy" or an expected restart
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
	Text     string        // without the line end, its first 4096 bytes: untrusted
}

// What is kept for Unsolicited: so many messages, and so much of each. Our own choice: a few megabytes at most.
const (
	unsolicitedKept = 1000
	unsolicitedText = 4096
)

// Unsolicited returns the lines that came unasked since the last call, and how many more came than are kept.
func (d *Driver) Unsolicited() (lines []Unsolicited, more int) {
	lines, more = d.heard, d.unheard
	d.heard, d.unheard = nil, 0
	return lines, more
}

// hear keeps a message that is no answer.
func (d *Driver) hear(m link.Line, e event) {
	if e.restart {
		d.restarted(m.Received)
	}
	if len(d.heard) == unsolicitedKept {
		d.unheard++
		return
	}
	d.heard = append(d.heard, Unsolicited{Received: m.Received, Event: e.name, Text: string(m.Text[:min(len(m.Text), unsolicitedText)])})
}

// Do carries out a command. What it brought back is in LastExchange.
func (d *Driver) Do(ctx context.Context, c Command) error { return d.done(ctx, c) }

// Can reports whether the station can be told a command at all. Nothing is sent.
func (d *Driver) Can(c Command) bool {
	_, _, err := d.language.render(c)
	return !errors.Is(err, ErrNotSupported)
}

// do carries out one operation and returns its answer.
func (d *Driver) do(ctx context.Context, c Command) (reply, error) {
	d.before = d.health
	e := Exchange{Operation: c.operation, Command: c}
	got, err := d.exchange(ctx, c, &e)
	if err == nil || isAnswer(err) {
		d.boots.completed(c.operation)
	}
	if err == nil && c.operation == Identify && d.known == (Identity{}) {
		d.known = got.identity
	}
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
	if c.operation == Reset {
		d.boots.expected = true // many stations reset by starting anew
	}
	e.Begun = d.clock.Now()
	giveUp := e.Begun + d.manners.write + r.timeout
	for {
		e.Tries++
		e.Sent = text
		got, err := d.try(ctx, c, r, e)
		switch {
		case errors.Is(err, errExpectedRestart):
			// What was asked went under with the restart. This comes round no more often than a restart is expected.
			if err := d.Resynchronise(ctx); err != nil || c.operation == Reset {
				return reply{}, err
			}
			giveUp = d.clock.Now() + d.manners.write + r.timeout
		case errors.Is(err, ErrBusy) && d.clock.Now()+d.manners.busyPause < giveUp:
			if err := d.clock.Wait(ctx, d.manners.busyPause); err != nil {
				return reply{}, err
			}
		default:
			return got, err
		}
	}
}

// try sends a command once and takes its answer.
func (d *Driver) try(ctx context.Context, c Command, r *request, e *Exchange) (reply, error) {
	if err := d.send(ctx, e.Sent); err != nil {
		return reply{}, err
	}
	e.HandedOver = d.clock.Now()
	p := prepared{c, r, e.Sent}
	answer, err := d.await(ctx, p, []string{e.Sent}, e.HandedOver+r.timeout)
	e.Answer = asOne(answer)
	switch {
	case errors.Is(err, link.ErrTimeout):
		d.outOfStep = true
		return reply{}, &noAnswer{sent: e.Sent, err: err}
	case err != nil:
		d.outOfStep = true
		return reply{}, fmt.Errorf("answer to %q: %w", e.Sent, err)
	}
	e.Answered = answer[len(answer)-1].Received
	got, err := d.understand(p, answer)
	d.echoing = nil // one that has not come by now does not come
	return got, err
}

// asOne is an answer as one text.
func asOne(answer []link.Line) string {
	texts := make([]string, len(answer))
	for i, m := range answer {
		texts[i] = string(m.Text)
	}
	return strings.Join(texts, "\n")
}

// ready brings driver and station into step if need be, and takes away what came unasked since the last operation.
func (d *Driver) ready(ctx context.Context) error {
	if !d.outOfStep {
		if err := d.Listen(ctx); err != nil {
			return err
		}
	}
	if d.outOfStep {
		return d.Resynchronise(ctx)
	}
	return nil
}

// lateBytes is how much of what has come is looked at after the time for it has passed, so that a station which never
// pauses holds nobody. Our own choice: the longest line that a dialect may allow is a million.
const lateBytes = 1 << 20

// Listen takes what has come unasked since the last operation, without waiting for more, so that events and restarts
// become known. Operations do it as they begin. Errors are those of the link and of the context.
func (d *Driver) Listen(ctx context.Context) error {
	giveUp, most := d.clock.Now()+d.manners.quiet, d.lines.BytesRead()+lateBytes
	for {
		m, err := d.lines.ReadLine(ctx, 0)
		var garbled *GarbledMessage
		var long *link.LongLineError
		switch {
		case err == nil:
			e, _ := d.language.isEvent(nil, m)
			d.hear(m, e)
		case errors.As(err, &garbled):
			// Nobody has asked for it, so it is no sign of a bad line: between answers a station may print what it likes.
			d.hear(link.Line{Text: []byte(garbled.Got), Received: d.clock.Now()}, event{})
		case errors.As(err, &long):
			d.hear(link.Line{Text: long.Start, Received: d.clock.Now()}, event{})
			d.outOfStep = true
			return nil
		case errors.Is(err, link.ErrTimeout):
			// The rest of a line that has begun would otherwise become the answer's first half.
			d.outOfStep = d.outOfStep || len(d.lines.Pending()) > 0
			return nil
		default:
			return d.faulted(err)
		}
		if d.clock.Now() > giveUp || d.lines.BytesRead() > most {
			d.outOfStep = true
			return nil
		}
	}
}

// send hands over one message.
func (d *Driver) send(ctx context.Context, text string) error {
	encoded := d.language.encode(text)
	n, err := d.link.Write(ctx, encoded, d.manners.write)
	if err == nil {
		d.lastSent, d.everSent = d.clock.Now(), true
		if d.manners.echo {
			d.echoing = append(d.echoing, text)
		}
		return nil
	}
	d.outOfStep = true
	d.halfSent = d.halfSent || n > 0 && n < len(encoded)
	if errors.Is(err, link.ErrTimeout) {
		err = fmt.Errorf("%w: %w", ErrNotTaken, err)
	}
	return fmt.Errorf("%d of %d bytes of %q handed over: %w", n, len(encoded), text, d.faulted(err))
}

// understand asks the language what an answer means. One that it does not know leaves driver and station out of step.
func (d *Driver) understand(p prepared, answer []link.Line) (reply, error) {
	got, err := d.language.understand(p.command, p.request, p.text, answer)
	var unexpected *UnexpectedAnswer
	if errors.As(err, &unexpected) {
		d.outOfStep = true
		if d.echoed && len(d.echoing) > 0 && len(answer) == 1 {
			// The station says back what it hears, and it has not yet: this is what became of it.
			return got, d.faulted(&GarbledMessage{What: "an echo", Got: string(answer[0].Text), Want: fmt.Sprintf("%q, as sent", p.text)})
		}
	}
	return got, err
}

// The most that an answer in parts may have. Our own choice: a list of all locomotives of a large layout.
const (
	mostParts     = 1024
	mostPartBytes = 1 << 20
)

// await returns the messages of the next answer: to p, or to whichever of the commands with the outstanding texts was
// sent first. What came of an answer that did not end is returned beside the error.
func (d *Driver) await(ctx context.Context, p prepared, outstanding []string, until time.Duration) (answer []link.Line, err error) {
	size, late := 0, int64(-1)
	for {
		m, err := d.lines.ReadLine(ctx, max(until-d.clock.Now(), 0))
		if err != nil {
			return answer, d.faulted(err)
		}
		e, isEvent := d.language.isEvent(p.request, m)
		switch {
		case len(answer) == 0 && d.isEcho(p, m, outstanding, isEvent):
		case isEvent:
			expected := d.boots.expected
			d.hear(m, e)
			if e.restart {
				return answer, d.restartError(expected, m.Received)
			}
		default:
			answer = append(answer, m)
			size += len(m.Text)
			if !d.language.isPart(p.request, m) {
				return answer, nil
			}
			if len(answer) == mostParts || size > mostPartBytes {
				return answer[:1], &EndlessAnswer{Parts: len(answer), Bytes: size}
			}
		}
		// A station that talks without pause must not hold us here.
		if d.clock.Now() >= until {
			if late < 0 {
				late = d.lines.BytesRead()
			}
			if len(d.lines.Pending()) == 0 || d.lines.BytesRead()-late > lateBytes {
				return answer, link.ErrTimeout
			}
		}
		if err := ctx.Err(); err != nil {
			return answer, err
		}
	}
}
