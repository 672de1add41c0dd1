package signal

import (
	"bytes"
	"io"
	"math/rand/v2"
	"testing"
	"time"
)

// count is a sink that counts and forgets.
type count struct{ packets, unusable int }

func (c *count) Packet(*Packet)    { c.packets++ }
func (c *count) Unusable(Unusable) { c.unusable++ }

// benchmarkStream is about a million edges of traffic as a real station sends it: random packets, half-bits that vary by a
// timer's resolution, no two alike in time.
func benchmarkStream() *stream {
	random := rand.New(rand.NewPCG(1, 2))
	s := newStream(Negative)
	s.edges = make([]Edge, 1, 1<<20+1024)
	jitter := func() time.Duration { return time.Duration(random.IntN(2001)-1000) * time.Nanosecond }
	for len(s.edges) < 1<<20 {
		for _, b := range randomPacket(random).AppendBits(nil, 16) {
			nominal := 100 * us
			if b == 1 {
				nominal = 58 * us
			}
			s.halves(nominal+jitter(), nominal+jitter())
		}
	}
	return s
}

// BenchmarkPacketRecovery recovers and measures a stream that lies in memory.
func BenchmarkPacketRecovery(b *testing.B) {
	s := benchmarkStream()
	sink := new(count)
	r := NewReceiver(StationReading(), sink)
	b.ReportAllocs()
	edges := 0
	for b.Loop() {
		r.Edges(s.edges)
		r.Finish(s.now) // time may start again
		edges += len(s.edges)
	}
	b.ReportMetric(float64(edges)/b.Elapsed().Seconds(), "edges/s")
	if sink.packets == 0 {
		b.Fatal("no packet received")
	}
}

// BenchmarkVCDRead reads a plain dump from memory.
func BenchmarkVCDRead(b *testing.B) {
	s := benchmarkStream()
	var file bytes.Buffer
	w := NewVCDWriter(&file, "main")
	for _, e := range s.edges {
		if err := w.Edge(0, e); err != nil {
			b.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		b.Fatal(err)
	}
	buf := make([]Edge, 4096)
	b.SetBytes(int64(file.Len()))
	total, edges := 0, 0
	for b.Loop() {
		r, err := NewVCDReader(bytes.NewReader(file.Bytes()))
		if err != nil {
			b.Fatal(err)
		}
		for err == nil {
			var n int
			n, err = r.Read(buf)
			edges += n
		}
		if err != io.EOF {
			b.Fatal(err)
		}
		total += file.Len()
	}
	b.ReportMetric(float64(total)/1e6/b.Elapsed().Seconds(), "MB/s")
	b.ReportMetric(float64(edges)/b.Elapsed().Seconds(), "edges/s")
}
