package station

import (
	"context"
	"errors"
	"fmt"
	"time"

	"bufferstop/harness/link"
)

// Resynchronise brings driver and station into step: after it, no answer to an earlier operation is on its way, as far as
// that can be known. Operations do it by themselves when it is needed; after a restart of the station, and before
// anything else is said to it, the start-up script is said, if the language has one.
//
// Where the language has a query for it, as a dialect with [resynchronise], the query is sent, and every message until its
// answer is passed over: a station answers in order, so whatever was on its way has come before. The query is sent up to
// three times within its time, since the first may have been lost; then the driver listens until the line has been quiet
// for [time] quiet, which also takes away answers to the repeated query. Without a query there is only the quiet time: an
// answer that is later than that will be taken for the answer of the next operation if it looks like one. So a dialect
// should have the query whenever the language has one that fits.
//
// Messages that are passed over are kept for Unsolicited. A station that starts anew meanwhile is brought into step anew.
//
// Errors are those of the link and of the context, and ErrSilent, ErrRestless and *BootLoop.
func (d *Driver) Resynchronise(ctx context.Context) error {
	d.outOfStep, d.comingIn, d.strange, d.other = true, true, 0, 0
	d.readAtStep = d.lines.BytesRead()
	defer func() { d.comingIn = false }()
	for {
		err := d.comeIntoStep(ctx)
		loop := d.BootLoop()
		switch {
		case errors.Is(err, errBegunAnew) && loop == nil:
		case errors.Is(err, errBegunAnew):
			return fmt.Errorf("coming into step: %w", loop)
		case err != nil:
			return fmt.Errorf("coming into step: %w", err)
		default:
			d.outOfStep, d.echoing = false, nil
			if d.lost {
				d.lost = false
				d.health.Reopened++
			}
			return nil
		}
	}
}

// comeIntoStep goes once through what brings into step. errBegunAnew says that the station has restarted meanwhile.
func (d *Driver) comeIntoStep(ctx context.Context) error {
	if ending := d.language.ending(); d.halfSent && len(ending) > 0 {
		// End the line of which the station holds the beginning; what it makes of it is passed over.
		if _, err := d.link.Write(ctx, ending, d.manners.write); err != nil {
			if errors.Is(err, link.ErrTimeout) {
				err = fmt.Errorf("%w: %w", ErrNotTaken, err)
			}
			return d.faulted(err)
		}
	}
	d.halfSent = false
	if !d.started {
		for i := range d.manners.start {
			if err := d.ask(ctx, &d.manners.start[i]); err != nil {
				return err
			}
		}
		d.started = true
	}
	query := d.language.query()
	if query != nil {
		if err := d.ask(ctx, query); err != nil {
			return err
		}
	}
	return d.listenUntilQuiet(ctx, query)
}

// inStepTries is how often a question that brings into step is sent at most.
const inStepTries = 3

// ask sends a question and passes over everything until its answer. One without a pattern has no answer.
func (d *Driver) ask(ctx context.Context, s *inStep) error {
	start := d.clock.Now()
	for try := range inStepTries {
		d.echoing = nil
		if err := d.send(ctx, s.send); err != nil || s.pattern == nil {
			return err
		}
		// Later tries get what is left of the whole time, evenly.
		until := start + s.timeout*time.Duration(try+1)/inStepTries
		found, err := d.passOver(ctx, s.send, until, s.matches)
		if found || err != nil {
			return err
		}
	}
	return fmt.Errorf("%w: no answer to %q: %w", ErrSilent, s.send, link.ErrTimeout)
}

func (s *inStep) matches(m link.Line) bool { return s.pattern.Match(m.Text) }

// passOver reads messages until one is wanted or the time has come; the others are kept as unsolicited, but for the echo
// of what was sent. The error is errBegunAnew when the station restarts.
func (d *Driver) passOver(ctx context.Context, sent string, until time.Duration, wanted func(link.Line) bool) (bool, error) {
	for {
		m, err := d.lines.ReadLine(ctx, max(until-d.clock.Now(), 0))
		var long *link.LongLineError
		var garbled *GarbledMessage
		switch {
		case errors.Is(err, link.ErrTimeout):
			return false, nil
		case errors.As(err, &garbled):
			d.strange++
			d.hear(link.Line{Text: []byte(garbled.Got), Received: d.clock.Now()}, event{})
		case errors.As(err, &long):
			d.hear(link.Line{Text: long.Start, Received: d.clock.Now()}, event{})
			if !long.Ended {
				return false, nil
			}
		case err != nil:
			return false, d.faulted(err)
		case d.manners.echo && len(d.echoing) > 0 && d.echoing[0] == string(m.Text):
			d.heardEcho() // before the answer, which may be worded as the question is
		case wanted(m):
			return true, nil
		case sent != "" && string(m.Text) == sent:
			d.heardEcho()
		default:
			d.other++
			e, _ := d.language.isEvent(nil, m)
			d.hear(m, e)
			if e.restart {
				return false, errBegunAnew
			}
		}
		if d.clock.Now() >= until {
			return false, nil
		}
	}
}

// listenUntilQuiet waits for [time] quiet without a byte. A message that was begun and not ended is thrown away. Answers to
// the query that was repeated are nothing to tell of.
func (d *Driver) listenUntilQuiet(ctx context.Context, query *inStep) error {
	boots := d.boots.heard
	any := func(m link.Line) bool {
		if query == nil || !query.matches(m) {
			d.other++
			e, _ := d.language.isEvent(nil, m)
			d.hear(m, e)
		}
		return true
	}
	// A station that never is quiet must not hold us here: it has the time of one answer.
	giveUp := d.clock.Now() + max(defaultAnswer, 2*d.manners.quiet)
	for {
		read := d.lines.BytesRead()
		heard, err := d.passOver(ctx, "", d.clock.Now()+d.manners.quiet, any)
		if err != nil {
			return err
		}
		if d.boots.heard != boots {
			return errBegunAnew
		}
		if !heard && d.lines.BytesRead() == read {
			if rest := d.lines.Discard(); len(rest) > 0 {
				d.hear(link.Line{Text: rest, Received: d.clock.Now()}, event{})
			}
			return nil
		}
		if d.clock.Now() >= giveUp {
			return fmt.Errorf("%w: %w", ErrRestless, link.ErrTimeout)
		}
	}
}
