package rigcheck

import (
	"context"
	"errors"
	"math"
	"slices"
	"time"

	"bufferstop/harness/link"
	"bufferstop/harness/station"
)

// ask asks who the station is, and then again and again how long it takes to say so.
func (c *check) ask(ctx context.Context) {
	for _, q := range c.questions() {
		err := q.ask(ctx)
		if errors.Is(err, station.ErrNotSupported) {
			continue
		}
		c.RoundTrip.Question = string(q.operation)
		c.measure(ctx, q.ask, err)
		return
	}
}

// measure asks the question again and again. It was asked once already, with this outcome; that time does not count
// unless nothing came of it, since the driver came into step with the station first.
func (c *check) measure(ctx context.Context, ask func(context.Context) error, err error) {
	var times []time.Duration
	lost := 0
	if err != nil && !answered(err) {
		c.failed(err)
		c.RoundTrip.Asked++
		lost++
	}
	for end := c.rig.Now() + c.options.Limit; c.RoundTrip.Asked < c.options.Questions; {
		if lost == lostInARow || ctx.Err() != nil || errors.Is(c.err, link.ErrClosed) {
			break
		}
		if c.RoundTrip.Asked > 0 && c.rig.Now() >= end {
			c.RoundTrip.Shortened = true
			break
		}
		c.RoundTrip.Asked++
		if err := ask(ctx); err != nil && !answered(err) {
			c.failed(err)
			lost++
			continue
		}
		times = append(times, c.driver.LastExchange().RoundTrip())
		lost = 0
	}
	c.RoundTrip.Answered = len(times)
	if len(times) > 0 {
		slices.Sort(times)
		c.RoundTrip.Median = rank(times, 0.5)
		c.RoundTrip.P95 = rank(times, 0.95)
		c.RoundTrip.Max = times[len(times)-1]
	}
	if c.err != nil {
		c.RoundTrip.Fault = c.err.Error()
	}
}

// answered reports whether an error is an answer of the station: a refusal also shows how fast it is.
func answered(err error) bool {
	var refused *station.Refused
	return errors.As(err, &refused) || errors.Is(err, station.ErrTripped) || errors.Is(err, station.ErrBusy)
}

// rank is the value of a sorted list that so large a part of it does not exceed.
func rank(sorted []time.Duration, part float64) time.Duration {
	return sorted[max(int(math.Ceil(part*float64(len(sorted))))-1, 0)]
}

// A question changes nothing at the station.
type question struct {
	operation station.Operation
	ask       func(context.Context) error
}

// questions are, in the order of choice: who are you, the state of a track, its current.
func (c *check) questions() []question {
	all := []question{{station.Identify, func(ctx context.Context) error {
		identity, err := c.driver.Identify(ctx)
		if err == nil && c.Identity == nil {
			c.Identity = said(identity)
		}
		return err
	}}}
	for _, t := range c.Tracks {
		if !t.Claimed {
			continue
		}
		name := station.Track(t.Name)
		all = append(all,
			question{station.ReadPower, func(ctx context.Context) error { _, err := c.driver.Power(ctx, name); return err }},
			question{station.ReadCurrent, func(ctx context.Context) error { _, err := c.driver.Current(ctx, name); return err }})
	}
	return all
}
