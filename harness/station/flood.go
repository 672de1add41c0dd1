package station

import (
	"context"
	"errors"
	"fmt"
	"time"

	"bufferstop/harness/dcc"
	"bufferstop/harness/link"
)

// A FloodReport counts what became of commands that were sent back to back. Sent is the sum of Done, Refused, Busy,
// Unexpected and Lost.
type FloodReport struct {
	Sent       int // handed over whole
	Done       int
	Refused    int // also tripped and not acknowledged
	Busy       int // not sent again
	Unexpected int // answered with a message that no pattern of the command knows, or that came damaged
	Lost       int // not answered in the time that the dialect allows
	Bytes      int64
	// FirstRefused and FirstUnexpected are the first answers of their kind, or nil.
	FirstRefused    *Refused
	FirstUnexpected *UnexpectedAnswer
	// Begun is the time on the rig's clock before the first byte, HandedOver after the last one, Answered when the last
	// answer was in or given up.
	Begun, HandedOver, Answered time.Duration
}

// Rate is the mean number of bytes handed over in a second, or zero when no time passed.
func (r FloodReport) Rate() float64 {
	if span := r.HandedOver - r.Begun; span > 0 {
		return float64(r.Bytes) / span.Seconds()
	}
	return 0
}

// Send sends the commands in order without waiting for the answer of one before the next is handed over, so that the
// line to the station is never idle, and then waits for what is unanswered. At most [line] window commands are unanswered at any
// time: a station's input is finite, and one that is overrun by more than it could ever take has shown nothing.
// Answers are counted in order. Not even a refusal is an error; errors are those of the link, of the context, and
// *NotSupported, before which nothing was sent.
func (d *Driver) Send(ctx context.Context, commands ...Command) (FloodReport, error) {
	next := 0
	return d.flood(ctx, commands, func(time.Duration) (int, bool) {
		next++
		return next - 1, next <= len(commands)
	})
}

// Flood sends the commands again and again, as Send does, for the duration: the last is begun before it is over. With no
// commands it switches the headlight, F0, of locomotive 3 on and off.
func (d *Driver) Flood(ctx context.Context, duration time.Duration, commands ...Command) (FloodReport, error) {
	if len(commands) == 0 {
		commands = []Command{SetFunctionCommand(dcc.Short(3), 0, true), SetFunctionCommand(dcc.Short(3), 0, false)}
	}
	next := -1
	return d.flood(ctx, commands, func(passed time.Duration) (int, bool) {
		next = (next + 1) % len(commands)
		return next, passed < duration
	})
}

// flood is one run of Send or Flood.
type flood struct {
	*Driver
	report      FloodReport
	commands    []prepared
	waiting     []int // commands sent and not answered
	outstanding []string
}

type prepared struct {
	command Command
	request *request
	text    string
}

func (d *Driver) flood(ctx context.Context, commands []Command, next func(passed time.Duration) (int, bool)) (FloodReport, error) {
	f := flood{Driver: d}
	for _, c := range commands {
		r, text, err := d.language.render(c)
		if err != nil {
			return f.report, fmt.Errorf("station: %s: %w", c, err)
		}
		f.commands = append(f.commands, prepared{c, r, text})
	}
	if err := d.ready(ctx); err != nil {
		return f.report, fmt.Errorf("station: flood: %w", err)
	}
	err := f.run(ctx, next)
	if err != nil {
		err = fmt.Errorf("station: flood: %w", err)
	}
	f.report.Lost += len(f.waiting)
	if len(f.waiting) > 0 || err != nil {
		d.outOfStep = true
	}
	f.report.Answered = d.clock.Now()
	return f.report, err
}

func (f *flood) run(ctx context.Context, next func(time.Duration) (int, bool)) error {
	f.report.Begun = f.clock.Now()
	f.report.HandedOver = f.report.Begun
	for {
		i, more := next(f.clock.Now() - f.report.Begun)
		if !more {
			break
		}
		if err := f.collect(ctx, f.manners.window-1); err != nil {
			return err
		}
		if err := f.send(ctx, f.commands[i].text); err != nil {
			return err
		}
		f.report.Sent++
		f.report.Bytes += int64(len(f.language.encode(f.commands[i].text)))
		f.report.HandedOver = f.clock.Now()
		f.waiting = append(f.waiting, i)
	}
	return f.collect(ctx, 0)
}

// collect takes the answers that are there, and waits for more until at most so many commands are unanswered.
func (f *flood) collect(ctx context.Context, unanswered int) error {
	for len(f.waiting) > 0 {
		first := f.commands[f.waiting[0]]
		var wait time.Duration
		if len(f.waiting) > unanswered {
			wait = first.request.timeout
		}
		f.outstanding = f.outstanding[:0]
		for _, i := range f.waiting {
			f.outstanding = append(f.outstanding, f.commands[i].text)
		}
		answer, err := f.await(ctx, first, f.outstanding, f.clock.Now()+wait)
		if len(answer) > 0 && errors.Is(err, link.ErrTimeout) && wait == 0 {
			var rest []link.Line
			rest, err = f.await(ctx, first, nil, f.clock.Now()+first.request.timeout)
			answer = append(answer, rest...)
			wait = first.request.timeout
		}
		var long *link.LongLineError
		var garbled *GarbledMessage
		switch {
		case err == nil:
			f.answered(first, answer)
		case errors.Is(err, link.ErrTimeout) && wait == 0:
			return nil
		case errors.Is(err, link.ErrTimeout):
			// None of them will be told from the others any more.
			f.report.Lost += len(f.waiting)
			f.waiting = nil
			return f.Resynchronise(ctx)
		case errors.As(err, &long) && long.Ended:
			f.answered(first, []link.Line{{Text: long.Start, Received: f.clock.Now()}})
		case errors.As(err, &garbled):
			f.waiting = f.waiting[1:]
			f.report.Unexpected++
		default:
			return err
		}
	}
	return nil
}

// answered counts what the answer to the first of the unanswered commands says.
func (f *flood) answered(p prepared, answer []link.Line) {
	f.waiting = f.waiting[1:]
	f.echoesDue(len(f.waiting))
	_, err := f.understand(p, answer)
	if err == nil || isAnswer(err) {
		f.boots.completed(p.command.operation)
	}
	refused, isRefusal := asRefusal(err)
	var unexpected *UnexpectedAnswer
	switch {
	case err == nil:
		f.report.Done++
	case isRefusal:
		f.report.Refused++
		if f.report.FirstRefused == nil {
			f.report.FirstRefused = refused
		}
	case errors.Is(err, ErrBusy):
		f.report.Busy++
	default:
		f.report.Unexpected++
		if errors.As(err, &unexpected) && f.report.FirstUnexpected == nil {
			f.report.FirstUnexpected = unexpected
		}
	}
}
