package audit_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"bufferstop/harness/record"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/harness/uncertainty"
	"bufferstop/suites/audit"
	"bufferstop/suites/catalogue"

	"github.com/stretchr/testify/require"
)

// budget is that of an analyser of 1 MHz: 0.82 µs between two edges.
func budget(quantity string) uncertainty.Budget {
	e := uncertainty.Edges{Period: 1000, Clock: "analyser"}
	if quantity == uncertainty.HalfDifference {
		return uncertainty.HalfDifferences(e)
	}
	return uncertainty.EdgeTimes(e)
}

// judged gives what an audit finds in edges, by requirement.
func judged(s *anyStation) map[string]record.Result {
	a := audit.New(audit.Options{Track: s.track, Cutout: s.cutout, Editions: s.editions})
	for edges := s.edges; len(edges) > 0; {
		n := min(len(edges), 1+s.IntN(400))
		a.Edges(edges[:n])
		edges = edges[n:]
	}
	a.Finish(s.now)
	all := map[string]record.Result{}
	for _, id := range audit.IDs() {
		q, _ := catalogue.Find(id)
		if !slices.Contains(q.Tracks, string(s.track)) || slices.Contains(q.Claims, "cutout") && !s.cutout {
			continue
		}
		r := record.Result{ID: id}
		a.Report(id).Into(&r, q, budget)
		all[id] = r
	}
	return all
}

// The field of 1000 stations that the standards allow.
func TestNoLegalStationRaisesAnAlarm(t *testing.T) {
	for seed := range uint64(1000) {
		s := newAnyStation(rand.New(rand.NewPCG(seed, 6)))
		s.run(60)
		begin := s.IntN(len(s.edges) / 2) // a capture begins where it likes
		s.edges = s.edges[begin:]
		for id, r := range judged(s) {
			require.True(t, r.Verdict.Inside(), "seed %d, %s: %s: %s %v %v", seed, s, id, r.Verdict, r.Failures, r.Reason)
		}
	}
}

// A violation is one way to be outside exactly one limit, by more than U.
type violation struct {
	id   string
	name string
	// only is the track, if it matters.
	only  station.Track
	apply func(s *anyStation)
}

// half makes one half-bit of a packet another: the nth of the packet, of bits of one kind.
func half(bit int, length func(s *anyStation, old time.Duration) time.Duration) func(*anyStation) {
	return func(s *anyStation) {
		done := false
		s.halves = func(old time.Duration, b, index int) time.Duration {
			if done || b != bit || index < 0 || index%2 != 0 {
				return old
			}
			done = true
			return length(s, old)
		}
		s.raw(s.preamble, []byte{0xff, 0, 0xff})
		s.halves = nil
	}
}

// both makes both halves of a bit others.
func both(bit int, length func(s *anyStation) [2]time.Duration) func(*anyStation) {
	return func(s *anyStation) {
		var lengths [2]time.Duration
		place := -1
		s.halves = func(old time.Duration, b, index int) time.Duration {
			if b != bit || index < 0 {
				return old
			}
			if place < 0 && index%2 == 0 {
				place, lengths = index, length(s)
			}
			if index == place || index == place+1 {
				return lengths[index-place]
			}
			return old
		}
		s.raw(s.preamble, []byte{0xff, 0, 0xff})
		s.halves = nil
	}
}

// cutoutAt sends a packet with a cutout of another time after it, or with none.
func cutoutAt(times func(s *anyStation) (from, to time.Duration)) func(*anyStation) {
	return func(s *anyStation) {
		cut := s.cutout
		s.cutout = false
		s.raw(s.preamble, idle)
		s.cutout = cut
		if times != nil {
			s.gapFor(times(s))
		}
	}
}

// send sends packets with nothing between.
func send(packets ...[]byte) func(*anyStation) {
	return func(s *anyStation) {
		for _, p := range packets {
			s.raw(s.preamble, slices.Clone(p))
		}
	}
}

// beyond is how far outside a limit a value is: by more than U, and what the jitter may take from it.
func (s *anyStation) beyond(most time.Duration) time.Duration {
	return u + 2*s.jitter + 10*time.Nanosecond + s.upTo(most)
}

var idle = []byte{0xff, 0, 0xff}

// violations has each limit of each requirement.
var violations = []violation{
	{"SIG-001", "a one too short", "", both(1, func(s *anyStation) [2]time.Duration { d := 55*us - s.beyond(20*us); return [2]time.Duration{d, d} })},
	{"SIG-001", "a one too long", "", both(1, func(s *anyStation) [2]time.Duration {
		d := 61*us + s.beyond(200*time.Nanosecond)
		return [2]time.Duration{d, d}
	})},
	{"SIG-002", "halves that differ", "", func(s *anyStation) {
		s.jitter = min(s.jitter, 300*time.Nanosecond) // U of a difference is 1.42 µs: there is little room between its limit and those of the halves
		both(1, func(s *anyStation) [2]time.Duration {
			return [2]time.Duration{55*us + s.jitter + 10, 61*us - s.jitter - 10}
		})(s)
	}},
	{"SIG-003", "a zero too short", "", both(0, func(s *anyStation) [2]time.Duration {
		d := 95*us - s.beyond(500*time.Nanosecond)
		return [2]time.Duration{d, d}
	})},
	{"SIG-003", "half a zero too long", "", half(0, func(s *anyStation, _ time.Duration) time.Duration { return 9900*us + s.beyond(1500*us) })},
	{"SIG-004", "a zero too long", "", both(0, func(s *anyStation) [2]time.Duration {
		d := 6000*us + s.beyond(2000*us)
		return [2]time.Duration{d, d}
	})},
	{"SIG-006", "off too early", "", func(s *anyStation) {
		cut := s.cutout
		s.cutout = false
		s.raw(s.preamble, idle)
		s.cutout = cut
		s.gapFor(s.upTo(26*us-s.beyond(0)-2*us)+us, 26*us+s.between(40, 400)*time.Millisecond)
	}},
	{"SIG-007", "a half-bit just too long for a one", "", both(1, func(s *anyStation) [2]time.Duration {
		d := 64*us + s.beyond(8*us)
		return [2]time.Duration{d, d}
	})},
	{"SIG-007", "a half-bit just too short for a zero", "", both(0, func(s *anyStation) [2]time.Duration {
		d := 90*us - s.beyond(5*us)
		return [2]time.Duration{d, d}
	})},
	{"SIG-008", "off between packets", station.Main, func(s *anyStation) {
		cut := s.cutout
		s.cutout = false
		s.raw(s.preamble, idle)
		s.cutout = cut
		shortest := 600 * us
		if cut { // up to a millisecond it is a cutout that is too long, BID-002's matter
			shortest = time.Millisecond
		}
		s.gapFor(s.between(30*us, 50*us), s.between(shortest, 10*time.Millisecond))
	}},
	{"BID-001", "a cutout too early", "", cutoutAt(func(s *anyStation) (from, to time.Duration) {
		return 26*us - s.beyond(15*us), s.between(456*us, 486*us)
	})},
	{"BID-001", "a cutout too late", "", cutoutAt(func(s *anyStation) (from, to time.Duration) {
		return 32*us + s.beyond(60*us), s.between(456*us, 486*us)
	})},
	{"BID-002", "a cutout too short", "", cutoutAt(func(s *anyStation) (from, to time.Duration) {
		return 29 * us, 454*us - s.beyond(400*us)
	})},
	{"BID-002", "a cutout too long", "", cutoutAt(func(s *anyStation) (from, to time.Duration) {
		return 29 * us, 488*us + s.beyond(500*us)
	})},
	{"BID-003", "a preamble with too little left", "", func(s *anyStation) { s.raw(10+s.IntN(2), idle) }},
	{"BID-004", "a cutout in service mode", station.Programming, cutoutAt(func(s *anyStation) (from, to time.Duration) {
		return 29 * us, s.between(100*us, 900*us)
	})},
	{"BID-006", "a packet without a cutout", "", cutoutAt(nil)},
	{"PKT-001", "a short preamble", "", func(s *anyStation) {
		s.raw(s.preamble, idle)
		s.raw(10+s.IntN(3), idle) // the end bit before may be one more
	}},
	{"PKT-002", "a torn bit", "", func(s *anyStation) {
		place := 2 * (1 + s.IntN(8)) // in the first byte
		s.halves = func(old time.Duration, b, index int) time.Duration {
			if index == place {
				return s.zero[0]
			}
			return old
		}
		s.raw(s.preamble, idle)
		s.halves = nil
	}},
	{"PKT-003", "a wrong error byte", "", func(s *anyStation) { s.raw(s.preamble, []byte{3, 0x80, 0x83 ^ byte(1+s.IntN(255))}) }},
	{"PKT-004", "too many bytes", "", send(sum(3, 0xbf, 0xbf, 0xbf, 0xbf, 0xbf))},
	{"PKT-004", "too few bytes", "", send([]byte{3, 3})},
	{"PKT-005", "a reserved first byte", "", func(s *anyStation) { s.raw(s.preamble, sum(232+byte(s.IntN(21)), byte(s.IntN(256)))) }},
	{"PKT-005", "253 in 2012", "", func(s *anyStation) {
		s.raw(s.preamble, sum(253+byte(s.IntN(2)), 1))
	}},
	{"PKT-005", "255 that is not idle", "", func(s *anyStation) { s.raw(s.preamble, sum(255, 1+byte(s.IntN(255)))) }},
	{"PKT-006", "a reserved instruction", "", func(s *anyStation) {
		all := [][]byte{{0x04}, {0x0c}, {0x02}, {0x14, 5}, {0x12, 0x80 | byte(s.IntN(128))}, {0x20 | byte(s.IntN(28))}, {0x3e, 0x40 | byte(s.IntN(256))},
			{0xc3, 1}, {0xd7}, {0xf0, 1}, {0xff, 1}, {0xe8, 5, byte(s.IntN(224))}, {0x3f}, {0xdd}, {0xe4, 5}, {0xec, 1, 2, 0xf2}, {0x3f, 1, 0x3f, 2}, {0xc1, 0, 0, 0}}
		s.raw(s.preamble, sum(append([]byte{9}, all[s.IntN(len(all))]...)...))
	}},
	{"PKT-006", "a reserved accessory packet", "", func(s *anyStation) {
		all := [][]byte{{0x85, 0x70}, {0x85, 0xf8, 1}, {0x85, 0x78, 1}, {0x85, 0x70, 1, 2}, {0x85, 0xf1, 0xe5, 1, 1}, {0x85, 0xf8, 0xe8, 1, 1}, {0x85, 0xf8, 0xd4, 1, 1}}
		s.raw(s.preamble, sum(slices.Clone(all[s.IntN(len(all))])...))
	}},
	{"PKT-006", "an aspect above 31 in 2012", "", func(s *anyStation) {
		s.raw(s.preamble, sum(0x85, 0x71, 32+byte(s.IntN(224))))
	}},
	{"PKT-006", "F29 in 2012", "", func(s *anyStation) {
		s.raw(s.preamble, sum(9, 0xd8, 1))
	}},
	{"PKT-006", "a reserved operation of the direct method", station.Programming, func(s *anyStation) {
		s.raw(s.preamble, sum(0x70|byte(s.IntN(4)), 1, 1))
	}},
	{"PKT-007", "a low binary state in the long form", "", func(s *anyStation) {
		s.raw(s.preamble, sum(9, 0xc0, 1+byte(s.IntN(127))|byte(s.IntN(2))<<7, 0))
	}},
	{"PKT-008", "100 to 111 after a reset", "", func(s *anyStation) {
		s.raw(s.preamble, []byte{0, 0, 0})
		for range s.IntN(2) {
			s.raw(s.preamble, idle)
		}
		s.raw(14, sum(100+byte(s.IntN(12)), 0x60))
	}},
	{"PKT-009", "112 to 127 too few packets after a reset", station.Main, func(s *anyStation) {
		s.raw(s.preamble, sum(9, 0))
		for range s.IntN(10) {
			s.raw(s.preamble, idle)
		}
		s.raw(s.preamble, sum(112+byte(s.IntN(16)), 0x60))
	}},
	{"PKT-010", "112 to 127 twice", station.Main, func(s *anyStation) {
		p := sum(112+byte(s.IntN(16)), 0x60)
		s.raw(s.preamble, p)
		s.raw(14+s.IntN(10), p)
	}},
	{"PKT-011", "an address twice", "", func(s *anyStation) {
		p := [][]byte{sum(9, 0x60), sum(200, 9, 0x60), sum(0x85, 0xf8)}[s.IntN(3)]
		s.raw(s.preamble, p)
		s.raw(14+s.IntN(10), p)
	}},
	{"PKT-003", "an advanced packet with a wrong error byte", "", func(s *anyStation) {
		body := []byte{253, 1, 2, 3, 4, byte(s.IntN(256))}
		p := sum(append(body, bitwiseCRC(body))...)
		p[len(p)-1] ^= byte(1 + s.IntN(255))
		s.raw(s.preamble, idle) // one with no stretched zeros, so that the next good packet is not too late
		s.raw(14, p)
	}},
	{"PKT-012", "no CRC", "", func(s *anyStation) {
		body := []byte{253, 1, 2, 3, 4, byte(s.IntN(256))}
		s.raw(s.preamble, sum(append(body, bitwiseCRC(body)^byte(1+s.IntN(255)))...))
	}},
	{"PKT-013", "a hard reset with too little after it", station.Programming, func(s *anyStation) {
		s.raw(s.preamble, []byte{0, 1, 1})
		for range s.IntN(10) {
			s.raw(s.preamble, [][]byte{idle, {0, 0, 0}}[s.IntN(2)])
		}
		s.raw(s.preamble, sum(0x7c, 2, 3))
	}},
	{"RATE-001", "a pause of ones", station.Main, func(s *anyStation) {
		s.ones(int((30*time.Millisecond+s.beyond(20*time.Millisecond))/(s.one[0]+s.one[1])) + 1)
	}},
}

// editionsOf has the editions to which a station keeps for a violation to be one, by its name.
var editionsOf = map[string][2]string{
	"253 in 2012":                {"first bytes", "S-9.2.1 (2012)"},
	"an aspect above 31 in 2012": {"aspects", "S-9.2.1 (2012)"},
	"F29 in 2012":                {"functions", "S-9.2.1 (2012)"},
	"no CRC":                     {"first bytes", "S-9.2.1.1 (draft 2021)"},
	"an advanced packet with a wrong error byte": {"first bytes", "S-9.2.1.1 (draft 2021)"},
}

// quietly is a station that keeps clear of what a violation is about before and after it.
func quietly(seed uint64, v violation) *anyStation {
	for n := uint64(0); ; n++ {
		s := newAnyStation(rand.New(rand.NewPCG(seed, 7+n)))
		if v.only != "" && s.track != v.only || v.id == "RATE-001" && s.stretch {
			continue
		}
		q, _ := catalogue.Find(v.id)
		if slices.Contains(q.Claims, "cutout") != s.cutout && (!s.cutout || v.id == "PKT-001") { // of which cutouts would take ones
			continue
		}
		if e, matters := editionsOf[v.name]; matters {
			s.editions[e[0]] = e[1]
		}
		return s
	}
}

// 1000 stations and more, each outside one limit: the requirement of that limit fails, and none that it does not imply.
func TestNoIllegalStationIsMissed(t *testing.T) {
	each := 1000/len(violations) + 1
	for _, v := range violations {
		t.Run(fmt.Sprintf("%s %s", v.id, v.name), func(t *testing.T) {
			for seed := range uint64(each) {
				s := quietly(seed, v)
				s.run(15)
				s.settle()
				s.stretch = false // so that what follows comes in time
				v.apply(s)
				s.settle()
				s.run(10)
				implied := catalogue.Implied(v.id)
				for id, r := range judged(s) {
					switch {
					case id == v.id:
						require.True(t, r.Verdict.Outside(), "seed %d, %s: missed: %s %v", seed, s, r.Verdict, r.Measurements)
						require.NotEmpty(t, r.Failures)
					case !slices.Contains(implied, id):
						require.True(t, r.Verdict.Inside(), "seed %d, %s: %s fails too: %s %v %s", seed, s, id, r.Verdict, r.Failures, r.Reason)
					}
				}
			}
		})
	}
}

func TestEveryRequirementThatIsJudgedOfflineHasAViolation(t *testing.T) {
	for _, id := range audit.IDs() {
		require.True(t, slices.ContainsFunc(violations, func(v violation) bool { return v.id == id }), id)
	}
}

var _ = signal.Off
