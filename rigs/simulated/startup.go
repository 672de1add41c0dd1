package simulated

import "bufferstop/harness/dcc"

// startup is what the main track says first when the station does not know what the decoders did before: at least 20
// reset packets, then at least 10 idle packets, before any packet with operating instructions, RP-9.2.4 A. It is due
// at the first power on after the station started or was reset; later the station knows the state and goes on.
type startup struct {
	resets, idles int
	reset, idle   dcc.Packet
}

func newStartup(s *settings) startup {
	return startup{resets: s.powerUpResets, idles: s.powerUpIdles, reset: sealed(dcc.Reset{}), idle: sealed(dcc.Idle{})}
}

// next is the next packet of the sequence, or nil after its end.
func (s *startup) next() dcc.Packet {
	switch {
	case s.resets > 0:
		s.resets--
		return s.reset
	case s.idles > 0:
		s.idles--
		return s.idle
	}
	return nil
}
