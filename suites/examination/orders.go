package examination

import (
	"cmp"
	"errors"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"
	"bufferstop/harness/station"
)

// An Order is a command and the instruction that it has to bring to the track.
type Order struct {
	Command station.Command
	Want    dcc.Instruction
}

// enoughWrong is how many wrong packets end a walk over a table: by then it is clear, and each of them takes the bench's time.
// Our own choice.
const enoughWrong = 10

// The most locomotives that a walk has the station control at a time: where it does not declare how many it can, few enough
// for a small one. Our own choice.
const (
	together      = 8
	togetherSmall = 4
)

// Together is how many locomotives a walk may have under control at a time.
func (x *Check) Together() int {
	return min(cmp.Or(x.File.Declares.ActiveLocomotives, togetherSmall), together)
}

// CarryAll gives orders in batches of so many, and counts those whose packet does not reach the track. The orders of one batch
// are best to different decoders: a later one to the same may take the place of an earlier one that waits. After each batch
// the locomotives of it are given back, if release is set. A station that has no command for that may have no room for more before
// the walk is over: it ends there.
//
// A batch is given without waiting for one packet before the next command, as far as the station's language allows. What
// does not come of it is asked for again by itself, and waited for: what the station does with many commands at a time is
// the matter of others.
func (x *Check) CarryAll(w *harness.Watch, orders []Order, batch int, release bool) (wrong int) {
	for all := len(orders); len(orders) > 0; {
		some := orders[:min(batch, len(orders))]
		orders = orders[len(some):]
		full := false
		for _, missed := range x.batch(w, some) {
			if !x.Carries(w, missed.Want, func() error {
				err := x.Station.Do(x.ctx, missed.Command)
				var refused *station.Refused
				if full = release && x.keeps && errors.As(err, &refused); full {
					return nil
				}
				return err
			}) {
				if full {
					x.Result.Failures = x.Result.Failures[:max(len(x.Result.Failures)-1, 0)]
					if all == len(orders)+len(some) {
						x.Inconclusive("the station has no command that releases a locomotive, and no room for one")
					}
					x.Note("the station has no command that releases a locomotive, and refused after %d of %d: the others were left out",
						all-len(orders)-len(some), all)
					return wrong
				}
				wrong++
			}
		}
		if release {
			x.releaseOf(some)
		}
		if wrong >= enoughWrong && len(orders) > 0 {
			x.Note("after %d wrong or missing packets the other %d commands were left out", wrong, len(orders))
			break
		}
	}
	return wrong
}

// CarriesAtOnce gives orders back to back and returns those whose packet does not reach the track. Where the station does not
// take them so, they are given one after another, but without waiting for their packets.
func (x *Check) CarriesAtOnce(w *harness.Watch, orders []Order) (missed []Order) {
	given := x.Now()
	if !x.sendAll(orders) {
		given = x.Now()
		for _, o := range orders {
			x.Obeyed(o.Command.String(), x.Station.Do(x.ctx, o.Command))
		}
	}
	return x.missing(w, given, orders)
}

// batch gives orders and returns those that have to be given again.
func (x *Check) batch(w *harness.Watch, orders []Order) (missed []Order) {
	if len(orders) == 1 {
		return orders
	}
	given := x.Now()
	if !x.sendAll(orders) {
		return orders
	}
	return x.missing(w, given, orders)
}

// sendAll gives commands back to back, and reports whether the station took all of them.
func (x *Check) sendAll(orders []Order) bool {
	commands := make([]station.Command, len(orders))
	for i, o := range orders {
		commands[i] = o.Command
	}
	return x.Give(commands...)
}

// Give gives commands back to back, and reports whether the station took all of them.
func (x *Check) Give(commands ...station.Command) bool {
	report, err := x.Station.Send(x.ctx, commands...)
	x.Obeyed("commands back to back", err)
	return report.Done == len(commands)
}

// GiveAll gives commands back to back, and those that were not taken so one after another.
func (x *Check) GiveAll(commands ...station.Command) {
	if x.Give(commands...) {
		return
	}
	for _, c := range commands {
		x.Obeyed(c.String(), x.Station.Do(x.ctx, c))
	}
}

// missing waits for the packets of all orders, for as long as the commands may take one after another, and returns those that
// did not come.
func (x *Check) missing(w *harness.Watch, given time.Duration, orders []Order) []Order {
	left := append([]Order(nil), orders...)
	x.Await(w, given, time.Duration(len(orders))*x.CommandTime(), func(h harness.Heard) bool {
		for i := range left {
			if h.Fault == signal.None && says(h.Meaning, left[i].Want) {
				left = append(left[:i], left[i+1:]...)
				break
			}
		}
		return len(left) == 0
	})
	return left
}

// releaseOf gives back the locomotives of orders.
func (x *Check) releaseOf(orders []Order) {
	addresses := make([]dcc.Address, 0, len(orders))
	for _, o := range orders {
		if speed, ok := o.Want.(dcc.Speed); ok {
			addresses = append(addresses, speed.Address)
		}
	}
	x.LetGo(addresses...)
}

// LetGo gives locomotives back, so that the station's list has room for others. What comes of it is OPS-011's matter.
func (x *Check) LetGo(addresses ...dcc.Address) {
	commands := make([]station.Command, len(addresses))
	for i, a := range addresses {
		commands[i] = station.ReleaseCommand(a)
	}
	if x.ctx.Err() != nil || len(commands) == 0 {
		return
	}
	_, err := x.Station.Send(x.ctx, commands...)
	if x.keeps = errors.Is(err, station.ErrNotSupported); err != nil && !x.keeps {
		x.Note("release of %d locomotives: %v", len(addresses), err)
	}
}

// Empty has the station give up the locomotives that other checks have left under control: by release, or by a reset where its
// language has none. Tracks may be off afterwards.
func (x *Check) Empty(addresses ...dcc.Address) {
	if x.LetGo(addresses...); !x.keeps {
		return
	}
	if err := x.Station.Reset(x.ctx); !errors.Is(err, station.ErrNotSupported) {
		x.Obeyed("reset", err)
	}
}
