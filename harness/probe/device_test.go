package probe

import (
	"testing"
	"time"

	"bufferstop/harness/dcc"
	"bufferstop/harness/signal"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
)

// A bare is a device without anything before it: what is said to it and what it says.
type bare struct {
	*Device
	t       *testing.T
	outputs []output
	seq     uint8
	framer  Framer
}

func newBare(t *testing.T, c DeviceConfig) *bare {
	b := &bare{t: t}
	if c.Hello.Clock == 0 {
		c.Hello = *testHello()
	}
	c.OnLoad = func(track int, level uint16, at time.Duration) {
		b.outputs = append(b.outputs, output{"load", track, level, at})
	}
	c.OnShort = func(track int, on bool, at time.Duration) {
		b.outputs = append(b.outputs, output{"short", track, uint16(bit(on)), at})
	}
	c.OnSupply = func(on bool, at time.Duration) {
		b.outputs = append(b.outputs, output{"supply", 0, uint16(bit(on)), at})
	}
	b.Device = NewDevice(c)
	return b
}

// says gives what the device has said since.
func (b *bare) says() (all []Message) {
	for rest := b.Sent(); ; {
		f, left, ok := b.framer.Next(rest)
		if !ok {
			require.Zero(b.t, b.framer.Broken().Total())
			return all
		}
		rest = left
		m, err := ParseReport(f.Type, append([]byte(nil), f.Payload...), len(b.tracks))
		require.NoError(b.t, err)
		all = append(all, m)
	}
}

// told gives what the device says to a command.
func (b *bare) told(m Message) []Message {
	b.Receive(AppendFrame(nil, m.Type(), b.seq, m.Append(nil)))
	b.seq++
	return b.says()
}

// does gives the command and expects it done.
func (b *bare) does(m Message) Done {
	b.t.Helper()
	all := b.told(m)
	require.NotEmpty(b.t, all)
	done, ok := all[len(all)-1].(Done)
	require.True(b.t, ok, "%#v", all)
	require.Equal(b.t, Done{b.seq - 1, m.Type(), done.Tick}, done)
	return done
}

// refuses gives the command and expects it refused.
func (b *bare) refuses(m Message, why Reason) {
	b.t.Helper()
	require.Equal(b.t, []Message{Refused{b.seq, m.Type(), why}}, b.told(m))
}

// lives lets time pass with signs of life.
func (b *bare) lives(to time.Duration) {
	for b.Now() < to {
		b.Advance(min(b.Now()+20*time.Millisecond, to))
		b.Receive(AppendFrame(nil, TypeAlive, 0, nil))
	}
}

const ms = time.Millisecond

func TestADeviceIsGreetedBeforeItDoesAnything(t *testing.T) {
	b := newBare(t, DeviceConfig{FirstTick: 1000})
	for _, m := range []Message{Start{1000, 500}, &Load{}, Short{0, true, 10}, Supply{false}, Reflex{}} {
		b.refuses(m, ReasonOrder)
	}
	assert.Equal(t, []Message{Sync{b.seq, 1000, 5}}, b.told(AskSync{5}))
	b.does(Safe{})
	b.does(Stop{})
	assert.Equal(t, []Message{testHello()}, b.told(AskHello{1}))
	b.does(Supply{false})
	b.Reset(10*ms, 77)
	assert.Equal(t, []output{{"supply", 0, 0, 0}, {"supply", 0, 1, 10 * ms}}, b.outputs)
	b.refuses(Supply{false}, ReasonOrder)
	assert.Equal(t, []Message{Mark{3, 77}}, b.told(AskMark{3}))
}

func TestADeviceRefusesWhatItCannot(t *testing.T) {
	hello := *testHello()
	hello.Features &^= HasSupply
	hello.Tracks[1].ShortMilliohms = 0
	b := newBare(t, DeviceConfig{Hello: hello})
	b.told(AskHello{1})
	b.refuses(Supply{false}, ReasonNotFitted)
	b.refuses(Short{Programming, true, 10}, ReasonNotFitted)
	b.refuses(Short{Main, true, 501}, ReasonRange)
	b.refuses(&Load{Count: 1, Steps: [MaxSteps]Step{{256, 1}}}, ReasonRange)
	b.refuses(Reflex{Rule: 4}, ReasonRange)
	b.refuses(Start{MinStretch - 1, 0}, ReasonRange)
	for range 2 {
		m := &Load{Behind: true, At: 1 << 30, Count: MaxSteps}
		for i := range m.Steps {
			m.Steps[i] = Step{1, 1}
		}
		b.does(m)
	}
	b.refuses(&Load{Behind: true, Count: 1}, ReasonBusy)
	b.Receive(AppendFrame(nil, 0x55, b.seq, nil))
	assert.Equal(t, []Message{Refused{b.seq, 0x55, ReasonUnknown}}, b.says())
	b.Receive(AppendFrame(nil, TypeStop, b.seq, []byte{1}))
	assert.Equal(t, []Message{Refused{b.seq, TypeStop, ReasonLength}}, b.says())
	b.Receive([]byte{1, 2, 3, 0})
	status := b.told(AskStatus{})[0].(Status)
	assert.Equal(t, uint16(9), status.Refused)
	assert.Equal(t, uint16(1), status.CommandsBroken)
}

func TestAShortOpensByItself(t *testing.T) {
	b := newBare(t, DeviceConfig{})
	b.told(AskHello{1})
	b.does(Short{Main, true, 30})
	b.lives(20 * ms)
	b.does(Short{Main, true, 50}) // its time begins anew
	b.lives(200 * ms)
	assert.Equal(t, []output{{"short", Main, 1, 0}, {"short", Main, 0, 70 * ms}}, b.outputs)
	assert.Equal(t, []Message{Occurrence{70 * 16000, ShortOpenedTime, Main, 0}}, b.says())
	assert.Equal(t, uint16(1), b.told(AskStatus{})[0].(Status).OpenedByItself)
}

func TestASilentHostMakesTheDeviceSafeAndThenQuiet(t *testing.T) {
	b := newBare(t, DeviceConfig{})
	b.told(AskHello{1})
	b.does(Start{4000, 0})
	b.does(Short{Main, true, 500})
	b.does(&Load{Track: Programming, Count: 1, Steps: [MaxSteps]Step{{9, 0}}})
	b.does(Supply{false})
	b.does(Reflex{Run: 1, Width: 1, Length: 3})
	b.Advance(50 * ms)
	b.Receive([]byte{2, 9, 0}) // broken: no sign of life
	b.Advance(99*ms + 999*time.Microsecond)
	b.says()
	b.outputs = nil
	b.Advance(5 * time.Second)
	assert.Equal(t, []output{{"short", Main, 0, 100 * ms}, {"load", Programming, 0, 100 * ms}, {"supply", 0, 1, time.Second}}, b.outputs)
	var events []Message
	stretches := 0
	for _, m := range b.says() {
		if s, ok := m.(*Stretch); ok {
			stretches++
			assert.LessOrEqual(t, s.Start+uint32(s.Length), uint32(16_000_000))
		} else {
			events = append(events, m)
		}
	}
	tick := uint32(1_600_000)
	assert.Equal(t, []Message{Occurrence{tick, ShortOpenedSilent, Main, 0}, Occurrence{tick, LoadOffSilent, Programming, 0},
		Occurrence{tick, ReflexesOffSilent, 0, 0}}, events)
	assert.Equal(t, (1000-100)/4+1, stretches, "the stream ends after a second")
	next, more := b.Next()
	assert.False(t, more, "%v", next)
	b.does(Start{1000, 0})
	b.Advance(b.Now() + 10*ms)
	assert.Len(t, b.says(), 10)
}

func TestLoadStepsKeepTheirWidths(t *testing.T) {
	b := newBare(t, DeviceConfig{FirstTick: 0xffff_ff00})
	b.told(AskHello{1})
	tick := func(at time.Duration) uint32 { return b.Tick(at) }
	at := tick(10 * ms)
	done := b.does(&Load{At: at, Count: 2, Steps: [MaxSteps]Step{{60, 1500}, {30, 250}}})
	assert.Equal(t, at, done.Tick)
	b.lives(100 * ms)
	assert.Equal(t, []output{{"load", Main, 60, 10 * ms}, {"load", Main, 30, 16 * ms}, {"load", Main, 0, 17 * ms}}, b.outputs)

	b.outputs = nil
	done = b.does(&Load{At: tick(90 * ms), Count: 1, Steps: [MaxSteps]Step{{60, 1500}}})
	assert.Equal(t, tick(100*ms), done.Tick, "late: at once, and as long as asked")
	b.lives(150 * ms)
	assert.Equal(t, []output{{"load", Main, 60, 100 * ms}, {"load", Main, 0, 106 * ms}}, b.outputs)

	// Behind what waits: after its hold, and not before its own time. A step for ever ends when that comes.
	b.outputs = nil
	b.does(&Load{At: tick(160 * ms), Count: 1, Steps: [MaxSteps]Step{{1, 2500}}})
	b.does(&Load{At: tick(165 * ms), Behind: true, Count: 2, Steps: [MaxSteps]Step{{2, 250}, {3, 0}}})
	b.does(&Load{At: tick(180 * ms), Behind: true, Count: 1, Steps: [MaxSteps]Step{{4, 250}}})
	b.does(&Load{At: tick(190 * ms), Behind: true, Count: 1, Steps: [MaxSteps]Step{{5, 0}}})
	b.lives(200 * ms)
	assert.Equal(t, []output{{"load", Main, 1, 160 * ms}, {"load", Main, 2, 170 * ms}, {"load", Main, 3, 171 * ms},
		{"load", Main, 4, 180 * ms}, {"load", Main, 0, 181 * ms}, {"load", Main, 5, 190 * ms}}, b.outputs)

	// Replacing leaves the step under way until the new one's time; nothing at all takes the load off at once.
	b.outputs = nil
	b.does(&Load{At: tick(210 * ms), Count: 1, Steps: [MaxSteps]Step{{6, 0}}})
	b.lives(220 * ms)
	b.does(&Load{})
	assert.Equal(t, []output{{"load", Main, 6, 210 * ms}, {"load", Main, 0, 220 * ms}}, b.outputs)
}

func TestALoadAboveItsRatingGoesOff(t *testing.T) {
	b := newBare(t, DeviceConfig{})
	b.told(AskHello{1})
	b.does(&Load{Count: 3, Steps: [MaxSteps]Step{{51, 25_000}, {50, 12_500}, {255, 0}}}) // 100 ms above, 50 ms not
	b.lives(time.Second)
	assert.Equal(t, []output{{"load", Main, 51, 0}, {"load", Main, 50, 100 * ms}, {"load", Main, 255, 150 * ms},
		{"load", Main, 0, 255 * ms}}, b.outputs, "200 ms above, of which a tenth of 50 were given back")
	assert.Equal(t, []Message{Occurrence{255 * 16000, LoadOffRating, Main, 0}}, b.says())
}

// packet tells the device of a packet on the main track, from t on, and returns when its end bit ends.
func (b *bare) packet(t time.Duration, up bool, p dcc.Packet) time.Duration {
	level := signal.Negative
	if up {
		level = signal.Positive
	}
	half := func(d time.Duration) {
		b.Edge(Main, t, level)
		level = -level
		t += d
	}
	bit := func(one bool) {
		d := 100 * time.Microsecond
		if one {
			d = 58 * time.Microsecond
		}
		half(d)
		half(d)
	}
	for range 14 {
		bit(true)
	}
	for _, v := range p {
		bit(false)
		for i := 7; i >= 0; i-- {
			bit(v>>i&1 == 1)
		}
	}
	bit(true)
	b.Edge(Main, t, level)
	return t
}

func TestAReflexFiresAtTheEndOfTheRun(t *testing.T) {
	for _, up := range []bool{false, true} {
		b := newBare(t, DeviceConfig{})
		b.told(AskHello{1})
		verify := dcc.Seal(0x74, 0x00, 0x11)
		m := Reflex{Track: Main, Rule: 2, Run: 2, Delay: 250, Level: 60, Width: 1500, Length: 4}
		copy(m.Bytes[:], verify)
		b.does(m)
		b.does(&Load{Count: 1, Steps: [MaxSteps]Step{{3, 0}}})
		b.outputs = nil
		at := b.packet(5*ms, up, verify)
		at = b.packet(at, up, verify)
		fired := at
		at = b.packet(at, up, verify) // one more is no new run
		at = b.packet(at, up, dcc.Seal(0x00, 0x00))
		b.Receive(AppendFrame(nil, TypeAlive, 0, nil))
		b.packet(at, up, verify)
		b.Advance(b.Now() + 40*ms)
		require.Len(t, b.outputs, 2)
		assert.InDelta(t, fired+ms, b.outputs[0].at, 63)
		assert.InDelta(t, fired+7*ms, b.outputs[1].at, 63)
		assert.Equal(t, uint16(60), b.outputs[0].value)
		assert.Equal(t, uint16(3), b.outputs[1].value, "the load that was there before")
		assert.Equal(t, []Message{Occurrence{b.Tick(fired), ReflexFired, Main, 2}}, b.says())
		b.does(Reflex{Track: Main, Rule: 2})
		b.packet(b.packet(b.Now(), up, verify), up, verify)
		b.Advance(b.Now() + 10*ms)
		assert.Empty(t, b.says())
	}
}

func TestAFullFrameEndsItsStretchEarly(t *testing.T) {
	b := newBare(t, DeviceConfig{})
	b.told(AskHello{1})
	b.does(Start{4000, 100})
	next := uint32(0)
	edges := 0
	for i := range 4000 {
		level := signal.Positive
		if i%2 == 1 {
			level = signal.Negative
		}
		b.Edge(i/2%2, time.Duration(i)*10*time.Microsecond, level)
	}
	b.lives(100 * ms)
	for _, m := range b.says() {
		s := m.(*Stretch)
		require.Equal(t, next, s.Start)
		next = s.Start + uint32(s.Length)
		edges += len(s.Items[0]) + len(s.Items[1])
	}
	assert.InDelta(t, 100*16000, next, 64000, "but for what is not sent yet")
	assert.Equal(t, 4000, edges)
}

func TestWhatFindsNoRoomIsDroppedWithItsNumber(t *testing.T) {
	b := newBare(t, DeviceConfig{Room: 100})
	b.told(AskHello{1})
	b.Sent()
	b.does(Start{1000, 0})
	b.Advance(50 * ms)
	sent := len(b.says())
	assert.Less(t, sent, 10)
	status := b.told(AskStatus{})[0].(Status)
	assert.Equal(t, uint16(50-sent), status.FramesDropped)
}

func TestADeviceSamplesTheTracksInTurn(t *testing.T) {
	b := newBare(t, DeviceConfig{Current: func(track int, at time.Duration) physic.ElectricCurrent {
		return physic.ElectricCurrent(track+1) * 100 * physic.MilliAmpere
	}})
	b.told(AskHello{1})
	b.does(Start{4000, 60_000})
	b.lives(300 * ms)
	var counts []uint16
	for _, m := range b.says() {
		if s := m.(*Stretch); len(s.Values) > 0 {
			assert.Equal(t, int(s.First), len(counts)%2)
			assert.Equal(t, uint32(len(counts)+1)*480_000, s.Start+uint32(s.Offset))
			counts = append(counts, s.Values...)
		}
	}
	assert.Equal(t, []uint16{22, 164, 22, 164, 22, 164, 22, 164, 22}, counts)
}

func FuzzDevice(f *testing.F) {
	var seed []byte
	for i, m := range []Message{AskHello{1}, Start{1000, 500}, &Load{Count: 1, Steps: [MaxSteps]Step{{1, 100}}}, Short{0, true, 50},
		Reflex{Run: 1, Width: 3, Length: 3}, AskStatus{}, Supply{}, Safe{}} {
		seed = AppendFrame(seed, m.Type(), uint8(i), m.Append(nil))
	}
	f.Add(seed, uint16(5))
	f.Fuzz(func(t *testing.T, p []byte, pause uint16) {
		b := newBare(t, DeviceConfig{})
		b.told(AskHello{1})
		for len(p) > 0 {
			n := min(len(p), 40)
			b.Receive(p[:n])
			p = p[n:]
			b.Advance(b.Now() + time.Duration(pause)*10*time.Microsecond)
			b.Edge(Main, b.Now(), signal.Level(len(p)%3-1))
		}
		b.says() // whatever was said to it, it speaks well
		b.Advance(b.Now() + 2*time.Second)
		for i := range b.tracks {
			if b.tracks[i].short || b.tracks[i].load.level != 0 || b.stream.started {
				t.Fatal("not safe after two seconds of silence")
			}
		}
	})
}
