package conformance

import (
	"bytes"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
	"bufferstop/suites/examination"
)

// inARow is what is counted of every write on the main.
const inARow = "identical write packets in a row"

// mainWriteTable writes CVs of a decoder on the main: the ends, both sides of every step of the two high bits of the CV's
// number (S-9.2.1 C: 1110CCVV VVVVVVVV), and values with every bit both ways.
func mainWriteTable(a dcc.Address) (table []order) {
	for i, cv := range []int{1, 3, 29, 256, 257, 512, 513, 768, 769, 1024} {
		value := []byte{0x55, 0xaa, 0x00, 0xff, 42}[i%5]
		table = append(table, order{
			Command: station.WriteOnMainCommand(a, cv, value),
			Want:    dcc.MainWrite{Address: a, CV: cv, Value: value},
		})
	}
	return table
}

// mainBitTable writes every bit of a CV both ways, and one of CVs whose numbers need the high bits.
func mainBitTable(a dcc.Address) (table []order) {
	add := func(cv, bit int, value byte) {
		table = append(table, order{
			Command: station.WriteBitOnMainCommand(a, cv, bit, value == 1),
			Want:    dcc.MainBit{Address: a, CV: cv, Write: true, Bit: bit, Value: value},
		})
	}
	for bit := range 8 {
		add(29, bit, 1)
		add(29, bit, 0)
	}
	add(1, 0, 1)
	add(257, 3, 0)
	add(1024, 7, 1)
	return table
}

// S-9.2.1 C: a decoder writes on the second of two identical packets, and any other packet to it in between, a
// broadcast included, makes it forget the first.
func programmingOnTheMain(x *examination.Check) {
	address := refreshed(x)
	defer x.LetGo(address)
	w := x.Watch(station.Main)
	runs := eachOnMain(x, w, "write a CV on the main", mainWriteTable(address), address)
	withStops(x, w, &runs, address)
	x.SpreadOfCounts(inARow, runs)
}

// eachOnMain gives each order of a table, and returns how often in a row the packet of each came.
func eachOnMain(x *examination.Check, w *harness.Watch, what string, table []order, address dcc.Address) (runs verdict.Spread) {
	for _, o := range table {
		given := x.Now()
		x.Obeyed(what, x.Station.Do(x.Context(), o.Command))
		addRun(x, w, &runs, given, o, address)
	}
	return runs
}

// stopTrials is how often a stop of all is given right behind a write, each time a little later than the time before, so that it
// meets the packets of the write in every place. Our own choice.
const (
	stopTrials = 8
	stopShift  = 3 * time.Millisecond
)

// withStops has a stop of all come while a write is on its way. It is a packet to every decoder, so that a pair which it parts
// has to be begun again. A station may also drop the write; it may not send half of it.
func withStops(x *examination.Check, w *harness.Watch, runs *verdict.Spread, address dcc.Address) {
	if !x.Station.Can(station.StopAllCommand()) {
		x.Note("the station has no command for a stop of all, which could come between the packets of a write")
		return
	}
	for trial := range stopTrials {
		x.Wait(time.Duration(trial) * stopShift)
		o := order{
			Command: station.WriteOnMainCommand(address, 3, byte(100+trial)),
			Want:    dcc.MainWrite{Address: address, CV: 3, Value: byte(100 + trial)},
		}
		given := x.Now()
		if !x.Give(o.Command, station.StopAllCommand()) {
			x.Note("a stop of all behind a write on the main was not taken with it")
		}
		x.Wait(x.CommandTime())
		if run, sent := longestRun(w.After(given), address, o.Want); sent > 0 {
			note(x, runs, run, given, o)
		}
	}
}

// S-9.2.1 C, the same in its bit form: 111010VV VVVVVVVV 1111DBBB.
func bitsOnTheMain(x *examination.Check) {
	address := refreshed(x)
	defer x.LetGo(address)
	x.SpreadOfCounts(inARow, eachOnMain(x, x.Watch(station.Main), "write a bit on the main", mainBitTable(address), address))
}

// writesInTurn is how many decoders are written to at once.
const writesInTurn = 4

// Several decoders are written to at once, short addresses and long ones: each pair has to be whole for its own decoder, whatever
// goes to the others meanwhile.
func severalOnTheMain(x *examination.Check) {
	x.RunTrack(station.Main)
	locomotives := x.SomeLocomotives(writesInTurn)
	defer x.LetGo(locomotives...)
	for _, a := range locomotives {
		x.Drive(a, 12, dcc.Forward)
	}
	x.Wait(x.CommandTime())
	w := x.Watch(station.Main)
	var runs verdict.Spread
	for row := range mainWriteTable(locomotives[0]) {
		var orders []order
		var commands []station.Command
		for i, a := range locomotives {
			table := mainWriteTable(a)
			orders = append(orders, table[(row+i)%len(table)])
			commands = append(commands, orders[i].Command)
		}
		given := x.Now()
		x.GiveAll(commands...)
		for i, o := range orders {
			addRun(x, w, &runs, given, o, locomotives[i])
		}
		x.Wait(x.CommandTime())
	}
	x.SpreadOfCounts(inARow, runs)
}

// refreshed puts a locomotive under control whose refresh packets are what gets in between.
func refreshed(x *examination.Check) dcc.Address {
	x.RunTrack(station.Main)
	address := x.Locomotives(1)[0]
	x.Drive(address, 12, dcc.Forward)
	x.Wait(x.CommandTime())
	return address
}

// addRun waits for two packets of a write, and adds the most that came in a row.
func addRun(x *examination.Check, w *harness.Watch, runs *verdict.Spread, given time.Duration, o order, address dcc.Address) {
	x.Await(w, given, 2*x.CommandTime(), func(h harness.Heard) bool {
		run, _ := longestRun(w.After(given), address, o.Want)
		return run >= 2
	})
	run, _ := longestRun(w.After(given), address, o.Want)
	note(x, runs, run, given, o)
}

// note adds a run, and what was missing if it is too short.
func note(x *examination.Check, runs *verdict.Spread, run int, given time.Duration, o order) {
	runs.Add(float64(run), given)
	if run < 2 {
		x.Wrong("programming on the main", o.Want.String()+", twice in a row", packetsInARow(run), given)
	}
}

func packetsInARow(n int) string {
	if n == 0 {
		return "no such packet"
	}
	return "one such packet, then another to that decoder or none"
}

// longestRun counts the most packets of the wanted kind that reach the address with no other packet to it in between, and how
// many there are in all.
func longestRun(packets []harness.Heard, address dcc.Address, want dcc.Instruction) (longest, sent int) {
	wanted, err := want.Packet()
	if err != nil {
		return 0, 0
	}
	run := 0
	for _, h := range packets {
		switch {
		case bytes.Equal(h.Bytes, wanted):
			run++
			sent++
			longest = max(longest, run)
		case h.To(address), h.To(dcc.Broadcast):
			run = 0
		}
	}
	return longest, sent
}
