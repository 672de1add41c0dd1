package simulated

import (
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
	functions uint32 // bit n is Fn
	groups    uint8  // groups that were ever set, bit n is refreshed[n]
	turn      int    // the group that is refreshed next
	function  bool   // a function group is refreshed next, and not the speed
	last      uint64 // when it was refreshed last, as the roster counts
}

// refreshed lists the function groups in the order of their turns.
var refreshed = [...]dcc.FunctionGroup{dcc.F0F4, dcc.F5F8, dcc.F9F12, dcc.F13F20, dcc.F21F28}

// states are the states of one group's functions, bit 0 the lowest.
func (l *locomotive) states(g dcc.FunctionGroup) uint8 { return uint8(l.functions >> g.First()) }

// nextGroup is the group whose turn it is, and false when no function was ever set.
func (l *locomotive) nextGroup() (dcc.FunctionGroup, bool) {
	if l.groups == 0 {
		return 0, false
	}
	for {
		turn := l.turn
		l.turn = (l.turn + 1) % len(refreshed)
		if l.groups&(1<<turn) != 0 {
			return refreshed[turn], true
		}
	}
}

// roster is the refresh list: every locomotive that was told something and not released.
type roster struct {
	list  []locomotive
	count uint64 // refreshes so far
}

func (r *roster) find(a dcc.Address) *locomotive {
	for i := range r.list {
		if r.list[i].address == a {
			return &r.list[i]
		}
	}
	return nil
}

// enter returns the entry of an address, a new one if need be, or nil when the list is full.
func (r *roster) enter(a dcc.Address) *locomotive {
	if l := r.find(a); l != nil {
		return l
	}
	if len(r.list) == maxLocomotives {
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
func (r *roster) stop() {
	for i := range r.list {
		r.list[i].step = 0
	}
}

// refresh chooses the next packet: of the locomotive that waits longest, its speed and one function group by turns.
// Addresses for which allowed is false have to wait. It returns nil when there is nothing to refresh now. A flawed
// firmware leaves out as many entries at the end of the list as short says, but never all.
func (r *roster) refresh(e *encoder, short int, allowed func(key) bool) (dcc.Packet, key) {
	list := r.list
	if len(list) > short {
		list = list[:len(list)-short]
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
		if g, ok := l.nextGroup(); ok {
			l.function = false
			return e.functions(l, g), keyOf(l.address)
		}
	}
	l.function = true
	if e.flaws.refreshForward {
		forward := *l
		forward.direction = dcc.Forward
		return e.speed(&forward, false), keyOf(l.address)
	}
	return e.speed(l, false), keyOf(l.address)
}
