package station

import (
	"fmt"
	"slices"
	"time"

	"bufferstop/harness/written"

	"periph.io/x/conn/v3/physic"
)

// Recovery is how a track comes back after a trip.
type Recovery string

// The ways of recovery.
const (
	Automatic Recovery = "automatic" // the station tries by itself, RetryAfter after each trip
	OnCommand Recovery = "command"   // the track stays off until it is switched on
)

// AfterRecovery is what becomes of the locomotives' speeds when a track comes back.
type AfterRecovery string

// The states after recovery.
const (
	Kept    AfterRecovery = "kept"    // as before the trip
	Stopped AfterRecovery = "stopped" // every speed is zero
)

// Declares is the numbers that a station promises. No standard gives them; each station is held to its own. A zero means
// that nothing is declared, and that what needs it cannot be judged.
type Declares struct {
	SupplyVoltage     physic.ElectricPotential // of the track outputs' supply
	StartTime         time.Duration            // from the supply's return until commands are answered
	Main, Programming Overload
	NoDecoderTime     time.Duration // until a read without a decoder is reported as such
	ReadTime          time.Duration // for reading one CV
	StopLatency       time.Duration // from an emergency stop's last byte on the link to its packet on the track
	CommandLatency    time.Duration // the same for any other command
	RefreshTime       time.Duration // the longest that a locomotive under control waits for its next packet
	CurrentAccuracy   physic.ElectricCurrent
	// ActiveLocomotives is how many locomotives the station controls at a time.
	ActiveLocomotives int
	// Idle and Loaded are how long commands take to the track with little and with much to do.
	Idle, Loaded Latency
}

// Latency is what a station declares about the times of many commands, each from its last byte on the link to the end of its
// packet on the track: half of them take no longer than P50, 95 of 100 no longer than P95, and none longer than Max.
type Latency struct{ P50, P95, Max time.Duration }

// Track returns what is declared for one track's overload watch.
func (d Declares) Track(t Track) Overload {
	switch t {
	case Main:
		return d.Main
	case Programming:
		return d.Programming
	}
	return Overload{}
}

// Overload is what a station declares about the overload watch of a track.
type Overload struct {
	NoTripCurrent physic.ElectricCurrent // carried for any time
	TripCurrent   physic.ElectricCurrent // from here on it trips
	TripTime      time.Duration          // at the latest after TripCurrent is reached
	RetryAfter    time.Duration          // at the latest, from a trip to the next try
	Recovery      Recovery
	AfterRecovery AfterRecovery
	// A capacitor that is charged with InrushPeak, falling with the time constant InrushTau, does not trip.
	InrushPeak physic.ElectricCurrent
	InrushTau  time.Duration
}

type declaresFile struct {
	SupplyVoltage   *string       `toml:"supply_voltage"`
	StartTime       *string       `toml:"start_time"`
	Main            *overloadFile `toml:"main"`
	Programming     *overloadFile `toml:"programming"`
	NoDecoderTime   *string       `toml:"no_decoder_time"`
	ReadTime        *string       `toml:"read_time"`
	StopLatency     *string       `toml:"stop_latency"`
	CommandLatency  *string       `toml:"command_latency"`
	RefreshTime     *string       `toml:"refresh_time"`
	CurrentAccuracy *string       `toml:"current_accuracy"`

	ActiveLocomotives *int `toml:"active_locomotives"`
	Latency           struct {
		Idle   *latencyFile `toml:"idle"`
		Loaded *latencyFile `toml:"loaded"`
	} `toml:"latency"`
}

type latencyFile struct {
	P50 *string `toml:"p50"`
	P95 *string `toml:"p95"`
	Max *string `toml:"max"`
}

type overloadFile struct {
	NoTripCurrent *string `toml:"no_trip_current"`
	TripCurrent   *string `toml:"trip_current"`
	TripTime      *string `toml:"trip_time"`
	RetryAfter    *string `toml:"retry_after"`
	Recovery      *string `toml:"recovery"`
	AfterRecovery *string `toml:"after_recovery"`
	InrushPeak    *string `toml:"inrush_peak"`
	InrushTau     *string `toml:"inrush_tau"`
}

func (d *document) declares(f *declaresFile, c Claims) Declares {
	const at = "declares."
	declared := Declares{
		StartTime:      d.Positive(at+"start_time", f.StartTime, 0),
		NoDecoderTime:  d.Positive(at+"no_decoder_time", f.NoDecoderTime, 0),
		ReadTime:       d.Positive(at+"read_time", f.ReadTime, 0),
		StopLatency:    d.Positive(at+"stop_latency", f.StopLatency, 0),
		CommandLatency: d.Positive(at+"command_latency", f.CommandLatency, 0),
		RefreshTime:    d.Positive(at+"refresh_time", f.RefreshTime, 0),
	}
	d.quantity(at+"supply_voltage", f.SupplyVoltage, &declared.SupplyVoltage, `a voltage above zero, as in "16V"`)
	d.quantity(at+"current_accuracy", f.CurrentAccuracy, &declared.CurrentAccuracy, wantCurrent)
	if f.Main != nil {
		declared.Main = d.overload(at+"main", f.Main, len(c.Tracks) == 0 || c.Track(Main))
	}
	if f.Programming != nil {
		declared.Programming = d.overload(at+"programming", f.Programming, len(c.Tracks) == 0 || c.Track(Programming))
	}
	declared.Idle = d.latency(at+"latency.idle", f.Latency.Idle, declared.CommandLatency)
	declared.Loaded = d.latency(at+"latency.loaded", f.Latency.Loaded, declared.CommandLatency)
	// As many as there are addresses, short and long: S-9.2 B (July 2004) and S-9.2.1 C (July 2012).
	declared.ActiveLocomotives = d.Between(at+"active_locomotives", f.ActiveLocomotives, 1, 127+10240, 0)
	return declared
}

// latency reads what is declared of a latency; command_latency, which none may exceed, stands in for a greatest that is not.
func (d *document) latency(path string, f *latencyFile, most time.Duration) Latency {
	if f == nil {
		return Latency{Max: most}
	}
	l := Latency{P50: d.Positive(path+".p50", f.P50, 0), P95: d.Positive(path+".p95", f.P95, 0), Max: d.Positive(path+".max", f.Max, most)}
	order := []struct {
		name string
		time time.Duration
	}{{"p50", l.P50}, {"p95", l.P95}, {"max", l.Max}}
	for i, longer := range order {
		for _, shorter := range order[:i] {
			if longer.time > 0 && shorter.time > longer.time {
				d.Fail(path+"."+shorter.name, shorter.time.String(), "no more than "+longer.name+", "+longer.time.String(), "")
				return l
			}
		}
	}
	return l
}

const wantCurrent = `a current above zero, as in "1.5A" or "250mA"`

func (d *document) overload(path string, f *overloadFile, claimed bool) Overload {
	if !claimed {
		d.Fail(path, "a track that is not claimed", "only tracks among [claims] tracks", "")
	}
	o := Overload{
		TripTime:   d.Positive(path+".trip_time", f.TripTime, 0),
		RetryAfter: d.Positive(path+".retry_after", f.RetryAfter, 0),
		InrushTau:  d.Positive(path+".inrush_tau", f.InrushTau, 0),
	}
	d.quantity(path+".no_trip_current", f.NoTripCurrent, &o.NoTripCurrent, wantCurrent)
	d.quantity(path+".trip_current", f.TripCurrent, &o.TripCurrent, wantCurrent)
	d.quantity(path+".inrush_peak", f.InrushPeak, &o.InrushPeak, wantCurrent)
	o.Recovery = choice(d, path+".recovery", f.Recovery, Automatic, OnCommand)
	o.AfterRecovery = choice(d, path+".after_recovery", f.AfterRecovery, Kept, Stopped)
	if o.TripCurrent > 0 && o.NoTripCurrent >= o.TripCurrent {
		d.Fail(path+".no_trip_current", o.NoTripCurrent.String(), "less than the trip current, "+o.TripCurrent.String(), "")
	}
	if (o.InrushPeak > 0) != (o.InrushTau > 0) {
		d.Fail(path, "one of inrush_peak and inrush_tau", "both or none", "")
	}
	if o.Recovery == Automatic && o.RetryAfter == 0 {
		d.Fail(path+".recovery", "automatic and no retry_after", "the time after which it tries again", `retry_after = "1s"`)
	}
	return o
}

// quantity reads a quantity above zero with its unit.
func (d *document) quantity(path string, text *string, into settable, want string) {
	if text == nil {
		return
	}
	if err := into.Set(*text); err != nil || !above(into) {
		d.Fail(path, written.Quote(*text), want, "")
	}
}

type settable interface{ Set(string) error }

func above(v settable) bool {
	switch v := v.(type) {
	case *physic.ElectricCurrent:
		return *v > 0
	case *physic.ElectricPotential:
		return *v > 0
	}
	return false
}

// choice reads one of a few words.
func choice[T ~string](d *document, path string, text *string, allowed ...T) T {
	if text == nil {
		return ""
	}
	if !slices.Contains(allowed, T(*text)) {
		d.Fail(path, written.Quote(*text), fmt.Sprintf("one of %q", allowed), "")
		return ""
	}
	return T(*text)
}
