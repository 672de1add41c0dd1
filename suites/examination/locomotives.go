package examination

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness"
	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
)

// The end of a power-up sequence: RP-9.2.4 A asks for 20 resets or more, then 10 idles or more. A station may send as many
// as it likes; patience with it is common practice, no source.
const (
	powerUpIdles    = 10
	powerUpPatience = 10 * time.Second
)

// RunTrack switches a track on and waits until its power-up sequence is over: ten idles, or a packet that is neither
// reset nor idle. A track that carries neither within ten seconds leaves the check inconclusive.
func (x *Check) RunTrack(track station.Track) {
	w := x.Watch(track)
	defer w.Stop()
	x.PowerOn(track)
	idles := 0
	if _, runs := x.Await(w, w.Begun, powerUpPatience, func(h harness.Heard) bool {
		if h.Fault != signal.None || h.Bytes.IsReset() {
			return false
		}
		if h.Bytes.IsIdle() {
			idles++
		}
		return idles >= powerUpIdles || !h.Bytes.IsIdle()
	}); !runs {
		x.Inconclusive("the %s track carries no traffic %v after power on", track, powerUpPatience)
	}
}

// CommandTime is how long a command may take to the track: as declared, or a second where nothing is (common practice,
// no source).
func (x *Check) CommandTime() time.Duration {
	return cmp.Or(x.File.Declares.CommandLatency, time.Second)
}

// Steps returns the finest mode of speed steps that the station claims.
func (x *Check) Steps() dcc.Steps {
	if x.File.Claims.Steps(dcc.Steps128) {
		return dcc.Steps128
	}
	return dcc.Steps28
}

// Locomotives returns n addresses that the station claims, short and long by turns as far as it goes. They keep clear
// of 112 to 127, whose packets look like those of service mode (S-9.2.3 E). Nothing is asked of a station that does not claim so
// many, or declares that it controls fewer at a time.
func (x *Check) Locomotives(n int) []dcc.Address {
	found := x.LocomotivesUpTo(n)
	if len(found) < n {
		if most := x.File.Declares.ActiveLocomotives; most > 0 && most < n {
			x.NotClaimed("the station declares active_locomotives of %d, and this takes %d", most, n)
		}
		x.NotClaimed("the station does not claim addresses for %d locomotives: short %q, long %q", n,
			x.File.Claims.ShortAddresses, x.File.Claims.LongAddresses)
	}
	return found
}

// SomeLocomotives returns as many of them as there are, one at least and n at most.
func (x *Check) SomeLocomotives(n int) []dcc.Address {
	return x.Locomotives(max(1, len(x.LocomotivesUpTo(n))))
}

// LocomotivesUpTo returns as many of them as there are, n at most: none of a station that drives no locomotives.
func (x *Check) LocomotivesUpTo(n int) []dcc.Address {
	if most := x.File.Declares.ActiveLocomotives; most > 0 {
		n = min(n, most)
	}
	claims := x.File.Claims
	if len(claims.SpeedSteps) == 0 {
		return nil
	}
	shorts, longs := shortLocomotives(claims, n), longLocomotives(claims, n)
	var found []dcc.Address
	for len(found) < n && len(shorts)+len(longs) > 0 {
		if len(shorts) > 0 {
			found, shorts = append(found, shorts[0]), shorts[1:]
		}
		if len(longs) > 0 && len(found) < n {
			found, longs = append(found, longs[0]), longs[1:]
		}
	}
	return found
}

// shortLocomotives returns n short addresses that are claimed, those first that differ in several bits.
func shortLocomotives(claims station.Claims, n int) (found []dcc.Address) {
	for first := range spread {
		for a := 3 + first; a < 100; a += spread {
			if claims.ShortAddresses.Contains(a) {
				found = append(found, dcc.Short(uint16(a)))
			}
		}
	}
	for a := range claims.ShortAddresses.All() {
		if more := dcc.Short(uint16(a)); len(found) < n && a < serviceAddresses && !slices.Contains(found, more) {
			found = append(found, more)
		}
	}
	return found
}

// serviceAddresses is the first short address whose packets look like those of service mode: S-9.2.3 E (July 2012).
const serviceAddresses = 112

// longLocomotives returns n long addresses that are claimed, far from each other as far as it goes.
func longLocomotives(claims station.Claims, n int) (found []dcc.Address) {
	for first := 1000; first < 1000+1333; first += 100 {
		for a := first; a <= dcc.MaxLong; a += 1333 {
			if claims.LongAddresses.Contains(a) {
				found = append(found, dcc.Long(uint16(a)))
			}
		}
	}
	for a := range claims.LongAddresses.All() {
		if len(found) >= n {
			break
		}
		if more := dcc.Long(uint16(a)); !slices.Contains(found, more) {
			found = append(found, more)
		}
	}
	return found
}

// spread is the step between the short addresses that are chosen, so that they differ in several bits. Our own choice.
const spread = 13

// Drive sets a locomotive's speed in the finest mode that the station claims.
func (x *Check) Drive(address dcc.Address, step int, direction dcc.Direction) {
	x.Obeyed(fmt.Sprintf("drive locomotive %v", address),
		x.Station.SetSpeed(x.ctx, address, x.Steps(), direction, step))
}

// Carries gives a command and expects its packet on the track within the declared time. What is wrong goes into the
// result's failures. That later packets say the same is OPS-012's matter.
func (x *Check) Carries(w *harness.Watch, want dcc.Instruction, command func() error) bool {
	given := x.Now()
	x.Obeyed(want.String(), command())
	_, seen := x.Await(w, given, x.CommandTime(), func(h harness.Heard) bool { return says(h.Meaning, want) })
	if seen {
		return true
	}
	actual := "no packet"
	for _, h := range w.After(given) {
		if alike(h, want) {
			actual = h.Meaning.String()
		}
	}
	x.Wrong("packet for a command", want.String(), actual, given)
	return false
}

// says reports whether an instruction means what was wanted; bits that the standard lets decoders ignore do not count.
func says(heard, want dcc.Instruction) bool {
	if speed, ok := heard.(dcc.Speed); ok {
		speed.DirectionIgnored = false
		heard = speed
	}
	return heard == want
}

// alike reports whether a packet could be a wrong version of an instruction: of the same kind, or to the same decoder.
func alike(h harness.Heard, want dcc.Instruction) bool {
	if fmt.Sprintf("%T", h.Meaning) == fmt.Sprintf("%T", want) {
		return true
	}
	wanted, err := want.Packet()
	return err == nil && h.Bytes[0] == wanted[0]
}

// FitDefault lays a fake decoder with ordinary habits on the programming track.
func (x *Check) FitDefault() *fakedecoder.Decoder { return x.Fit(fakedecoder.Default()) }

// FitPersonality lays a fake decoder of a named personality on the programming track.
func (x *Check) FitPersonality(name string) *fakedecoder.Decoder {
	c, err := fakedecoder.Personality(name)
	x.Fitted("make a fake decoder", err)
	return x.Fit(c)
}

// Fit lays a fake decoder on the programming track.
func (x *Check) Fit(c fakedecoder.Config) *fakedecoder.Decoder {
	d, err := x.Rig.Track(station.Programming).Fit(c)
	x.Fitted("fit a fake decoder", err)
	return x.fit(d)
}

// TakeOff takes the decoders off the programming track, and whatever else a check has laid there.
func (x *Check) TakeOff() {
	x.Fitted("take the decoder off", x.Rig.Track(station.Programming).Open())
}

// ReadAndWrite reads one CV and writes another by direct mode, for those who look at the signal meanwhile: whether the acknowledges are
// found is other requirements' matter. Of a station that has a command for one of them only, that has to do.
func (x *Check) ReadAndWrite(read, write int, value byte) {
	reads, writes := x.reads(), x.writes()
	if reads || !writes {
		_, err := x.AskToRead(read)
		x.obeyedOrUnheard(fmt.Sprintf("read CV %d", read), err)
	}
	if writes || !reads {
		x.obeyedOrUnheard(fmt.Sprintf("write %d to CV %d", value, write), x.AskToWrite(write, value))
	}
}

// ReadOrWrite reads one CV in the same way, or writes another where the station has a command for that alone.
func (x *Check) ReadOrWrite(read, write int, value byte) {
	if !x.reads() && x.writes() {
		x.obeyedOrUnheard(fmt.Sprintf("write %d to CV %d", value, write), x.AskToWrite(write, value))
		return
	}
	_, err := x.AskToRead(read)
	x.obeyedOrUnheard(fmt.Sprintf("read CV %d", read), err)
}

func (x *Check) reads() bool  { return x.Station.Can(station.ReadCVCommand(1, station.Direct)) }
func (x *Check) writes() bool { return x.Station.Can(station.WriteCVCommand(1, 1, station.Direct)) }

// obeyedOrUnheard expects that the station did what it was asked, or heard no decoder.
func (x *Check) obeyedOrUnheard(what string, err error) {
	if errors.Is(err, station.ErrNoAcknowledge) {
		x.Note("%s: %v", what, err)
		return
	}
	x.Obeyed(what, err)
}

// WriteCV writes a CV by direct mode and expects it to be acknowledged.
func (x *Check) WriteCV(cv int, value byte) {
	x.Obeyed(fmt.Sprintf("write %d to CV %d", value, cv), x.AskToWrite(cv, value))
}
