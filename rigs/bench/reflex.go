package bench

import (
	"context"
	"fmt"
	"slices"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness"
	"bufferstop/harness/dcc"
	"bufferstop/harness/probe"
	"bufferstop/harness/station"
)

// Over a link that is too slow for a fake decoder, the probe acknowledges by itself: it knows which packets are to be answered, and
// with what. What a decoder acknowledges of an access to one CV follows from its value beforehand: of the eight bits
// each is verified as it is, the whole byte too, and what is written is answered once it is stored. So for each access a
// handful of rules is enough, and which they are is known before the station is asked.
//
// What the probe cannot tell is whether the station has entered service mode as it has to, and what it does with an access of
// another kind than it was asked for. The fake decoder hears every packet all the same, stores what is written, and counts.
// Its acknowledge is a plain pulse: without ripple, ramp and chopping.
const (
	// reflexesForOne is how many rules one access may need: the write, nine verifies, and the question whether the decoder has direct
	// mode, a bit of CV 8 (S-9.2.3 E, July 2012).
	reflexesForOne = 11
	// directModeCV and directModeBit are of that question.
	directModeCV, directModeBit = 8, 7
	// pair is at which of identical packets a decoder acts (S-9.2.3 E, July 2012).
	pair = 2
)

// reflexCondition is what a reader should know of acknowledges that the probe gives.
func reflexCondition(why string) string {
	return why + "; the probe acknowledges in its stead, by the packets that are expected: with plain pulses, and whether or not service mode was entered as it must be"
}

var _ harness.Anticipator = (*probedTrack)(nil)

// A reflex is a decoder whose acknowledges the probe gives.
type reflex struct {
	decoder *fakedecoder.Decoder
	config  fakedecoder.Config
	level   uint16 // of the load while it acknowledges
	armed   []probe.ReflexRule
	losses  int // of rules, when they were armed: see probed.ruleLosses
}

// canAnswer reports whether the probe can acknowledge by itself.
func (p *probed) canAnswer() bool {
	return p.hello.Has(probe.HasReflex) && int(p.hello.ReflexRules) >= reflexesForOne
}

// reflexes makes the rules of a decoder instead of its own acknowledges, which would come too late.
func (t *probedTrack) reflexes(c *fakedecoder.Config) (*reflex, error) {
	a := &c.Acknowledge
	if a.Chop != (fakedecoder.Chop{}) || a.Repeat != 0 || a.Dropout != 0 {
		return nil, fmt.Errorf("bench rig: %w: a fake decoder whose pulses are chopped, repeated or left out, over a link of this loop time", harness.ErrBeyond)
	}
	level, _ := t.playout.load.level(inAmperes(c.Quiescent + a.Amplitude))
	r := &reflex{config: *c, level: level}
	c.Acknowledge = fakedecoder.Acknowledge{}
	return r, nil
}

// Anticipate follows harness.Anticipator.
func (t *probedTrack) Anticipate(ctx context.Context, a harness.Access) error {
	r := t.reflex
	if r == nil || a.Decoder != r.decoder {
		return nil
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	rules, err := r.rules(a)
	if err != nil {
		return err
	}
	losses := t.rig.ruleLosses()
	if r.losses != losses {
		r.armed, r.losses = nil, losses
	}
	for i := range rules {
		rules[i].Rule = i
	}
	if slices.EqualFunc(rules, r.armed, same) {
		return nil
	}
	now := t.rig.now
	_, err = t.rig.command(func(ctx context.Context) (time.Duration, error) { return now, t.arm(ctx, rules) })
	return err
}

// ruleLosses counts how often the probe has lost its rules: by the host's silence, or with its link.
func (p *probed) ruleLosses() int {
	h := p.eyes.Health()
	return p.rulesGone + h.Reconnects + h.Restarts
}

// arm gives the probe the rules that it does not have.
func (t *probedTrack) arm(ctx context.Context, rules []probe.ReflexRule) error {
	r := t.reflex
	for len(r.armed) > len(rules) {
		last := len(r.armed) - 1
		if err := t.rig.hands.ClearReflex(ctx, t.id, r.armed[last].Rule); err != nil {
			return err
		}
		r.armed = r.armed[:last]
	}
	for i := range rules {
		if i < len(r.armed) && same(r.armed[i], rules[i]) {
			continue
		}
		if err := t.rig.hands.Reflex(ctx, t.id, rules[i]); err != nil {
			return err
		}
		if i < len(r.armed) {
			r.armed[i] = rules[i]
		} else {
			r.armed = append(r.armed, rules[i])
		}
	}
	return nil
}

func same(a, b probe.ReflexRule) bool {
	return a.Rule == b.Rule && string(a.Packet) == string(b.Packet) && a.Run == b.Run && a.Delay == b.Delay && a.Level == b.Level && a.Width == b.Width
}

// rules are those for an access.
func (r *reflex) rules(a harness.Access) (all []probe.ReflexRule, err error) {
	c := &r.config
	if c.Deaf || c.Acknowledge.Amplitude == 0 {
		return nil, nil
	}
	if a.Method != "" && a.Method != station.Direct {
		return r.registerRules(a)
	}
	if c.NoDirectMode {
		return nil, nil
	}
	answer := func(i dcc.Instruction, after time.Duration) {
		rule, failed := r.rule(i, after)
		if failed != nil {
			err = failed
			return
		}
		all = append(all, rule)
	}
	value := r.decoder.CV(a.CV)
	if a.Write || a.WriteBit {
		written := a.Value
		if a.WriteBit {
			written = value&^(1<<a.Bit) | a.Value<<a.Bit
		}
		takes := r.decoder.Takes(a.CV, written) && (a.Write || !c.NoBitMode)
		switch {
		case !takes || c.NoWriteAcknowledge:
		case a.Write:
			answer(dcc.DirectWrite{CV: a.CV, Value: written}, c.Storage)
		default:
			answer(dcc.DirectBit{CV: a.CV, Write: true, Bit: a.Bit, Value: a.Value}, c.Storage)
		}
		if takes {
			value = written // what a station verifies afterwards
		}
	}
	if !r.decoder.Readable(a.CV) {
		return all, err
	}
	answer(dcc.DirectVerify{CV: a.CV, Value: value}, 0)
	if c.NoBitMode {
		return all, err
	}
	for bit := range 8 {
		answer(dcc.DirectBit{CV: a.CV, Bit: bit, Value: value >> bit & 1}, 0)
	}
	if a.CV != directModeCV && r.decoder.Readable(directModeCV) {
		answer(dcc.DirectBit{CV: directModeCV, Bit: directModeBit, Value: r.decoder.CV(directModeCV) >> directModeBit & 1}, 0)
	}
	return all, err
}

// rule is that for one instruction, which is answered so long after it.
func (r *reflex) rule(i dcc.Instruction, after time.Duration) (probe.ReflexRule, error) {
	packet, err := i.Packet()
	a := &r.config.Acknowledge
	return probe.ReflexRule{Packet: packet, Run: pair, Delay: after + a.Delay, Level: r.level, Width: a.Width}, err
}
