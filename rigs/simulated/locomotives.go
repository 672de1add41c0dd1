package simulated

import (
	"math/rand/v2"
	"slices"

	"bufferstop/harness/dcc"
)

// maxLocomotives is the length of the refresh list.
const maxLocomotives = 128

// locomotive is one entry of the refresh list: what the station was last told about an address.
type locomotive struct {
	address   dcc.Address
	speedSet  bool
	steps     dcc.Steps
	direction dcc.Direction
	step      int
	functions [functionGroups]uint8 // the states of each group, bit 0 its lowest function
	groups    uint16                // groups that were ever set, bit n is group n
	turn      dcc.FunctionGroup     // the group that is refreshed next
	function  bool                  // a function group is refreshed next, and not the speed
	last      uint64                // when it was refreshed last, as the roster counts
}

// functionGroups is how many groups of functions there are, F0 to F68.
const functionGroups = dcc.F61F68 + 1

// lowGroups are the function groups up to F12, which are refreshed by every station. Those above may be sent on a change
// alone, if they are repeated then: S-9.2.1 C (July 2012).
const lowGroups = 1<<dcc.F0F4 | 1<<dcc.F5F8 | 1<<dcc.F9F12

// switchFunction sets a function, 0 to 68, and returns its group.
func (l *locomotive) switchFunction(f int, on bool) dcc.FunctionGroup {
	g, bit, _ := dcc.GroupOf(f)
	l.functions[g] &^= 1 << bit
	if on {
		l.functions[g] |= 1 << bit
	}
	l.groups |= 1 << g
	return g
}

// nextGroup is the group of the given ones whose turn it is, and false when no function of them was ever set.
func (l *locomotive) nextGroup(of uint16) (dcc.FunctionGroup, bool) {
	if l.groups&of == 0 {
		return 0, false
	}
	for {
		turn := l.turn
		l.turn = (l.turn + 1) % functionGroups
		if l.groups&of&(1<<turn) != 0 {
			return turn, true
		}
	}
}

// roster is the refresh list: every locomotive that was told something and not released.
type roster struct {
	list  []locomotive
	count uint64 // refreshes so far
	round uint64 // when the round began that the list was shuffled for
}

func (r *roster) find(a dcc.Address) *locomotive {
	for i := range r.list {
		if r.list[i].address == a {
			return &r.list[i]
		}
	}
	return nil
}

// enter returns the entry of an address, a new one if need be, or nil when the list is full. Who never releases any gives up
// the oldest instead.
func (r *roster) enter(a dcc.Address, neverReleases bool) *locomotive {
	if l := r.find(a); l != nil {
		return l
	}
	switch {
	case len(r.list) < maxLocomotives:
	case neverReleases:
		r.list = slices.Delete(r.list, 0, 1)
	default:
		return nil
	}
	r.list = append(r.list, locomotive{address: a, steps: dcc.Steps128, direction: dcc.Forward})
	return &r.list[len(r.list)-1]
}

// release takes an address off the list.
func (r *roster) release(a dcc.Address) {
	for i := range r.list {
		if r.list[i].address == a {
			r.list = slices.Delete(r.list, i, i+1)
			return
		}
	}
}

func (r *roster) clear() { r.list = r.list[:0] }

// stop sets every speed to zero.
func (r *roster) stop(f *flaws) {
	for i := range r.list {
		r.list[i].step = 0
		if f.stopAllTurns {
			r.list[i].direction = dcc.Forward
		}
	}
}

// shuffle puts the list into an order by chance once each has had its turn.
func (r *roster) shuffle(random *rand.Rand) {
	for i := range r.list {
		if r.list[i].last <= r.round {
			return
		}
	}
	r.round = r.count
	random.Shuffle(len(r.list), func(i, j int) { r.list[i], r.list[j] = r.list[j], r.list[i] })
	for i := range r.list {
		r.list[i].last = r.round
	}
}

// unfairRounds is how many rounds of the others go by before an unfair firmware refreshes the last entry of its list again.
const unfairRounds = 7

// refresh chooses the next packet: of the locomotive that waits longest, its speed and one of the given function groups by
// turns. Addresses for which allowed is false have to wait. It returns nil when there is nothing to refresh now.
func (r *roster) refresh(e *encoder, groups uint16, allowed func(key) bool) (dcc.Packet, key) {
	list := r.list
	if last := len(list) - 1; last > 0 && (e.flaws.lastForgotten ||
		e.flaws.lastSeldom && r.count-list[last].last < uint64(unfairRounds*last)) {
		list = list[:last]
	}
	var l *locomotive
	for i := range list {
		if (l == nil || list[i].last < l.last) && allowed(keyOf(list[i].address)) {
			l = &list[i]
		}
	}
	if l == nil {
		return nil, noKey
	}
	r.count++
	l.last = r.count
	if l.function || !l.speedSet {
		if g, ok := l.nextGroup(groups); ok {
			l.function = false
			return e.functions(l, g), keyOf(l.address)
		}
	}
	l.function = true
	if e.flaws.refreshForward || e.flaws.stopTurns && l.step == 0 {
		forward := *l
		forward.direction = dcc.Forward
		return e.speed(&forward, false), keyOf(l.address)
	}
	return e.speed(l, false), keyOf(l.address)
}
