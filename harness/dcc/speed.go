package dcc

import "strconv"

// Direction is the way a locomotive runs. Forward is with its front, end 1, ahead.
type Direction uint8

// The two directions, with the values of the direction bit (S-9.2 B, July 2004).
const (
	Reverse Direction = 0
	Forward Direction = 1
)

func (d Direction) String() string {
	switch d {
	case Reverse:
		return "reverse"
	case Forward:
		return "forward"
	}
	return "direction " + strconv.Itoa(int(d))
}

func (d Direction) check() error { return checkRange("direction", int(d), 0, 1) }

// Steps is the number of speed steps that a packet speaks in, as the trade counts them.
type Steps uint8

// The counts of steps. The old 14 steps, in which the bit C is the headlight (S-9.2.1 C, July 2012), cannot be told from
// 28 on the track and are not encoded: NEM 670 (2013) 2.1 has given them up.
const (
	Steps28  Steps = 28
	Steps128 Steps = 128
)

// Max is the fastest step: 28, or 126 of the 128, since stop and emergency stop take two of them (S-9.2.1 C).
func (s Steps) Max() int {
	if s == Steps128 {
		return 126
	}
	return int(s)
}

func (s Steps) check() error {
	if s != Steps28 && s != Steps128 {
		return &ConflictError{"speed", strconv.Itoa(int(s)) + " speed steps", "28 or 128"}
	}
	return nil
}

// Speed sets speed and direction of a locomotive. With Step 0 it is a stop with the decoder's deceleration, and with
// Emergency the decoder takes the power off the motor at once (S-9.2 B; S-9.2.1 C).
type Speed struct {
	Address   Address
	Steps     Steps // Steps28: one byte 01DCSSSS; Steps128: 00111111 DSSSSSSS
	Direction Direction
	Step      int // 0 = stop; 1..28, or 1..126
	Emergency bool
	// DirectionIgnored is the stop or emergency stop at which the decoder may ignore the direction. There is one in 28
	// steps only (S-9.2, figure 2).
	DirectionIgnored bool
}

// Packet encodes the instruction.
func (i Speed) Packet() (Packet, error) { return i.AppendPacket(nil) }

// AppendPacket appends what Packet returns, without allocating when dst has room.
func (i Speed) AppendPacket(dst []byte) ([]byte, error) {
	b, err := i.body()
	return appendMobile(dst, i.Address, b, err)
}

func (i Speed) recipient() Address { return i.Address }

func (i Speed) body() (body, error) {
	if err := i.Steps.check(); err != nil {
		return body{}, err
	}
	if err := i.Direction.check(); err != nil {
		return body{}, err
	}
	if i.Steps == Steps128 {
		code, err := code128(i.Step, i.Emergency, i.DirectionIgnored)
		return body2(0x3f, byte(i.Direction)<<7|code), err
	}
	code, err := code28(i.Step, i.Emergency, i.DirectionIgnored)
	return body1(0x40 | byte(i.Direction)<<5 | code), err
}

func (i Speed) String() string {
	return i.Address.loco() + speedText(i.Steps, i.Step, i.Direction, i.Emergency, i.DirectionIgnored)
}

func speedText(s Steps, step int, d Direction, emergency, ignored bool) string {
	var text string
	switch {
	case emergency:
		text = "emergency stop, "
	case step == 0:
		text = "stop, "
	default:
		text = "speed step " + strconv.Itoa(step) + " of " + strconv.Itoa(int(s)) + ", "
	}
	text += d.String()
	if ignored {
		text += " (direction may be ignored)"
	}
	return text
}

// checkStop refuses what cannot be meant: an emergency stop with a speed, a speed without a direction.
func checkStop(step int, emergency, ignored bool) error {
	if emergency && step != 0 {
		return &ConflictError{"emergency stop", "step " + strconv.Itoa(step), "step 0"}
	}
	if ignored && step != 0 {
		return &ConflictError{"speed", "a direction to be ignored at step " + strconv.Itoa(step), "that only at a stop"}
	}
	return nil
}

// code28 gives the five bits CSSSS of S-9.2, figure 2 (July 2004), and NEM 671 (2014), table 1: with v = step + 3, SSSS
// is v without its lowest bit, and C is that bit.
func code28(step int, emergency, ignored bool) (byte, error) {
	if err := checkRange("speed step", step, 0, Steps28.Max()); err != nil {
		return 0, err
	}
	if err := checkStop(step, emergency, ignored); err != nil {
		return 0, err
	}
	var c, s byte
	switch {
	case step > 0:
		v := byte(step + 3)
		c, s = v&1, v>>1
	case emergency:
		s = 1
	}
	if ignored {
		c = 1
	}
	return c<<4 | s, nil
}

// step28 reads what code28 writes; all 32 codes have a meaning.
func step28(code byte) (step int, emergency, ignored bool) {
	c, s := code>>4&1, code&0x0f
	if s < 2 {
		return 0, s == 1, c == 1
	}
	return int(s<<1|c) - 3, false, false
}

// code128 gives the seven bits SSSSSSS of S-9.2.1 C (July 2012): 0 stop, 1 emergency stop, 2..127 the 126 steps.
func code128(step int, emergency, ignored bool) (byte, error) {
	if err := checkRange("speed step", step, 0, Steps128.Max()); err != nil {
		return 0, err
	}
	if err := checkStop(step, emergency, ignored); err != nil {
		return 0, err
	}
	switch {
	case ignored:
		return 0, &ConflictError{"speed", "a direction to be ignored in 128 steps", "that only in 28 steps"}
	case emergency:
		return 1, nil
	case step == 0:
		return 0, nil
	}
	return byte(step + 1), nil
}

// step128 reads what code128 writes; all 128 codes have a meaning.
func step128(code byte) (step int, emergency bool) {
	if code < 2 {
		return 0, code == 1
	}
	return int(code) - 1, false
}
