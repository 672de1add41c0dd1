package calibration

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"bufferstop/harness/station"
	"bufferstop/harness/uncertainty"
)

// A Walk leads the user through a calibration: it says what to connect, measures, and switches off again. It can be cancelled at
// every question, and by its context at any time; then nothing is left on that heats.
type Walk struct {
	Rig Calibratable
	// Tracks are those that the station has; what the probe has on others is left out.
	Tracks []station.Track
	// Power switches a track of the station.
	Power func(ctx context.Context, track station.Track, on bool) error
	// Wait lets time pass.
	Wait func(ctx context.Context, d time.Duration) error
	// Ask asks the user; an error of it ends the walk. Say tells what happens.
	Ask func(Question) (answer string, err error)
	Say func(text string)
	// Now is the date, Tool the version of the tool.
	Now  time.Time
	Tool string

	lit []station.Track // switched on and not off again
}

// Cautions stand before every walk.
var Cautions = []string{
	"Supply the station from a supply with limited current: a little above what the resistor draws is enough.",
	"A resistor across the rails gets hot: 47 Ω at 16 V take 5.4 W. Take one of twice that rating, lay it on something that does not burn, and do not touch it.",
	"Stay beside the bench until the walk is over, with the supply's switch in reach.",
}

// What a step takes. Our own choices.
const (
	settling     = 300 * time.Millisecond // after a track or a load is switched: filters, and a station that starts its signal
	currentTime  = 2 * time.Second        // some thousands of samples
	loadTime     = 500 * time.Millisecond
	spanTime     = 2 * time.Second // some ten thousand halves
	loopEvents   = 200
	leastSync    = 5 * time.Second
	usualSync    = time.Minute
	mostSync     = 24 * time.Hour
	syncs        = 300 // at most so many exchanges, and none sooner than syncPause after the one before
	syncPause    = 20 * time.Millisecond
	usualHostPPM = 100 // crystals of computers, whether or not disciplined by a network (common practice, no source)
)

// loadParts are the parts of a load's continuous rating at which it is measured.
var loadParts = []float64{0.25, 0.5, 0.75, 1}

// Run walks. What comes back holds what was calibrated; steps that the user left out are not in it. The error of a user who wants no
// more is ErrCancelled.
func (w *Walk) Run(ctx context.Context) (f *File, err error) {
	p := w.Rig.ProbeIdentity()
	defer func() { err = errors.Join(err, w.off(ctx)) }()
	if err := w.begin(); err != nil {
		return nil, err
	}
	f = &File{Date: w.Now.UTC().Truncate(time.Second), Tool: w.Tool, ValidDays: validDays, Name: p.Name, Serial: p.Serial,
		Tracks: map[station.Track]*Track{}}
	steps := []func() error{func() error { return w.timeBase(ctx, f) }}
	for _, c := range p.Channels {
		if !slices.Contains(w.Tracks, c.Track) {
			continue
		}
		t := &Track{}
		f.Tracks[c.Track] = t
		steps = append(steps,
			func() error { return w.zero(ctx, c, t) },
			func() error { return w.gain(ctx, c, t) },
			func() error { return w.load(ctx, c, t) },
			func() error { return w.edges(ctx, c, t) },
			func() error { return w.loop(ctx, c, t) },
		)
	}
	for _, step := range steps {
		for repeat := true; repeat; {
			if repeat, err = w.step(ctx, step); err != nil {
				return nil, err
			}
		}
	}
	for track, t := range f.Tracks {
		if *t == (Track{}) {
			delete(f.Tracks, track)
		}
	}
	return f, nil
}

// step does one step, and says whether the user wants it repeated. It leaves nothing on, also when it fails.
func (w *Walk) step(ctx context.Context, step func() error) (repeat bool, err error) {
	failed := step()
	if err := w.off(ctx); err != nil {
		return false, errors.Join(err, failed)
	}
	var wrong *AnswerError
	switch {
	case failed == nil, errors.Is(failed, errSkip):
		return false, nil
	case ctx.Err() != nil:
		return false, ctx.Err()
	case errors.Is(failed, ErrCancelled), errors.Is(failed, ErrNoAnswer), errors.As(failed, &wrong):
		return false, failed
	}
	return w.again(failed)
}

// off takes every load off and switches the tracks off that are on, also when ctx has ended. What a part of it fails with does not
// keep the rest from being done.
func (w *Walk) off(ctx context.Context) error {
	errs := []error{w.Rig.Safe()}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
	defer cancel()
	for _, track := range w.lit {
		if err := w.Power(ctx, track, false); err != nil {
			errs = append(errs, fmt.Errorf("switching the %s track off, which may still be on: %w", track, err))
		}
	}
	w.lit = nil
	return errors.Join(errs...)
}

func (w *Walk) say(format string, args ...any) { w.Say(fmt.Sprintf(format, args...)) }

// begin tells what may happen and asks whether somebody watches.
func (w *Walk) begin() error {
	err := w.ask(Question{Key: keySupervised, Text: "Will you stay beside the bench until the walk is over?", Want: "yes or cancel",
		Cautions: Cautions}, func(answer string) error {
		if answer != wordYes {
			return errors.New("not yes")
		}
		return nil
	})
	if errors.Is(err, errSkip) {
		return &AnswerError{Key: keySupervised, Got: wordSkip, Want: "yes or cancel"}
	}
	return err
}

// on switches a track on, with the load at a level, and lets it settle.
func (w *Walk) on(ctx context.Context, track station.Track, level uint16) error {
	if !slices.Contains(w.lit, track) {
		w.lit = append(w.lit, track)
	}
	if err := w.Power(ctx, track, true); err != nil {
		return fmt.Errorf("switching the %s track on: %w", track, err)
	}
	if err := w.Rig.Draw(ctx, track, level); err != nil {
		return fmt.Errorf("setting the load on the %s track: %w", track, err)
	}
	return w.Wait(ctx, settling)
}

// timeBase compares the probe's clock with the host's.
func (w *Walk) timeBase(ctx context.Context, f *File) error {
	over, err := w.span(Question{Key: "time.over", Default: usualSync.String(),
		Text: "Time base: the probe's clock is compared with this computer's. For how long? Longer is better; nothing has to be connected."},
		leastSync, mostSync)
	if err != nil {
		return err
	}
	host, err := w.number(Question{Key: "time.host_ppm", Default: fmt.Sprint(usualHostPPM),
		Text: "How many parts in a million may this computer's clock be off? 100 covers any; 1 one that a time server has kept right for days."},
		"ppm", 0.001, 1000)
	if err != nil {
		return err
	}
	var pairs []SyncPair
	pause := max(over/syncs, syncPause)
	for waited := time.Duration(0); waited <= over; waited += pause {
		pair, err := w.Rig.Sync(ctx)
		if err != nil {
			return fmt.Errorf("asking the probe for its time: %w", err)
		}
		pairs = append(pairs, pair)
		if err := w.Wait(ctx, pause); err != nil {
			return err
		}
	}
	if f.Time, err = fitTimeBase(pairs, host); err != nil {
		return err
	}
	w.say("The probe's second is %+.2f ppm longer than it should be, ± %.2f ppm.", f.Time.PPM, f.Time.U)
	return nil
}

// raw takes counts for a while.
func (w *Walk) raw(ctx context.Context, c Channel, over time.Duration) (counted, error) {
	counts, err := w.Rig.RawCurrent(ctx, c.Track, over)
	if err != nil {
		return counted{}, fmt.Errorf("sampling the current of the %s track: %w", c.Track, err)
	}
	if len(counts) < 10 {
		return counted{}, fmt.Errorf("sampling the current of the %s track: %d samples in %v, want 10 at least", c.Track, len(counts), over)
	}
	return count(counts), nil
}

// zero looks at the current of a track that is on with nothing across it.
func (w *Walk) zero(ctx context.Context, c Channel, t *Track) error {
	if c.PerCount == 0 {
		return nil
	}
	if err := w.ready(Question{Key: key(c.Track, "zero"),
		Text: fmt.Sprintf("Zero of the current, %s track: take everything off the rails, also locomotives and lamps. The track will be switched on.", c.Track)}); err != nil {
		return err
	}
	if err := w.on(ctx, c.Track, 0); err != nil {
		return err
	}
	seen, err := w.raw(ctx, c, currentTime)
	if err != nil {
		return err
	}
	if seen.mean > maxZeroPart*float64(c.Full) {
		return fmt.Errorf("the zero of the %s track is %.0f of %d counts: that is no empty track (hint: is something left on the rails?)", c.Track, seen.mean, c.Full)
	}
	t.Zero = &Estimate{seen.mean, uncertainty.Coverage * seen.ofMean()}
	t.Noise = &Noise{seen.deviation * c.PerCount * milli, seen.n}
	w.say("Without current the converter shows %.2f counts, ± %.2f, which is %.1f mA.", t.Zero.Value, t.Zero.U, t.Zero.Value*c.PerCount*milli)
	return nil
}

// maxZeroPart is the largest part of the converter's range that may be taken for nothing. Our own choice.
const maxZeroPart = 0.02

// gain compares the current through a known resistor.
func (w *Walk) gain(ctx context.Context, c Channel, t *Track) error {
	if t.Zero == nil {
		return nil // without a zero there is no gain
	}
	ohms, err := w.number(Question{Key: key(c.Track, "ohms"),
		Text: fmt.Sprintf("Gain of the current, %s track, which is off now: lay a resistor across the rails, of about %s. How many ohms has it, by a meter or by its print?",
			c.Track, advice(c)),
		Cautions: []string{"The resistor gets hot as soon as the track is on. Volts times volts by ohms is what it has to bear."}}, "ohm", 1, 10_000)
	if err != nil {
		return err
	}
	tolerance, err := w.number(Question{Key: key(c.Track, "tolerance"), Default: "1", Text: "How well is that known, in percent?"}, "%", 0.01, 20)
	if err != nil {
		return err
	}
	accuracy, err := w.number(Question{Key: key(c.Track, "accuracy"), Default: "1.5",
		Text: "Have a meter ready that shows true RMS. How well does it measure AC of 5 to 9 kHz, in percent? (By its manual; 1.5 if nothing is known.)"},
		"%", 0.01, 20)
	if err != nil {
		return err
	}
	if err := w.ready(Question{Key: key(c.Track, "resistor"), Text: fmt.Sprintf("The %s track will be switched on.", c.Track)}); err != nil {
		return err
	}
	if err := w.on(ctx, c.Track, 0); err != nil {
		return err
	}
	seen, err := w.raw(ctx, c, currentTime)
	if err != nil {
		return err
	}
	r, err := w.reading(Question{Key: key(c.Track, "reading"),
		Text:     "What does the meter show, on AC: volts across the rails, or amperes through the resistor?",
		Cautions: []string{"The resistor is getting hot: the track goes off as soon as you have answered."}})
	if err != nil {
		return err
	}
	amperes := r.value
	relative := []uncertainty.Component{uncertainty.HalfWidth("meter", accuracy/100, "stated by the user")}
	if r.volts {
		amperes = r.value / ohms
		relative = append(relative, uncertainty.HalfWidth("resistor", tolerance/100, "stated by the user"))
	}
	return w.setGain(c, t, seen, amperes, relative)
}

// setGain works out the gain from what was seen, and what the current truly was.
func (w *Walk) setGain(c Channel, t *Track, seen counted, amperes float64, relative []uncertainty.Component) error {
	steps := seen.mean - t.Zero.Value
	switch {
	case int(seen.highest) >= int(c.Full):
		return fmt.Errorf("the current of the %s track is beyond the range of the probe (hint: a larger resistor, of %s)", c.Track, advice(c))
	case steps < leastSteps:
		return fmt.Errorf("the resistor on the %s track draws %.0f counts, want %d at least (hint: is it across the rails? One of %s tells more)",
			c.Track, steps, leastSteps, advice(c))
	}
	gain := amperes / (steps * c.PerCount)
	if gain < minGain || gain > maxGain {
		return fmt.Errorf("the probe sees %.3f A on the %s track where the resistor draws %.3f A: that is no matter of calibration (hint: ohms, or the sense resistor)",
			steps*c.PerCount, c.Track, amperes)
	}
	b := uncertainty.Budget{K: uncertainty.Coverage, Components: append(relative,
		uncertainty.Deviation("zero", t.Zero.U/uncertainty.Coverage/steps, "found before"),
		uncertainty.Deviation("counts", seen.ofMean()/steps, "samples").Observed(seen.n))}
	t.Gain = &Estimate{gain, gain * b.Expanded(0)}
	// Under load there is more to be seen of the noise than at zero, where the converter may show nothing below it.
	if noise := seen.deviation * c.PerCount * gain * milli; noise > t.Noise.Milliamperes {
		t.Noise = &Noise{noise, seen.n}
	}
	w.say("The true current is %.4f times what the probe says, ± %.4f. One sample scatters by %.2f mA.", t.Gain.Value, t.Gain.U, t.Noise.Milliamperes)
	return nil
}

// leastSteps are counts through the resistor that make a gain. Our own choice: one count is 2 % of them.
const leastSteps = 50

// advice is a resistor that uses half of the probe's range at 15 V, but none that takes more than 5 W there: that is as hot as a
// resistor on a bench should get. Our own choice.
func advice(c Channel) string {
	ohms := 15 / (0.5 * float64(c.Full) * c.PerCount)
	return fmt.Sprintf("%.0f Ω", math.Max(47, ohms))
}

// load looks at what the load draws at some levels.
func (w *Walk) load(ctx context.Context, c Channel, t *Track) error {
	if c.PerStep == 0 || t.Gain == nil {
		return nil
	}
	if err := w.ready(Question{Key: key(c.Track, "load"),
		Text: fmt.Sprintf("Load on the %s track, which is off now: take the resistor off the rails. The load will draw up to %.2f A for two seconds.",
			c.Track, float64(c.highest())*c.PerStep),
		Cautions: []string{"The load's heat sink gets warm, and the resistor is still hot."}}); err != nil {
		return err
	}
	var asked, drawn, seenAll []float64
	var worst float64
	for _, part := range loadParts {
		level := uint16(math.Round(part * float64(c.highest())))
		if level == 0 {
			continue
		}
		if err := w.on(ctx, c.Track, level); err != nil {
			return err
		}
		seen, err := w.raw(ctx, c, loadTime)
		if err != nil {
			return err
		}
		if err := w.Rig.Draw(ctx, c.Track, 0); err != nil {
			return err
		}
		amperes := (seen.mean - t.Zero.Value) * c.PerCount * t.Gain.Value
		asked, drawn = append(asked, float64(level)*c.PerStep), append(drawn, amperes)
		seenAll = append(seenAll, seen.ofMean()*c.PerCount)
	}
	if len(asked) == 0 {
		return nil
	}
	// The line goes through nothing at nothing: the load is off then.
	var xx, xy float64
	for i := range asked {
		xx, xy = xx+asked[i]*asked[i], xy+asked[i]*drawn[i]
	}
	slope := xy / xx
	for i := range asked {
		worst = max(worst, math.Abs(drawn[i]-slope*asked[i])/asked[i])
	}
	if slope < minGain || slope > maxGain {
		return fmt.Errorf("the load on the %s track draws %.2f times what it is asked for: that is no matter of calibration (hint: is the track on, and the load wired?)", c.Track, slope)
	}
	b := uncertainty.Budget{K: uncertainty.Coverage, Components: []uncertainty.Component{
		uncertainty.Deviation("gain", t.Gain.U/t.Gain.Value/uncertainty.Coverage, "found before"),
		uncertainty.HalfWidth("line", worst, "the level that is furthest from the line"),
		uncertainty.Deviation("counts", seenAll[0]/asked[0], "samples at the lowest level"),
	}}
	t.Load = &Estimate{slope, min(slope*b.Expanded(0), maxTolerance)}
	w.say("The load draws %.4f times what it is asked for, ± %.4f.", t.Load.Value, t.Load.U)
	return nil
}

// highest is the highest level that the load can keep and the probe can see.
func (c Channel) highest() uint16 {
	seen := 0.9 * float64(c.Full) * c.PerCount / c.PerStep
	return uint16(min(float64(c.Continuous), float64(c.Top), math.Floor(seen)))
}

// edges looks at how well the times of edges repeat.
func (w *Walk) edges(ctx context.Context, c Channel, t *Track) error {
	if err := w.ready(Question{Key: key(c.Track, "edges"),
		Text: fmt.Sprintf("Repeatability of edges, %s track: nothing across the rails. The track will be switched on.", c.Track)}); err != nil {
		return err
	}
	steady, err := w.yes(Question{Key: key(c.Track, "steady"), Default: wordNo,
		Text: "Is the signal steadier than the probe: straight from the output of a timer, or from a generator? If not, or if you do not know, what is found is taken for an upper bound."})
	if err != nil {
		return err
	}
	if err := w.on(ctx, c.Track, 0); err != nil {
		return err
	}
	spans, err := w.Rig.Spans(ctx, c.Track, spanTime)
	if err != nil {
		return fmt.Errorf("looking at the edges of the %s track: %w", c.Track, err)
	}
	if t.Edges = repeatability(spans, 1e9/w.Rig.ProbeIdentity().Clock); t.Edges == nil {
		return fmt.Errorf("the %s track has too few ones to tell how they repeat: %d times between edges in %v (hint: does the station send packets?)", c.Track, len(spans), spanTime)
	}
	t.Edges.Steady = steady
	w.say("One and the same half of a one is measured with a standard deviation of %v, %s.", t.Edges.Deviation,
		map[bool]string{true: "which is the probe's own", false: "or less: the station adds to it"}[steady])
	return nil
}

// loop looks at how long it takes from a packet to the load.
func (w *Walk) loop(ctx context.Context, c Channel, t *Track) error {
	if c.PerCount == 0 || c.PerStep == 0 {
		return nil
	}
	if err := w.ready(Question{Key: key(c.Track, "loop"),
		Text: fmt.Sprintf("Loop time, %s track: nothing across the rails. The track will be switched on, and the load will pulse %d times.", c.Track, loopEvents)}); err != nil {
		return err
	}
	if err := w.on(ctx, c.Track, 0); err != nil {
		return err
	}
	times, err := w.Rig.LoopTimes(ctx, c.Track, loopEvents)
	if err != nil {
		return fmt.Errorf("measuring the loop time of the %s track: %w", c.Track, err)
	}
	if t.Loop = LoopOf(times); t.Loop == nil {
		return fmt.Errorf("measuring the loop time of the %s track: the probe saw no load current for any packet", c.Track)
	}
	w.say("From the last edge of a packet to the load: median %v, 99 of 100 within %v; %v are allowed.", t.Loop.Median, t.Loop.P99, w.Rig.LoopLimit())
	return nil
}
