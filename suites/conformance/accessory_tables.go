package conformance

import (
	"slices"

	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
)

// accessoryWalk is the claimed numbers at which something changes: the ends and their neighbours, the powers of two, the four of a
// decoder and the next decoder, the steps of the six low and of the three inverted high bits (S-9.2.1 D, July 2012: 256 numbers
// share the high bits) in either numbering, and a walk between them. Those that follow each other belong to different decoders.
func accessoryWalk(claimed station.Range, batch int) []int {
	numbers := walk(claimed, 256, accessoryStride)
	for _, more := range walk(station.Between(1, max(claimed.Last, 1)), 256, claimed.Last+1) {
		if n := more - 3; claimed.Contains(n) { // raw address and number are three apart in one of the numberings
			numbers = append(numbers, n)
		}
	}
	for n := 1; n <= 12; n++ {
		if claimed.Contains(n) {
			numbers = append(numbers, n)
		}
	}
	slices.Sort(numbers)
	return apart(slices.Compact(numbers), batch)
}

// accessoryOrder switches an output on, or off.
func accessoryOrder(n dcc.Numbering, number, output int, on bool) order {
	want, err := n.Accessory(number, output, on)
	if err != nil {
		panic(err) // claims go no further: station.ParseFile
	}
	command := station.SetAccessoryCommand(number, output)
	if !on {
		command = station.ClearAccessoryCommand(number, output)
	}
	return order{Command: command, Want: want}
}

// accessoryTable switches each output of the walk on.
func accessoryTable(c station.Claims, batch int) (table []order) {
	for _, output := range []int{1, 0} {
		for _, number := range accessoryWalk(c.Accessories, batch) {
			table = append(table, accessoryOrder(c.Numbering, number, output, true))
		}
	}
	return table
}

// wholeDecoders returns the numbers of the four accessories of some decoders whose accessories are all claimed: the first such
// decoder, the first one beyond 64, from which on the high bits of the address count, and the last.
func wholeDecoders(c station.Claims) (decoders [][4]int) {
	byDecoder := map[uint16][]int{}
	for number := range c.Accessories.All() {
		if raw, err := c.Numbering.Raw(number); err == nil {
			byDecoder[raw>>2] = append(byDecoder[raw>>2], number)
		}
	}
	whole := func(d int) bool { return len(byDecoder[uint16(d)]) == 4 }
	find := func(from, step int) int {
		for d := from; d >= 1 && d <= dcc.MaxAccessoryDecoder; d += step {
			if whole(d) {
				return d
			}
		}
		return 0
	}
	seen := map[int]bool{0: true}
	for _, d := range []int{find(1, 1), find(65, 1), find(dcc.MaxAccessoryDecoder, -1)} {
		if !seen[d] {
			seen[d] = true
			decoders = append(decoders, [4]int(byDecoder[uint16(d)]))
		}
	}
	return decoders
}

// pairTable switches each output of each pair of whole decoders on, and off again if the station can.
func pairTable(c station.Claims) (table []order) {
	for _, decoder := range wholeDecoders(c) {
		for _, number := range decoder {
			for _, output := range []int{0, 1} {
				table = append(table, accessoryOrder(c.Numbering, number, output, true))
				if c.AccessoryOff {
					table = append(table, accessoryOrder(c.Numbering, number, output, false))
				}
			}
		}
	}
	return table
}

func aspectOrder(n dcc.Numbering, number, aspect int) order {
	want, err := n.Aspect(number, byte(aspect))
	if err != nil {
		panic(err) // see accessoryOrder
	}
	return order{Command: station.SetAspectCommand(number, aspect), Want: want}
}

// aspectTable shows an aspect, another one each time, on the signals of the walk.
func aspectTable(c station.Claims, batch int) (table []order) {
	values := c.AspectValues
	for i, number := range accessoryWalk(c.Aspects, batch) {
		table = append(table, aspectOrder(c.Numbering, number, values.First+(5*i+1)%min(values.Len(), 32)))
	}
	return table
}

// aspectValueTable shows every claimed aspect, on a few signals by turns.
func aspectValueTable(c station.Claims, batch int) (table []order) {
	signals := accessoryWalk(c.Aspects, batch)
	signals = signals[:min(batch, len(signals))]
	i := 0
	for aspect := range c.AspectValues.All() {
		table = append(table, aspectOrder(c.Numbering, signals[i%len(signals)], aspect))
		i++
	}
	return table
}
