package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"periph.io/x/conn/v3/physic"

	"bufferstop/harness"
	"bufferstop/harness/current"
	"bufferstop/harness/live"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
)

// A rigSource watches a rig.
type rigSource struct {
	*watching
	rig      *openRig
	session  *harness.Session
	kind     string
	power    []string
	ask      []string
	stops    []func()
	listened time.Duration // on the rig's clock
	silent   bool          // the station did not answer to be kept alive: said once
	fault    string        // of its processor, said already
}

// What an overload is on a track of which the station does not declare what it carries. Our own choice; for the programming
// track it is what S-9.2.3 B.3 (July 2012) recommends as the limit of its energy.
var usualOverload = map[station.Track]physic.ElectricCurrent{
	station.Main:        physic.Ampere,
	station.Programming: 250 * physic.MilliAmpere,
}

// samplesOfFall is how many samples a current may take from the limit to nothing. As in the suites.
const samplesOfFall = 5

// watchRig begins to watch the tracks of a rig. The watching closes the rig.
func watchRig(rig *openRig, d harness.Description, power, ask []string) *watching {
	s := &rigSource{rig: rig, kind: d.Kind, power: power, ask: ask}
	var names []string
	var options []live.Options
	var tracks []harness.Track
	for _, name := range []station.Track{station.Main, station.Programming} {
		track := rig.Track(name)
		if track == nil {
			continue
		}
		names, tracks = append(names, string(name)), append(tracks, track)
		options = append(options, optionsOf(rig.file, d, name))
	}
	about := fmt.Sprintf("%s, %s", harmless(d.Name), harmless(rig.file.Name))
	s.watching = newWatching(s, about, names, options)
	s.session = harness.NewSession(rig.Rig, rig.file)
	for i, track := range tracks {
		s.stops = append(s.stops, track.Listen(trackWatch{s.watching, i}))
	}
	return s.watching
}

// optionsOf says what is a trip and an acknowledge on a track.
func optionsOf(file *station.File, d harness.Description, name station.Track) live.Options {
	o := live.Options{}
	if !d.Can(name, harness.SeeCurrent) {
		return o
	}
	promised := file.Declares.Track(name)
	above := promised.NoTripCurrent
	if above == 0 {
		above = promised.TripCurrent / 2
	}
	if above == 0 {
		above = usualOverload[name]
	}
	o.Trips = current.TripFilter{Above: above, Nothing: 2 * d.CurrentUncertainty, Fall: samplesOfFall * d.SampleInterval}
	if name == station.Programming {
		o.Acknowledges = current.StandardAcknowledge()
	}
	return o
}

// begin switches on what was asked for.
func (s *rigSource) begin(ctx context.Context) error {
	if len(s.names) == 0 {
		s.say("this rig sees no track")
	}
	for _, track := range s.power {
		if err := s.session.Station.SetPower(ctx, station.Track(track), true); err != nil {
			return s.faulty(ctx, "switching the power on", err)
		}
	}
	for _, text := range s.ask {
		s.obey(ctx, order(text))
	}
	return nil
}

// faulty words what the rig did not do.
func (s *rigSource) faulty(ctx context.Context, doing string, err error) error {
	if ctx.Err() != nil {
		return ctx.Err()
	}
	return exit{verdict.ExitFault, fmt.Errorf("%s: %s", doing, harmless(err.Error()))}
}

// listenAfter is how often the station is listened to, on the rig's clock.
const listenAfter = listenEvery

// step lets d pass on the rig.
func (s *rigSource) step(ctx context.Context, d time.Duration) (time.Duration, error) {
	err := s.session.Wait(ctx, d)
	if errors.Is(err, station.ErrKeepAlive) {
		if !s.silent {
			s.say("the station does not answer: %s", harmless(err.Error()))
		}
		s.silent = true
		err = s.rig.Wait(ctx, d)
	}
	if err != nil {
		return s.rig.Now(), s.faulty(ctx, "watching the rig", err)
	}
	if now := s.rig.Now(); now-s.listened >= listenAfter {
		s.listened = now
		err = s.listen(ctx)
	}
	return s.rig.Now(), err
}

// listen shows what the station says by itself, and what has become of its processor where the rig sees into it.
func (s *rigSource) listen(ctx context.Context) error {
	if inside, ok := s.rig.Rig.(harness.Insight); ok {
		if fault := inside.StationFault(); fault != s.fault {
			s.fault = fault
			s.say("the processor has come to its end: %s", harmless(fault))
		}
	}
	if err := s.session.Station.Listen(ctx); err != nil {
		return s.faulty(ctx, "listening to the station", err)
	}
	heard, _ := s.session.Station.Unsolicited()
	for _, u := range heard {
		if u.Event != "" {
			s.say("the station says by itself: %s (%+q)", harmless(u.Event), u.Text)
		} else {
			s.say("the station says by itself: %+q", u.Text)
		}
	}
	return nil
}

// obey asks the station for something, and says what came of it.
func (s *rigSource) obey(ctx context.Context, o order) {
	command, err := station.ParseCommand(string(o))
	if err != nil {
		s.say("%s", harmless(err.Error()))
		return
	}
	meaning, err := ask(ctx, s.session.Station, command)
	if err != nil {
		meaning = harmless(unnamed(err).Error())
	}
	s.say("%s: %s", command.Words(), meaning)
}

func (s *rigSource) pauses() bool { return s.kind != benchKind }

// close switches the power off, takes everything off the rails and gives the rig back. What happens meanwhile is seen still.
func (s *rigSource) close(ctx context.Context) error {
	unsafe := s.session.Close(ctx)
	now := s.rig.Now()
	for _, stop := range s.stops {
		stop()
	}
	reaching := s.reached(now)
	closing := s.rig.close()
	switch {
	case unsafe != nil:
		return exit{verdict.ExitFault, &mistake{What: "the track power is NOT known to be off: " + harmless(unsafe.Error()),
			Hint: "switch the supply of the station off"}}
	case closing != nil:
		return exit{verdict.ExitFault, fmt.Errorf("closing the rig: %w", closing)}
	}
	return reaching
}
