package rigcheck

import (
	"context"
	"fmt"
	"slices"
	"time"

	"bufferstop/harness/calibration"
	"bufferstop/harness/station"
	"bufferstop/harness/uncertainty"
)

// A Loop is how long it takes from the last edge of a packet to the load current that a fake decoder has asked for.
type Loop struct {
	Track  string        `json:"track"`
	Events int           `json:"events"`
	Median time.Duration `json:"median_ns"`
	P99    time.Duration `json:"p99_ns"` // 99 of 100 take at most so long (nearest rank)
	// U is the expanded uncertainty (k=2) of each.
	U time.Duration `json:"u_ns"`
	// Limit is the longest with which an acknowledge falls into the window of S-9.2.3.
	Limit time.Duration `json:"limit_ns"`
	// Calibrated is the day of the calibration that the times are from; empty when they were measured now.
	Calibrated string `json:"calibrated,omitempty"`
}

// Suits reports whether a fake decoder acknowledges in time with it.
func (l Loop) Suits() bool { return l.P99 <= l.Limit }

// A Calibration is the state of the calibration of the rig's probe.
type Calibration struct {
	Path   string `json:"path"`
	Probe  string `json:"probe"`
	Serial uint32 `json:"serial"`
	// Date and Until are days; empty where there is no calibration that is used.
	Date  string `json:"date,omitempty"`
	Until string `json:"until,omitempty"`
	// PPM is by how many parts in a million a true second is longer than the probe's, U its expanded uncertainty (k=2).
	PPM *float64 `json:"ppm,omitempty"`
	U   *float64 `json:"u_ppm,omitempty"`
	// Observations say what is amiss.
	Observations []string `json:"observations,omitempty"`
}

// An Uncertainty is how well the rig measures a quantity at a usual value.
type Uncertainty struct {
	Quantity string  `json:"quantity"`
	Track    string  `json:"track,omitempty"`
	Unit     string  `json:"unit"`
	Typical  float64 `json:"typical"`
	U        float64 `json:"u"` // expanded, k=2
}

// calibratable is the rig as something to calibrate, nil where it has no probe of its own.
func (c *check) calibratable() calibration.Calibratable {
	rig, is := c.rig.(calibration.Calibratable)
	if !is || rig.ProbeIdentity().Clock <= 0 {
		return nil
	}
	return rig
}

// state looks at the calibration of the probe, and how well the rig measures.
func (c *check) state() {
	d := c.rig.Describe()
	for _, b := range d.Budgets {
		c.Uncertainties = append(c.Uncertainties, Uncertainty{b.Quantity, b.Track, b.Unit, b.Typical, b.Expanded(b.Typical)})
	}
	rig := c.calibratable()
	if rig == nil {
		return
	}
	p := rig.ProbeIdentity()
	s := &Calibration{Path: rig.CalibrationPath(), Probe: clip([]byte(p.Name)), Serial: p.Serial, Observations: d.Observations}
	if f := d.Calibration; f != nil {
		s.Date, s.Until = f.Date.Format(time.DateOnly), f.Date.AddDate(0, 0, f.ValidDays).Format(time.DateOnly)
		if f.Time != nil {
			s.PPM, s.U = &f.Time.PPM, &f.Time.U
		}
	}
	c.Calibration = s
	hint := ""
	if p.Calibrates() {
		hint = "bufferstop rig check --calibrate walks through a calibration"
	}
	for _, o := range d.Observations {
		c.find(Remark, o, hint)
	}
}

// loopEvents is how many loop times are measured. Our own choice: the 99th percentile of 200 is the third longest.
const loopEvents = 200

// loops gets the loop time of each track that has a load: measured now if that is wanted, else from the calibration.
func (c *check) loops(ctx context.Context) {
	rig := c.calibratable()
	if rig == nil || c.options.Loop && c.RoundTrip.Answered == 0 {
		return // a silent station is not going to switch its track on
	}
	d := c.rig.Describe()
	for _, channel := range rig.ProbeIdentity().Channels {
		name := channel.Track
		if channel.PerCount == 0 || channel.PerStep == 0 || !slices.ContainsFunc(c.Tracks, func(t Track) bool { return t.Claimed && t.Name == string(name) }) {
			continue
		}
		loop := Loop{Track: string(name), Limit: rig.LoopLimit(),
			U: time.Duration(d.Budget(uncertainty.LoopTime, name).Expanded(float64(rig.LoopLimit())))}
		var found *calibration.Loop
		if c.options.Loop {
			times, err := c.measureLoop(ctx, rig, name)
			if err != nil {
				c.find(Fault, fmt.Sprintf("the loop time of the %s track could not be measured: %v", name, err),
					"does the track carry packets, and is the load wired?")
				continue
			}
			found = calibration.LoopOf(times)
		} else if found = d.Calibration.Loop(name); found != nil {
			loop.Calibrated = d.Calibration.Date.Format(time.DateOnly)
		}
		if found == nil {
			continue
		}
		loop.Events, loop.Median, loop.P99 = found.Events, found.Median, found.P99
		c.Loops = append(c.Loops, loop)
		if !loop.Suits() {
			c.find(Remark, fmt.Sprintf("the loop time of the %s track is too long: 99 of 100 take up to %v, and S-9.2.3 leaves %v for an acknowledge",
				name, loop.P99.Round(time.Microsecond), loop.Limit),
				"what needs a fake decoder is not fitted there; less delay in the link to the probe helps, as a lower latency timer of the serial adapter")
		}
	}
}

// measureLoop switches a track on for as long as it takes.
func (c *check) measureLoop(ctx context.Context, rig calibration.Calibratable, track station.Track) (times []time.Duration, err error) {
	defer func() {
		if safe := rig.Safe(); err == nil {
			err = safe
		}
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
		defer cancel()
		if off := c.driver.SetPower(ctx, track, false); err == nil && off != nil {
			err = fmt.Errorf("switching the track off, which may still be on: %w", off)
		}
	}()
	if err := c.driver.SetPower(ctx, track, true); err != nil {
		return nil, fmt.Errorf("switching the track on: %w", err)
	}
	if err := c.rig.Wait(ctx, c.options.Listen); err != nil {
		return nil, err
	}
	return rig.LoopTimes(ctx, track, loopEvents)
}
