package rigcheck

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/link"
	"bufferstop/harness/station"
)

// Options say how long to measure. The zero value is useful.
type Options struct {
	// Questions is how often the round trip is measured: 100 if zero.
	Questions int
	// Limit is the rig's time after which no more is asked: 20 s if zero.
	Limit time.Duration
	// Listen is how long the rig's time is to listen before and after: 500 ms if zero.
	Listen time.Duration
	// Loop measures the loop time, for which each track that has a load is switched on.
	Loop bool
}

func (o Options) withDefaults() Options {
	if o.Questions <= 0 {
		o.Questions = 100
	}
	if o.Limit <= 0 {
		o.Limit = 20 * time.Second
	}
	if o.Listen <= 0 {
		o.Listen = 500 * time.Millisecond
	}
	return o
}

// logLimit bounds what is kept of a station that talks without pause, in bytes. Our own choice.
const logLimit = 4 << 20

// lostInARow is after how many questions without an answer no more is asked. Our own choice.
const lostInARow = 3

// Check tries the rig with the station of the file. What it finds wrong with either is in the report; the error is that of
// a context that has ended. The rig stays open.
func Check(ctx context.Context, rig harness.Rig, file *station.File, o Options) (*Report, error) {
	o = o.withDefaults()
	d := rig.Describe()
	r := &Report{
		Rig:      Rig{Name: d.Name, Kind: d.Kind},
		Station:  Station{Name: file.Name},
		Tracks:   tracks(rig, file),
		Findings: []Finding{},
	}
	if file.Dialect != nil {
		r.Station.Dialect = file.Dialect.Name()
	}
	c := &check{Report: r, rig: rig, wire: link.Record(rig.Link(), rig), options: o, adapter: file.Adapter != nil}
	c.wire.SetLimit(logLimit)
	c.driver = file.Driver(c.wire, rig)
	c.listenBefore(ctx)
	begun := rig.Now()
	c.ask(ctx)
	c.listenAfter(ctx)
	r.Unsolicited.Over = rig.Now() - begun
	c.state()
	c.loops(ctx)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	r.Restarts = c.driver.Restarts()
	c.readLog()
	c.judge()
	return r, nil
}

// A check is one that goes on.
type check struct {
	*Report
	rig     harness.Rig
	wire    *link.Recorder
	driver  *station.Driver
	options Options
	adapter bool  // an adapter speaks with the station
	err     error // the first of the driver or the link
	// heard says that the driver has got whole lines, and cut that some of them had a CR left at their end.
	heard, cut bool
}

func (c *check) failed(err error) {
	if c.err == nil {
		c.err = err
	}
}

// listen reads the line for a while and returns what came.
func (c *check) listen(ctx context.Context, d time.Duration) Stretch {
	var s Stretch
	p := make([]byte, 1024)
	last := time.Duration(0) // when something came
	for end := c.rig.Now() + d; c.rig.Now() < end; {
		n, err := c.wire.Read(ctx, p, end-c.rig.Now())
		if s.Bytes == 0 {
			s.Start = clip(p[:n])
		}
		if s.Bytes += n; n > 0 {
			last = c.rig.Now()
		}
		if errors.Is(err, link.ErrTimeout) {
			break
		}
		if err != nil {
			c.failed(err)
			break
		}
	}
	s.Endless = s.Bytes > 0 && c.rig.Now()-last < d/10
	return s
}

// listenBefore takes what waits on the line, as the greeting of a board that restarts when its port is opened.
func (c *check) listenBefore(ctx context.Context) {
	c.Before = c.listen(ctx, c.options.Listen)
}

// listenAfter waits for what the station says by itself, and sums up what it has said since it was first asked.
func (c *check) listenAfter(ctx context.Context) {
	if !errors.Is(c.err, link.ErrClosed) {
		if err := errors.Join(c.rig.Wait(ctx, c.options.Listen), c.driver.Listen(ctx)); err != nil {
			c.failed(err)
		}
	}
	heard, more := c.driver.Unsolicited()
	c.Unsolicited.Lines = len(heard) + more
	c.heard = len(heard) > 0
	if c.heard {
		c.Unsolicited.First = clip([]byte(heard[0].Text))
	}
	for _, line := range heard {
		c.cut = c.cut || strings.HasSuffix(line.Text, "\r")
	}
}

// judge says what a person may want to do about it.
func (c *check) judge() {
	if c.adapter {
		c.judgeAdapter() // whose messages are its own affair
	} else {
		c.judgeAnswers()
		c.judgeLines()
	}
	if c.Restarts > 0 {
		c.find(Fault, fmt.Sprintf("the station has restarted by itself, %d times", c.Restarts),
			"look at its supply, and at what its watchdog waits for")
	}
	if c.Before.Endless || c.Unsolicited.Lines > c.RoundTrip.Asked+1 {
		c.find(Remark, fmt.Sprintf("the station talks a lot by itself (%d lines)", c.Unsolicited.Lines),
			"name what it says in [[event]] of the dialect, or have the firmware say less")
	}
	for _, t := range c.Tracks {
		switch {
		case t.Claimed && !t.Reached:
			c.find(Remark, fmt.Sprintf("the rig does not reach the %s track, which the station claims", t.Name),
				"every requirement on it will be not fitted, and a run incomplete")
		case t.Claimed && t.NotFitted > 0:
			c.find(Remark, fmt.Sprintf("%d requirements on the %s track will be not fitted", t.NotFitted, t.Name),
				"a MUST among them leaves a run incomplete")
		case t.Reached && !t.Claimed:
			c.find(Remark, fmt.Sprintf("the rig reaches the %s track, which the station does not claim", t.Name), "")
		}
	}
}
