// Package dcc knows the words of DCC: what a packet on the track tells the decoders, and how a packet is put together.
//
// An [Instruction] is one order, a value with its parts named as the trade names them. Its Packet method encodes it, and
// [Decode] finds the instruction in a packet:
//
//	p, err := dcc.Speed{Address: dcc.Short(55), Steps: dcc.Steps28, Direction: dcc.Forward, Step: 6}.Packet()
//	fmt.Println(p)             // 377443
//	fmt.Println(dcc.Decode(p)) // loco 55: speed step 6 of 28, forward
//
// A [Packet] is the bytes between start bits, with the error byte behind them; [Packet.AppendBits] and [ParseBits] lead
// to the bits of the track and back.
//
// # What always holds
//
// Decode takes any bytes. What is damaged, reserved or malformed becomes [Unknown], which keeps the bytes and says why.
// For every packet, Decode(p).Packet() is p again, so nothing is lost on the way through instructions.
//
// Encoding refuses what has no place in a packet, with a [*RangeError], and what does not go together, with a
// [*ConflictError]; it never cuts a value to fit. AppendPacket encodes without allocating, for stations that send all
// the time. Packet.Address tells without allocating to which locomotive a packet speaks, for decoders that hear much and
// are meant seldom.
//
// # Two readings of the same bytes
//
// The bytes 7c 00 03 7f write 3 into CV 1 when the decoder is in service mode. In operations mode they are a packet to
// the locomotive 124. [Decode] reads them the second way, [DecodeService] the first, and a [Listener], which follows all
// packets of a track, knows which is right.
//
// Some packets are identical altogether: to write register 1, to write the first data register of a page, and to write
// the address with the address-only method. Decode gives [Register] for them, and [AddressOnly] is for sending.
// In the same way a 28-step Speed with Step 0 to the address Broadcast is a [BroadcastStop] on the track.
//
// # Accessories
//
// A basic accessory packet holds a decoder's address and which of its four pairs of outputs is meant. Users know neither,
// but a number; a [Numbering] is the way from one to the other, and stations differ in it. Meanings name an accessory in
// both numberings.
//
// # Sources
//
// S-9.2 (July 2004), S-9.2.1 and S-9.2.3 (July 2012); NEM 671 (2014) and NEM 672 (2015). Forms that came later are
// marked as written from memory where they stand.
package dcc
