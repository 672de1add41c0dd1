// Package probe speaks with a capture probe: the thing on the bench that sees the edges and the current of a track and
// that pulses, shorts and switches off what a spec asks for.
//
// README.md beside this file is the specification of the protocol. What it says in tables stands here as types: each
// message has an Append that writes its payload and a parser that is strict and says where a payload is wrong. A [Framer]
// finds the frames in a stream of bytes, [AppendFrame] makes one.
//
// A [Client] is the host's end. It reads its link in a goroutine of its own into a bounded queue; the rig takes what came
// with [Client.Pump], in its own goroutine, and gets it as edges, samples, events and lost stretches in order of time. A
// capture file, a logic analyser and a recording ([Replay]) fill the same [Sink].
//
// A [Device] is the probe's end, in Go and in virtual time: what the firmware is compared with, and the far end in tests.
package probe
