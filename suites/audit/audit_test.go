package audit_test

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"bufferstop/harness/record"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/suites/audit"
	"bufferstop/suites/catalogue"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// result is what an audit finds of one requirement.
func result(a *audit.Audit, id string) record.Result {
	q, _ := catalogue.Find(id)
	r := record.Result{ID: id}
	a.Report(id).Into(&r, q, budget)
	return r
}

func plain(seed uint64, track station.Track) *anyStation {
	for {
		s := newAnyStation(rand.New(rand.NewPCG(seed, 11)))
		if s.track == track && !s.cutout {
			return s
		}
		seed += 1000
	}
}

func auditOf(s *anyStation) *audit.Audit {
	return audit.New(audit.Options{Track: s.track, Cutout: s.cutout, Editions: s.editions})
}

func TestAllThatTheCatalogueMarksAsOfflineIsJudged(t *testing.T) {
	s := plain(1, station.Main)
	s.run(40)
	a := auditOf(s)
	a.Edges(s.edges)
	a.Finish(s.now)
	for _, q := range catalogue.All() {
		if q.Offline {
			require.NotEmpty(t, a.Report(q.ID).Readings, q.ID)
		}
	}
	assert.Empty(t, a.Report("OPS-001"))
	assert.Equal(t, int64(s.packets), a.Packets())
}

func TestWhatTheProbeHasLostIsNotHeldAgainstTheStation(t *testing.T) {
	for seed := range uint64(150) {
		s := newAnyStation(rand.New(rand.NewPCG(seed, 12)))
		s.run(60)
		a := auditOf(s)
		var lost time.Duration
		for edges := s.edges; len(edges) > 0; {
			n := min(len(edges), 1+s.IntN(2000))
			a.Edges(edges[:n])
			edges = edges[n:]
			if skip := s.IntN(3000); len(edges) > skip+2 && s.IntN(2) == 0 {
				from, to := edges[0].Time-1, edges[skip+1].Time-1
				a.Lost(from, to)
				lost += to - from
				edges = edges[skip+1:]
			}
		}
		a.Finish(s.now)
		assert.Equal(t, lost, a.LostTime())
		for _, id := range audit.IDs() {
			q, _ := catalogue.Find(id)
			if slices.Contains(q.Tracks, string(s.track)) {
				r := result(a, id)
				require.False(t, r.Verdict.Outside(), "seed %d, %s: %s %v", seed, s, id, r.Failures)
			}
		}
	}
}

// off switches the track off after a packet, as a station does that waits for its end, and on again.
func (s *anyStation) off(d time.Duration) {
	s.raw(s.preamble, idle)
	s.gapFor(26*us+u+time.Microsecond, d)
	s.last, s.reset, s.sinceReset = map[int]time.Duration{}, longAgo, 1000
}

func TestATrackThatIsSwitchedOffHasNoGap(t *testing.T) {
	for seed := range uint64(150) {
		s := newAnyStation(rand.New(rand.NewPCG(seed, 13)))
		s.cutout = false
		for range 4 {
			s.run(12)
			s.off(s.between(31*time.Millisecond, 3*time.Second))
		}
		s.run(10)
		for id, r := range judged(s) {
			require.True(t, r.Verdict.Inside(), "seed %d, %s: %s %v %s", seed, s, id, r.Failures, r.Reason)
		}
	}
}

// gapOf5ms is a short off state after a packet.
func gapOf5ms(s *anyStation) (from, to time.Duration) {
	s.run(5)
	from = s.now
	s.off(5 * time.Millisecond)
	to = s.now
	s.run(5)
	return from, to
}

func TestAShortOffStateThatWasAskedForIsNone(t *testing.T) {
	for name, excuse := range map[string]func(a *audit.Audit, from, to time.Duration){
		"by a command, told afterwards": func(a *audit.Audit, from, to time.Duration) { a.Excuse(to-time.Millisecond, to+time.Millisecond) },
		"by a hand at the track":        func(a *audit.Audit, from, to time.Duration) { a.Hands(true, 0) },
	} {
		t.Run(name, func(t *testing.T) {
			s := plain(2, station.Main)
			from, to := gapOf5ms(s)
			a := auditOf(s)
			if name == "by a hand at the track" {
				excuse(a, from, to)
			}
			a.Edges(s.edges)
			if name != "by a hand at the track" {
				excuse(a, from, to)
			}
			a.Finish(s.now)
			assert.Equal(t, verdict.Pass, result(a, "SIG-008").Verdict)
		})
	}
	s := plain(2, station.Main)
	_, to := gapOf5ms(s)
	a := auditOf(s)
	a.Edges(s.edges)
	a.Excuse(to+time.Millisecond, to+2*time.Millisecond) // another time
	a.Finish(s.now)
	r := result(a, "SIG-008")
	assert.Equal(t, verdict.Fail, r.Verdict)
	assert.Contains(t, r.Failures[0].Actual, "off for")
}

// A station may answer before it switches, and be switched on again soon.
func TestAShortOffStateThatWasAskedForBeforeIsNone(t *testing.T) {
	s := plain(2, station.Main)
	from, to := gapOf5ms(s)
	a := auditOf(s)
	a.Excuse(from-time.Millisecond, from-100*us)
	a.Excuse(to-time.Millisecond, to-100*us)
	a.Edges(s.edges)
	a.Finish(s.now)
	assert.Equal(t, verdict.Pass, result(a, "SIG-008").Verdict)

	s = plain(2, station.Main)
	from, _ = gapOf5ms(s)
	a = auditOf(s)
	a.Excuse(from-50*time.Millisecond, from-40*time.Millisecond) // long before
	a.Edges(s.edges)
	a.Finish(s.now)
	assert.Equal(t, verdict.Fail, result(a, "SIG-008").Verdict)
}

// A track that is off while the probe loses something is not off for the time that was heard of it.
func TestAnOffStateOfWhichAPartIsLostIsNoGap(t *testing.T) {
	for name, lost := range map[string][2]time.Duration{
		"its end":       {10 * time.Millisecond, time.Second},
		"its middle":    {10 * time.Millisecond, 20 * time.Millisecond},
		"its beginning": {-time.Millisecond, 990 * time.Millisecond},
	} {
		s := plain(2, station.Main)
		s.run(5)
		s.raw(s.preamble, idle)
		off, before := s.now, len(s.edges)
		s.gapFor(30*us, time.Second)
		s.run(5)
		a := auditOf(s)
		from, to := off+lost[0], off+lost[1]
		for i, e := range s.edges {
			switch {
			case e.Time < from:
				a.Edges(s.edges[i : i+1])
			case i <= before || e.Time > to:
				if a.LostTime() == 0 { // the first edge after it tells the level
					a.Lost(from, to)
					if to < off+time.Second {
						a.Edges([]signal.Edge{{Time: to, Level: signal.Off}})
					}
				}
				if e.Time > to {
					a.Edges(s.edges[i : i+1])
				}
			}
		}
		a.Finish(s.now)
		r := result(a, "SIG-008")
		assert.Equal(t, verdict.Pass, r.Verdict, "%s: %v", name, r.Failures)
	}
}

// A station may ask for an address on the programming track, one after the other, between resets. On the main track the same bytes are
// what they are.
func TestAnAddressQueryIsServiceMode(t *testing.T) {
	for track, want := range map[station.Track]verdict.Verdict{station.Programming: verdict.Pass, station.Main: verdict.Fail} {
		s := plain(2, track)
		for address := byte(1); address <= 111; address++ {
			send([]byte{0, 0, 0}, sum(address, 0xf9), sum(address, 0xf9))(s)
		}
		a := auditOf(s)
		a.Edges(s.edges)
		a.Finish(s.now)
		for _, id := range []string{"PKT-008", "PKT-011"} {
			assert.Equal(t, want, result(a, id).Verdict, "%s %s: %v", track, id, result(a, id).Failures)
		}
		assert.Equal(t, verdict.Pass, result(a, "PKT-006").Verdict)
	}
}

// A cutout takes ones of a preamble that were sent: the bits of the station go on meanwhile.
func TestOnesThatACutoutTakesWereSent(t *testing.T) {
	for _, c := range []struct {
		preamble, taken int
		want            verdict.Verdict
	}{{16, 5, verdict.Pass}, {15, 5, verdict.Pass}, {14, 2, verdict.Pass}, {13, 2, verdict.Fail}, {12, 2, verdict.Fail}} {
		s := plain(2, station.Main)
		one := s.one[0] + s.one[1]
		for range 20 {
			s.raw(14, idle)
			s.gapFor(30*us, time.Duration(c.taken-1)*one+20*us)
			s.reverse(s.one[0] - 20*us) // the rest of the one in which the voltage has come back
			s.reverse(s.one[1])
			s.ones(c.preamble - c.taken)
			s.raw(0, idle)
		}
		s.cutout = true
		a := auditOf(s)
		a.Edges(s.edges)
		a.Finish(s.now)
		assert.Equal(t, c.want, result(a, "PKT-001").Verdict, "%+v: %v", c, result(a, "PKT-001"))
		assert.Equal(t, verdict.Pass, result(a, "PKT-002").Verdict, "%+v: %v", c, result(a, "PKT-002").Failures)
	}
}

// A station that switches off the moment it is told to meets the 26 µs once in a while; one that waits for the end of a packet and goes
// at once meets them each time.
func TestASwitchThatComesSoonAfterAnEndBitIsChanceOrHabit(t *testing.T) {
	for _, c := range []struct {
		soon, others int
		want         verdict.Verdict
	}{{1, 0, verdict.Fail}, {1, 1, verdict.Pass}, {2, 0, verdict.Fail}, {2, 20, verdict.Fail}, {2, 38, verdict.Pass}, {3, 38, verdict.Fail}} {
		s := plain(4, station.Main)
		for i := range c.soon + c.others {
			s.run(3)
			s.raw(s.preamble, idle)
			after := 5 * us
			if i >= c.soon {
				after = 0 // and in the middle of a packet
				s.edges = s.edges[:len(s.edges)-9]
			}
			s.gapFor(after, 100*time.Millisecond)
		}
		s.run(3)
		a := auditOf(s)
		a.Edges(s.edges)
		a.Finish(s.now)
		r := result(a, "SIG-006")
		require.Equal(t, c.want, r.Verdict, "%+v: %v %v", c, r.Failures, r.Notes)
		assert.Equal(t, c.want == verdict.Fail, len(r.Failures) > 0)
	}
}

// Power that goes at any time while somebody has shorted the track is no fault of the station.
func TestHandsAtTheTrackExcuseWhenPowerGoes(t *testing.T) {
	for _, hands := range []bool{false, true} {
		s := plain(3, station.Programming)
		s.run(5)
		s.raw(s.preamble, idle)
		s.gapFor(5*us, 100*time.Millisecond)
		s.run(5)
		a := auditOf(s)
		a.Hands(hands, 0)
		a.Edges(s.edges)
		a.Hands(false, s.now)
		a.Finish(s.now)
		assert.Equal(t, hands, result(a, "SIG-006").Verdict.Inside())
	}
}

// The output goes off in place of the last edge of an end bit, between any two packets or at a power off.
func TestOffInPlaceOfTheLastEdgeLeavesNoSignalAfterIt(t *testing.T) {
	for seed := range uint64(50) {
		s := newAnyStation(rand.New(rand.NewPCG(seed, 14)))
		s.cutout, s.jitter = false, 0
		s.run(5)
		s.raw(s.preamble, idle)
		s.edges = s.edges[:len(s.edges)-1]
		s.gapFor(0, s.between(40*time.Millisecond, time.Second))
		s.run(5)
		all := judged(s)
		require.Equal(t, verdict.Fail, all["SIG-006"].Verdict, "%s", s)
		require.Zero(t, all["SIG-006"].Measurements[0].Value)
	}
}

// A level that stays at the beginning or the end may be that of a station that is not on: a wire of two levels does not tell.
func TestALevelThatStaysAtTheEndsIsNotJudged(t *testing.T) {
	s := plain(6, station.Main)
	s.edges = s.edges[:0]
	s.reverse(0)
	s.now += 3 * time.Second
	s.run(20)
	s.raw(s.preamble, idle)
	s.now += 3 * time.Second
	for id, r := range judged(s) {
		require.True(t, r.Verdict.Inside(), "%s: %v %s", id, r.Failures, r.Reason)
	}
}

func TestNothingHeardIsInconclusive(t *testing.T) {
	a := audit.New(audit.Options{Track: station.Main})
	a.Finish(time.Second)
	for _, id := range audit.IDs() {
		assert.Equal(t, verdict.Inconclusive, result(a, id).Verdict, id)
	}
	a = audit.New(audit.Options{Track: station.Main}) // a wire that does not move
	a.Edges([]signal.Edge{{Time: 0, Level: signal.Positive}})
	a.Finish(10 * time.Second)
	for _, id := range audit.IDs() {
		assert.Equal(t, verdict.Inconclusive, result(a, id).Verdict, id)
	}
}

func TestFiveFailuresAreToldAndAllCounted(t *testing.T) {
	s := plain(4, station.Main)
	s.run(3)
	for range 9 {
		s.raw(s.preamble, sum(240, 1))
	}
	s.run(3)
	a := auditOf(s)
	a.Edges(s.edges)
	a.Finish(s.now)
	r := result(a, "PKT-005")
	assert.Len(t, r.Failures, 5+1, "and the count")
	assert.Len(t, a.Told("PKT-005"), 5)
	assert.Equal(t, 9.0, r.Measurements[0].Value)
	assert.Equal(t, r.Failures[0].At, r.Measurements[0].At)
}

// The published check value of the CRC with this polynomial, bits reflected, from zero.
func TestTheCRCsOfTheTestHaveThePublishedCheckValue(t *testing.T) {
	assert.Equal(t, byte(0xa1), bitwiseCRC([]byte("123456789")))
}

func TestAnAuditAllocatesNothingInTheSteadyState(t *testing.T) {
	s := newAnyStation(rand.New(rand.NewPCG(5, 5)))
	s.run(200)
	a := auditOf(s)
	a.Edges(s.edges)
	period := s.edges[len(s.edges)-1].Time - s.edges[0].Time + 100*us
	round := slices.Clone(s.edges)
	again := func() {
		for i := range round {
			round[i].Time += period
		}
		a.Edges(round)
	}
	for range 20 { // where two rounds meet something may be wrong, of which five are told
		again()
	}
	assert.Zero(t, testing.AllocsPerRun(20, again))
}

func BenchmarkAudit(b *testing.B) {
	s := newAnyStation(rand.New(rand.NewPCG(5, 5)))
	s.run(2000)
	a := auditOf(s)
	period := s.edges[len(s.edges)-1].Time - s.edges[0].Time + 100*us
	b.ReportAllocs()
	b.ResetTimer()
	for b.Loop() {
		for i := range s.edges {
			s.edges[i].Time += period
		}
		a.Edges(s.edges)
	}
	b.ReportMetric(float64(b.N)*float64(len(s.edges))/b.Elapsed().Seconds(), "edges/s")
}
