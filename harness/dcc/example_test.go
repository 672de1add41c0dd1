package dcc_test

import (
	"fmt"
	"time"

	"bufferstop/harness/dcc"
)

func ExampleDecode() {
	p, err := dcc.Speed{Address: dcc.Short(55), Steps: dcc.Steps28, Direction: dcc.Forward, Step: 6}.Packet()
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(p)
	fmt.Println(p.BitString(14))
	fmt.Println(dcc.Decode(p))
	// Output:
	// 377443
	// 11111111111111 0 00110111 0 01110100 0 01000011 1
	// loco 55: speed step 6 of 28, forward
}

func ExampleNumbering() {
	turnout, err := dcc.FirstIsRawFour.Accessory(310, 1, true)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(turnout)
	_, err = dcc.FirstIsRawFour.Accessory(3000, 1, true)
	fmt.Println(err)
	// Output:
	// accessory decoder 78 pair 1 output 1 on (accessory 310, or 314 counted from raw 0)
	// dcc: accessory number: got 3000, want 1..2044
}

func ExampleListener() {
	var track dcc.Listener
	write := dcc.Packet{0x7c, 0x00, 0x03, 0x7f}
	const ms = time.Millisecond
	fmt.Println(track.Hear(dcc.Seal(0, 0), 0, 7*ms))
	fmt.Println(track.Hear(write, 7*ms, 15*ms))
	fmt.Println(track.Mode())
	// Output:
	// reset
	// CV 1 write 3 (direct)
	// service mode
}
