package simulated

import "time"

// bootFlaw is a boot that enables the bridge of the main track before the timer runs.
func (s *firmware) bootFlaw(t time.Duration) {
	f := &s.settings.flaws
	if f.bootHolds == 0 || t < 0 { // a station that was up before the rig's time began has booted unseen
		return
	}
	g := &s.port[mainPort].generator
	g.start(t)
	g.bits, g.ending = append(g.bits, 1), true
	s.hold(f.bootHolds)
}

// startFlaw is a first packet that lacks its beginning: the end of an idle packet.
func (s *firmware) startFlaw(i int) {
	if g := &s.port[i].generator; i == mainPort && s.settings.flaws.startsTorn {
		g.spoil.tear(g, s.scheduler.idle.AppendBits(nil, 0))
	}
}

// offFlaw forgets every locomotive with the power of the main track.
func (s *firmware) offFlaw() {
	if s.settings.flaws.offForgets {
		s.scheduler.roster.clear()
	}
}
