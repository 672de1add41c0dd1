package signal

import (
	"bytes"
	"encoding/binary"
	"io"
	"strings"
	"testing"
	"time"
)

func FuzzVCD(f *testing.F) {
	f.Add([]byte(head + "#0 1!\n#58 0!\n#116 z!\n"))
	f.Add([]byte("$timescale 100 fs $end $scope module a $end $var wire 4 ! b [3:0] $end $upscope $end $enddefinitions $end #5 b1x ! $comment $end #9 $dumpoff bx ! $end"))
	f.Add([]byte("$timescale 1 us $end $var real 64 ! v $end $enddefinitions $end #0 r15 ! #58 r-.5 ! #60 r-15 !"))
	f.Add([]byte(head + "#18446744073709551615 1!"))
	f.Add([]byte{0x1f, 0x8b, 8, 0})
	f.Fuzz(func(t *testing.T, data []byte) {
		r, err := NewVCDReader(bytes.NewReader(data))
		if err != nil {
			return
		}
		for _, name := range r.Signals() {
			r, err := NewVCDReader(bytes.NewReader(data))
			if err != nil {
				t.Fatalf("the second time: %v", err)
			}
			if err := r.Choose(name); err != nil {
				continue // two with one name
			}
			buf := make([]Edge, 3)
			last := Edge{-1, unknown}
			for {
				n, err := r.Read(buf)
				for _, e := range buf[:n] {
					if e.Time < last.Time || e.Level == last.Level || e.Time > r.End() {
						t.Fatalf("edge %v after %v, end %v", e, last, r.End())
					}
					last = e
				}
				if err == nil && n == 0 {
					t.Fatal("neither an edge nor an error")
				}
				if err == io.EOF {
					break
				}
				if err != nil {
					if !strings.Contains(err.Error(), "line ") {
						t.Fatalf("an error without a line: %v", err)
					}
					break
				}
			}
		}
	})
}

// FuzzReceiver feeds edges of any kind: each five bytes are a level and a step of time.
func FuzzReceiver(f *testing.F) {
	code := func(s *stream) []byte {
		var data []byte
		last := time.Duration(0)
		for _, e := range s.edges {
			data = binary.LittleEndian.AppendUint32(append(data, byte(e.Level)), uint32(e.Time-last))
			last = e.Time
		}
		return data
	}
	f.Add(code(newStream(Positive).packet(idle, 14).off(30*us, 400*us, Negative).packet(speed, 12)), true)
	f.Add(code(newStream(Positive).ones(12).half(3*us).half(3*us).packet(reset, 14).half(20*time.Millisecond)), false)
	f.Fuzz(func(t *testing.T, data []byte, station bool) {
		reading := DecoderReading()
		if station {
			reading = StationReading()
		}
		h := new(heard)
		r := NewReceiver(reading, h)
		var now, newest time.Duration
		var edges []Edge
		forward := true
		for ; len(data) >= 5; data = data[5:] {
			level := Level(data[0])
			step := time.Duration(int32(binary.LittleEndian.Uint32(data[1:])))
			switch {
			case level == 100:
				r.Lost(now, now+step)
				forward = false // edges below are those of several pieces
			case level == 101:
				step <<= 32
				fallthrough
			default:
				now += step
				forward = forward && step >= 0 && now >= 0
				newest = max(newest, now)
				edges = append(edges, Edge{now, level})
				r.Edge(Edge{now, level})
			}
		}
		r.Finish(now)
		st := r.Statistics()
		if st.Packets != int64(len(h.packets)) || st.Unusable != int64(len(h.unusable)) {
			t.Fatal("the statistics counted something else than was told")
		}
		for i, p := range h.packets {
			if p.Preamble < reading.Preamble || len(p.Bytes) == 0 || len(p.Bytes) > maxBytes {
				t.Fatalf("packet %+v", p)
			}
			if p.Start >= p.StartBit || p.StartBit >= p.End || i > 0 && forward && p.Start < h.packets[i-1].End {
				t.Fatalf("times of %+v", p)
			}
		}
		for i, u := range h.unusable {
			if u.Start > u.End || u.Reason == "" || forward && i > 0 && u.Start < h.unusable[i-1].End {
				t.Fatalf("unusable %v", h.unusable)
			}
			for _, p := range h.packets {
				if forward && u.Start < p.End && p.Start < u.End {
					t.Fatalf("%v overlaps %+v", u, p)
				}
			}
		}
		if !forward {
			return
		}
		together, b := receive(reading, edges, now)
		if len(together.packets) != len(h.packets) || *b.Statistics() != *st {
			t.Fatal("edges together are something else than one by one")
		}
	})
}
