package calibration

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"bufferstop/harness/station"
	"bufferstop/harness/written"
)

// validDays is for how long a calibration counts unless its file says otherwise: a year, as is usual for hand-held instruments;
// our own choice.
const validDays = 365

// A File is what a calibration has found. It is written by a Walk and may be changed by hand:
//
//	date = 2026-11-26T10:00:00Z
//	tool = "v1.2.0"
//	valid_days = 365                 # may be left out
//
//	[probe]
//	name = "two-track probe"
//	serial = 7
//
//	[time]
//	ppm = -12.5                      # by how much longer the probe's second is than it should be
//	u_ppm = 58.1                     # expanded uncertainty (k=2)
//	over = "1m0s"
//	host_ppm = 50                    # bound of the host's own clock
//
//	[main]                           # and [programming]; each value may be left out that was not calibrated
//	zero = 1.52                      # counts without current
//	u_zero = 0.04
//	gain = 1.0132                    # true current over that of the probe's stated scale
//	u_gain = 0.013
//	load_gain = 0.991                # true current of the load over its stated one
//	u_load_gain = 0.015
//	noise_ma = 2.31                  # standard deviation of one sample of one and the same current
//	noise_samples = 4000
//	edge_repeatability = "31ns"      # standard deviation of one and the same time between two edges
//	edge_spans = 9000
//	edge_steady = true               # the signal was steadier than the probe; may be left out
//	loop_median = "3.1ms"            # last edge of a packet to the load current
//	loop_p99 = "4.2ms"
//	loop_events = 200
type File struct {
	Date      time.Time
	Tool      string
	ValidDays int
	// Name and Serial are those of the probe.
	Name   string
	Serial uint32
	// Time is nil when the time base was left out.
	Time *TimeBase
	// Tracks has what was calibrated on each.
	Tracks map[station.Track]*Track
}

// A TimeBase is how the probe's clock goes.
type TimeBase struct {
	// PPM is by how many parts in a million a true time is longer than the probe's; U its expanded uncertainty (k=2), that of the host's
	// clock included.
	PPM, U float64
	// Over is the time in which it was found, HostPPM the bound of the host's clock.
	Over    time.Duration
	HostPPM float64
}

// A Track is what was found on one track. Parts that were left out are nil.
type Track struct {
	Zero, Gain, Load *Estimate
	Noise            *Noise
	Edges            *Repeatability
	Loop             *Loop
}

// An Estimate is a value with its expanded uncertainty (k=2). Zero is in counts; Gain and Load are true over stated current.
type Estimate struct{ Value, U float64 }

// Noise is the standard deviation of one sample of a current, in milliamperes.
type Noise struct {
	Milliamperes float64
	Samples      int
}

// Repeatability is the standard deviation of one and the same time between two edges.
type Repeatability struct {
	Deviation time.Duration
	Spans     int
	// Steady says that the signal was steadier than the probe, so that the deviation is the probe's own. Else it is an upper bound,
	// with what the station adds.
	Steady bool
}

// Loop is how the times from the last edge of a packet to the load current are spread.
type Loop struct {
	Median, P99 time.Duration
	Events      int
}

// contents is the file as it is written.
type contents struct {
	Date      *time.Time `toml:"date"`
	Tool      string     `toml:"tool"`
	ValidDays *int       `toml:"valid_days"`
	Probe     struct {
		Name   string `toml:"name"`
		Serial *int64 `toml:"serial"`
	} `toml:"probe"`
	Time *struct {
		PPM     *float64 `toml:"ppm"`
		U       *float64 `toml:"u_ppm"`
		Over    *string  `toml:"over"`
		HostPPM *float64 `toml:"host_ppm"`
	} `toml:"time"`
	Main        *writtenTrack `toml:"main"`
	Programming *writtenTrack `toml:"programming"`
}

type writtenTrack struct {
	Zero              *float64 `toml:"zero"`
	UZero             *float64 `toml:"u_zero"`
	Gain              *float64 `toml:"gain"`
	UGain             *float64 `toml:"u_gain"`
	LoadGain          *float64 `toml:"load_gain"`
	ULoadGain         *float64 `toml:"u_load_gain"`
	Noise             *float64 `toml:"noise_ma"`
	NoiseSamples      *int     `toml:"noise_samples"`
	EdgeRepeatability *string  `toml:"edge_repeatability"`
	EdgeSpans         *int     `toml:"edge_spans"`
	EdgeSteady        bool     `toml:"edge_steady"`
	LoopMedian        *string  `toml:"loop_median"`
	LoopP99           *string  `toml:"loop_p99"`
	LoopEvents        *int     `toml:"loop_events"`
}

// What the values of a file may be. Beyond them it is no calibration but a defect of the probe, or a slip of the pen. Our own
// choice.
const (
	maxPPM       = 20_000  // 2 %; a ceramic resonator is within half a percent
	maxZero      = 4095    // counts, of the widest converter the protocol carries
	maxNoise     = 100_000 // milliamperes
	maxDays      = 36_500
	maxCount     = 1_000_000_000
	minGain      = 0.2
	maxGain      = 5
	maxTolerance = 1 // U of a gain: as large as the value
)

// Parse reads the text of a calibration; name is where it is, and stands for it in errors. All that is wrong comes back together,
// each a *written.Error with its place, joined.
func Parse(name string, data []byte) (*File, error) {
	var c contents
	doc, ok := written.Open(name, data, &c)
	if !ok {
		return nil, doc.Err()
	}
	p := parser{doc}
	f := &File{Tool: c.Tool, Name: c.Probe.Name, Tracks: map[station.Track]*Track{}}
	f.ValidDays = p.Between("valid_days", c.ValidDays, 1, maxDays, validDays)
	if c.Date == nil || c.Date.IsZero() {
		p.Fail("date", "no date", "when it was calibrated, as in 2026-11-26T10:00:00Z", "")
	} else {
		f.Date = c.Date.UTC()
	}
	if c.Probe.Name == "" {
		p.Fail("probe.name", "no name", "the name that the probe gives in its greeting", "")
	}
	switch serial := c.Probe.Serial; {
	case serial == nil:
		p.Fail("probe.serial", "no number", "the serial number that the probe gives in its greeting", "")
	case *serial < 0 || *serial > 1<<32-1:
		p.Fail("probe.serial", fmt.Sprint(*serial), "0 to 4294967295", "")
	default:
		f.Serial = uint32(*serial)
	}
	if t := c.Time; t != nil {
		f.Time = &TimeBase{
			PPM: p.number("time.ppm", t.PPM, -maxPPM, maxPPM), U: p.number("time.u_ppm", t.U, 0, maxPPM),
			HostPPM: p.number("time.host_ppm", t.HostPPM, 0, maxPPM),
		}
		if t.Over == nil {
			p.Fail("time.over", "no time", `the time that the clocks were compared for, as in "1m"`, "")
		}
		f.Time.Over = p.Positive("time.over", t.Over, 0)
	}
	for track, w := range map[station.Track]*writtenTrack{station.Main: c.Main, station.Programming: c.Programming} {
		if w != nil {
			f.Tracks[track] = p.track(string(track), w)
		}
	}
	if err := p.Err(); err != nil {
		return nil, err
	}
	return f, nil
}

// A parser is a file that is being checked.
type parser struct{ *written.Document }

// number reads a number that has to be there.
func (p parser) number(path string, x *float64, low, high float64) float64 {
	want := fmt.Sprintf("a number of %v to %v", low, high)
	if x == nil {
		p.Fail(path, "nothing", want, "")
		return low
	}
	if !(*x >= low && *x <= high) {
		p.Fail(path, fmt.Sprint(*x), want, "")
		return low
	}
	return *x
}

// whole reads a whole number that has to be there.
func (p parser) whole(path string, n *int) int {
	if n == nil {
		p.Fail(path, "nothing", fmt.Sprintf("a whole number of 1 to %d", maxCount), "")
		return 1
	}
	return p.Between(path, n, 1, maxCount, 1)
}

// least reads a time of zero or more that has to be there.
func (p parser) least(path string, text *string) time.Duration {
	const want = `a time of zero or more with its unit, as in "31ns"`
	if text == nil {
		p.Fail(path, "nothing", want, "")
		return 0
	}
	d, err := time.ParseDuration(*text)
	if err != nil || d < 0 {
		p.Fail(path, written.Quote(*text), want, "")
		return 0
	}
	return d
}

func (p parser) estimate(path, value string, v, u *float64, low, high, most float64) *Estimate {
	if v == nil && u == nil {
		return nil
	}
	return &Estimate{p.number(path+"."+value, v, low, high), p.number(path+".u_"+value, u, 0, most)}
}

func (p parser) track(path string, w *writtenTrack) *Track {
	t := &Track{
		Zero: p.estimate(path, "zero", w.Zero, w.UZero, 0, maxZero, maxZero),
		Gain: p.estimate(path, "gain", w.Gain, w.UGain, minGain, maxGain, maxTolerance),
		Load: p.estimate(path, "load_gain", w.LoadGain, w.ULoadGain, minGain, maxGain, maxTolerance),
	}
	if w.Noise != nil || w.NoiseSamples != nil {
		t.Noise = &Noise{p.number(path+".noise_ma", w.Noise, 0, maxNoise), p.whole(path+".noise_samples", w.NoiseSamples)}
	}
	if w.EdgeRepeatability != nil || w.EdgeSpans != nil {
		t.Edges = &Repeatability{p.least(path+".edge_repeatability", w.EdgeRepeatability), p.whole(path+".edge_spans", w.EdgeSpans), w.EdgeSteady}
	}
	if w.LoopMedian != nil || w.LoopP99 != nil || w.LoopEvents != nil {
		t.Loop = &Loop{p.least(path+".loop_median", w.LoopMedian), p.least(path+".loop_p99", w.LoopP99), p.whole(path+".loop_events", w.LoopEvents)}
		if t.Loop.P99 < t.Loop.Median {
			p.Fail(path+".loop_p99", fmt.Sprint(t.Loop.P99), fmt.Sprintf("no less than the median, %v", t.Loop.Median), "")
		}
	}
	return t
}

// Load reads a calibration. One that is not there is an error that is os.ErrNotExist.
func Load(path string) (*File, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	// A named pipe would keep us waiting for its writer.
	if !info.Mode().IsRegular() {
		return nil, &written.Error{File: path, What: "calibration", Got: "no regular file", Want: "a TOML file"}
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	return Parse(path, data)
}

// PathBeside is where the calibration of a rig is kept unless its file says otherwise: NAME.calibration.toml beside
// NAME.rig.toml.
func PathBeside(rigFile string) string {
	name := strings.TrimSuffix(strings.TrimSuffix(rigFile, ".toml"), ".rig")
	return name + ".calibration.toml"
}

// Text is the file as Parse reads it.
func (f *File) Text() []byte {
	var b strings.Builder
	number := func(x float64) string {
		text := strconv.FormatFloat(x, 'g', 7, 64)
		if !strings.ContainsAny(text, ".e") {
			text += ".0"
		}
		return text
	}
	fmt.Fprintf(&b, "# Calibration of a probe, written by bufferstop rig check --calibrate. U is the expanded uncertainty (k=2).\n\n")
	fmt.Fprintf(&b, "date = %s\ntool = %s\nvalid_days = %d\n", f.Date.UTC().Format(time.RFC3339), quoted(f.Tool), f.ValidDays)
	fmt.Fprintf(&b, "\n[probe]\nname = %s\nserial = %d\n", quoted(f.Name), f.Serial)
	if t := f.Time; t != nil {
		fmt.Fprintf(&b, "\n[time]\nppm = %s\nu_ppm = %s\nover = %q\nhost_ppm = %s\n", number(t.PPM), number(t.U), t.Over, number(t.HostPPM))
	}
	for _, name := range []station.Track{station.Main, station.Programming} {
		t := f.Tracks[name]
		if t == nil {
			continue
		}
		fmt.Fprintf(&b, "\n[%s]\n", name)
		for _, e := range []struct {
			name string
			*Estimate
		}{{"zero", t.Zero}, {"gain", t.Gain}, {"load_gain", t.Load}} {
			if e.Estimate != nil {
				fmt.Fprintf(&b, "%s = %s\nu_%s = %s\n", e.name, number(e.Value), e.name, number(e.U))
			}
		}
		if n := t.Noise; n != nil {
			fmt.Fprintf(&b, "noise_ma = %s\nnoise_samples = %d\n", number(n.Milliamperes), n.Samples)
		}
		if e := t.Edges; e != nil {
			fmt.Fprintf(&b, "edge_repeatability = %q\nedge_spans = %d\n", e.Deviation, e.Spans)
			if e.Steady {
				fmt.Fprintf(&b, "edge_steady = true\n")
			}
		}
		if l := t.Loop; l != nil {
			fmt.Fprintf(&b, "loop_median = %q\nloop_p99 = %q\nloop_events = %d\n", l.Median, l.P99, l.Events)
		}
	}
	return []byte(b.String())
}

// quoted is a basic string of TOML 1.0.0, which knows fewer escapes than Go.
func quoted(text string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range text {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r < 0x20 || r == 0x7f:
			fmt.Fprintf(&b, `\u%04X`, r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}

// Save writes the file at path. It is there whole or not at all, and what was there before stays until then.
func (f *File) Save(path string) (err error) {
	temporary, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+"-*")
	if err != nil {
		return fmt.Errorf("calibration: save: %w", err)
	}
	defer func() {
		if err != nil {
			temporary.Close()
			os.Remove(temporary.Name())
			err = fmt.Errorf("calibration: save: %w", err)
		}
	}()
	if _, err = temporary.Write(f.Text()); err != nil {
		return err
	}
	if err = temporary.Chmod(0o644); err != nil {
		return err
	}
	if err = temporary.Sync(); err != nil {
		return err
	}
	if err = temporary.Close(); err != nil {
		return err
	}
	return os.Rename(temporary.Name(), path)
}

// For is the file if it is of this probe, and nil if it is of another or there is none: what was found with one probe says nothing
// about another.
func (f *File) For(p Probe) *File {
	if f == nil || f.Name != p.Name || f.Serial != p.Serial {
		return nil
	}
	return f
}

// PPM is by how many parts in a million a true time is longer than the probe's: zero where that is not known. Ask it of
// File.For.
func (f *File) PPM() float64 {
	if f == nil || f.Time == nil {
		return 0
	}
	return f.Time.PPM
}

// Current is how the counts of a track's converter become a current: (counts - zero) × stated scale × gain. known says that the
// zero was calibrated; else it is the probe's own. Ask it of File.For.
func (f *File) Current(track station.Track) (zero, gain float64, known bool) {
	gain = 1
	if t := f.track(track); t != nil {
		if t.Gain != nil {
			gain = t.Gain.Value
		}
		if t.Zero != nil {
			return t.Zero.Value, gain, true
		}
	}
	return 0, gain, false
}

// LoadGain is the true current of a track's load over its stated one: 1 where that is not known. Ask it of File.For.
func (f *File) LoadGain(track station.Track) float64 {
	if t := f.track(track); t != nil && t.Load != nil {
		return t.Load.Value
	}
	return 1
}

// Loop is how the loop times of a track were spread, or nil. Ask it of File.For.
func (f *File) Loop(track station.Track) *Loop {
	if t := f.track(track); t != nil {
		return t.Loop
	}
	return nil
}

func (f *File) track(track station.Track) *Track {
	if f == nil {
		return nil
	}
	return f.Tracks[track]
}

// skew is how much later than now a calibration may be dated: two clocks that are set by hand. Our own choice.
const skew = time.Hour

// Observations says what a reader of a report should know of the calibration of a probe: that it is missing, out of date, of another
// probe or from the future, or what it leaves out. f may be nil.
func (f *File) Observations(p Probe, now time.Time) []string {
	if p.CaptureOnly {
		return []string{"the probe only captures, and cannot be calibrated here: its uncertainties are those of any of its kind"}
	}
	if f == nil {
		return []string{"the probe is not calibrated: its uncertainties are those of any probe of its kind"}
	}
	if f.For(p) == nil {
		return []string{fmt.Sprintf("the calibration is of another probe (%s, number %d; this is %s, number %d), so it is not used",
			written.Quote(f.Name), f.Serial, written.Quote(p.Name), p.Serial)}
	}
	var all []string
	age := now.Sub(f.Date)
	switch days := int(age.Hours() / 24); {
	case age < -skew:
		all = append(all, fmt.Sprintf("the calibration is dated in the future (%s): a clock was or is wrong", f.Date.Format(time.DateOnly)))
	case days > f.ValidDays:
		all = append(all, fmt.Sprintf("the calibration of %s is out of date: it was valid for %d days", f.Date.Format(time.DateOnly), f.ValidDays))
	}
	if missing := f.missing(p); len(missing) > 0 {
		all = append(all, "not calibrated: "+strings.Join(missing, ", "))
	}
	return all
}

// missing lists what the probe has and the calibration has not.
func (f *File) missing(p Probe) []string {
	var all []string
	if f.Time == nil {
		all = append(all, "the time base")
	}
	for _, c := range p.Channels {
		t := f.track(c.Track)
		if t == nil {
			t = &Track{}
		}
		if c.PerCount > 0 && (t.Zero == nil || t.Gain == nil) {
			all = append(all, fmt.Sprintf("the current of the %s track", c.Track))
		}
		if c.PerCount > 0 && c.PerStep > 0 && t.Load == nil {
			all = append(all, fmt.Sprintf("the load of the %s track", c.Track))
		}
	}
	slices.Sort(all)
	return all
}
