package fakedecoder_test

import (
	"testing"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"

	"github.com/stretchr/testify/require"
)

// FuzzDecoderEdges reads its input as half-bits and packets: whatever comes, the decoder's demand stays sane.
func FuzzDecoderEdges(f *testing.F) {
	f.Add([]byte{0, 0xa0, 0, 0, 0xa0, 0, 0, 0xa2, 0x7c, 5, 0xa2, 0x7c, 5})
	f.Add([]byte{2, 0x40, 0x41, 0x80, 0xff, 0x81, 0x10})
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) == 0 || len(data) > 4000 {
			return
		}
		names := fakedecoder.Personalities()
		c, err := fakedecoder.Personality(names[int(data[0])%len(names)])
		require.NoError(t, err)
		r := lay(t, c)
		take := func() (b byte) {
			if len(data) > 0 {
				b, data = data[0], data[1:]
			}
			return b
		}
		for take(); len(data) > 0; {
			checkDemand(t, r.Decoder, r.t, r.t+ms)
			switch b := take(); b >> 6 {
			case 0: // a half-bit of some length
				r.half(time.Duration(b&0x3f) * 2500 * time.Nanosecond)
			case 1: // any level, after any time
				r.hold(time.Duration(take()) * time.Duration(take()) * time.Microsecond)
				r.edge(signal.Level(b%3) - 1)
			case 2: // a sealed packet of one to five bytes
				body := make([]byte, 1+b%5)
				for i := range body {
					body[i] = take()
				}
				r.program(1+int(b>>4&1), dcc.Seal(body...))
			default:
				r.Pulse(r.t+time.Duration(take())*ms, time.Duration(take())*time.Microsecond, mA)
			}
		}
		checkDemand(t, r.Decoder, r.t, r.t+time.Hour)
		for n := 1; n <= 1024; n++ {
			r.CV(n)
		}
	})
}
