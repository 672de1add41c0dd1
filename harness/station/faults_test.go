package station_test

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
	"time"

	"bufferstop/harness/link"
	"bufferstop/harness/link/linktest"
	"bufferstop/harness/station"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
)

// repeated runs a fault test many times, each with its own seed. Nothing may be left running after it.
func repeated(t *testing.T, test func(t *testing.T, seed uint64)) {
	t.Helper()
	defer goleak.VerifyNone(t)
	n := uint64(100)
	if testing.Short() {
		n = 10
	}
	for seed := range n {
		test(t, seed)
		if t.Failed() {
			t.Fatalf("with seed %d", seed)
		}
	}
}

// firmware is a station that speaks the basic dialect and refuses what it does not understand. It works in the goroutine
// of the driver.
type firmware struct {
	t     *testing.T
	clock *link.VirtualClock
	near  *link.PipeEnd
	far   *link.PipeEnd
	rest  string
	// in and out are the line ends; without one, each write is one message.
	in, out string
	// answer, if set, goes before the usual answers.
	answer func(line string) (text string, known bool)
}

func runFirmware(t *testing.T) *firmware {
	f := &firmware{t: t, clock: new(link.VirtualClock), in: "\n", out: "\n"}
	f.near, f.far = link.Pipe(f.clock, time.Millisecond)
	f.far.OnArrival(f.listen)
	return f
}

func (f *firmware) listen() {
	p := make([]byte, 4096)
	n, err := f.far.Read(f.t.Context(), p, 0)
	if err != nil {
		return
	}
	f.rest += string(p[:n])
	for {
		line, rest, found := strings.Cut(f.rest, f.in)
		if !found {
			return
		}
		f.rest = rest
		if text := f.says(line); text != "" {
			f.say(text)
		}
	}
}

func (f *firmware) say(text string) {
	f.clock.At(f.clock.Now()+5*time.Millisecond, func() {
		_, _ = f.far.Write(context.Background(), []byte(text+f.out), 0)
	})
}

func (f *firmware) says(line string) string {
	if f.answer != nil {
		if text, known := f.answer(line); known {
			return text
		}
	}
	var cv int
	switch {
	case line == "there?":
		return "here"
	case line == "who":
		return "mine 1.0"
	case line == "halt", line == "anew":
		return "ok"
	}
	if _, err := fmt.Sscanf(line, "cv %d", &cv); err == nil && line == fmt.Sprintf("cv %d", cv) && cv < 1025 {
		return strconv.Itoa(cv % 256)
	}
	return "no 1"
}

// bounded is more than anything that goes wrong may take on the rig's clock: coming into step, proving the line and
// repeating, each as long as the dialect allows.
const bounded = 60 * time.Second

func TestPlugPulledAnywhereInACommandIsTheLinksFault(t *testing.T) {
	repeated(t, func(t *testing.T, seed uint64) {
		f := runFirmware(t)
		plug := linktest.Plugged(f.near, f.clock)
		plug.Limit, plug.Absent = 5*time.Second, time.Hour
		d := station.NewDriver(basic(t, ""), plug, f.clock)
		_, err := d.Identify(t.Context())
		require.NoError(t, err)
		command := len("cv 77\n")
		switch at := int(seed) % (command + 3); {
		case at <= command:
			plug.PullAfterSent(at) // 0 is before the first byte, the length of the command after its last
		default:
			plug.PullAfterReceived(at - command)
		}
		begun := f.clock.Now()
		_, err = d.ReadCV(t.Context(), 77, station.Paged)
		require.ErrorIs(t, err, link.ErrClosed)
		found := d.Diagnose(t.Context(), err)
		assert.Equal(t, station.LinkFault, found.Fault, found.Why)
		assert.Less(t, f.clock.Now()-begun, bounded)
		require.ErrorIs(t, d.StopAll(t.Context()), link.ErrClosed)
		assert.Less(t, f.clock.Now()-begun, bounded, "it is waited for, not for ever")
		assert.Zero(t, d.Restarts())
	})
}

func TestLinkThatComesBackCarriesOn(t *testing.T) {
	repeated(t, func(t *testing.T, seed uint64) {
		f := runFirmware(t)
		plug := linktest.Plugged(f.near, f.clock)
		plug.Limit, plug.Absent = 5*time.Second, time.Duration(seed)*10*time.Millisecond
		plug.Lost = func() { f.say("ready 2.0") } // the board starts anew with its port
		f.answer = func(line string) (string, bool) {
			switch line {
			case "prompt off":
				return "off it is", true
			case "events on":
				return "on it is", true
			}
			return "", false
		}
		d := station.NewDriver(basic(t, announced), plug, f.clock)
		_, err := d.Identify(t.Context())
		require.NoError(t, err)
		if seed%2 == 0 {
			plug.PullAfterSent(int(seed) % 7)
		} else {
			plug.PullAfterReceived(1)
		}
		_, err = d.ReadCV(t.Context(), 77, station.Paged)
		require.ErrorIs(t, err, link.ErrClosed)
		value, err := d.ReadCV(t.Context(), 78, station.Paged)
		require.NoError(t, err)
		assert.EqualValues(t, 78, value)
		assert.Equal(t, 1, d.LinkHealth().Reopened)
		assert.Zero(t, d.Restarts(), "a restart with the link is not held against the station")
	})
}

func TestPeerThatStopsReadingIsTheLinksFault(t *testing.T) {
	repeated(t, func(t *testing.T, seed uint64) {
		f := runFirmware(t)
		d := linktest.Unread(f.near, f.clock, 1<<20)
		driver := station.NewDriver(basic(t, ""), d, f.clock)
		_, err := driver.Identify(t.Context())
		require.NoError(t, err)
		d.Room = int(seed) % 6
		begun := f.clock.Now()
		_, err = driver.ReadCV(t.Context(), 77, station.Paged)
		require.ErrorIs(t, err, station.ErrNotTaken)
		found := driver.Diagnose(t.Context(), err)
		assert.Equal(t, station.LinkFault, found.Fault, found.Why)
		assert.Less(t, f.clock.Now()-begun, bounded)
		d.Room = 1 << 20
		value, err := driver.ReadCV(t.Context(), 78, station.Paged)
		require.NoError(t, err)
		assert.EqualValues(t, 78, value)
	})
}

func TestPeerThatFloodsHoldsNobody(t *testing.T) {
	repeated(t, func(t *testing.T, seed uint64) {
		f := runFirmware(t)
		text := []string{"x", "\n", "here and there\n", "\x00\xff", strings.Repeat("long ", 2000) + "\n", "7\n", "ready 1\n", "hot 9\n"}[seed%8]
		from := 200*time.Millisecond + time.Duration(seed)*time.Millisecond
		flooded := linktest.Endless(f.near, f.clock, text, 1000<<(seed%6), from)
		d := station.NewDriver(basic(t, announced+inParts), flooded, f.clock)
		f.answer = func(line string) (string, bool) {
			switch line {
			case "prompt off":
				return "off it is", true
			case "events on":
				return "on it is", true
			}
			return "", false
		}
		_, err := d.Identify(t.Context())
		require.NoError(t, err)
		require.NoError(t, f.clock.Wait(t.Context(), from))
		for range 3 {
			begun := f.clock.Now()
			err = d.StopAll(t.Context())
			if err != nil {
				found := d.Diagnose(t.Context(), err)
				if text != "ready 1\n" { // one that announces its start without end is in a boot loop
					assert.NotEqual(t, station.StationFault, found.Fault, "%q: %v: %s", text, err, found.Why)
				}
			}
			assert.Less(t, f.clock.Now()-begun, bounded, "%q", text)
		}
		heard, _ := d.Unsolicited()
		assert.LessOrEqual(t, len(heard), 1000)
		for _, u := range heard {
			assert.LessOrEqual(t, len(u.Text), 4096)
		}
	})
}

// On a noisy line a wrong value can come of a flipped digit; what fails is never laid at the station's door.
func TestNoiseIsNeverTheStationsFault(t *testing.T) {
	for _, rate := range []float64{1e-5, 1e-4, 1e-3, 1e-2, 0.2} { // of a bit to flip
		t.Run(fmt.Sprint(rate), func(t *testing.T) {
			failed, linkFaults := 0, 0
			repeated(t, func(t *testing.T, seed uint64) {
				f := runFirmware(t)
				noisy := linktest.Noise(f.near, 0, seed)
				d := station.NewDriver(basic(t, announced), noisy, f.clock)
				f.answer = func(line string) (string, bool) {
					switch line {
					case "prompt off":
						return "off it is", true
					case "events on":
						return "on it is", true
					}
					return "", false
				}
				_, err := d.Identify(t.Context())
				require.NoError(t, err)
				noisy.Rate = rate
				for cv := range 20 {
					begun := f.clock.Now()
					_, err := d.ReadCV(t.Context(), cv+100, station.Paged)
					if err == nil {
						continue
					}
					failed++
					found := d.Diagnose(t.Context(), err)
					assert.NotEqual(t, station.StationFault, found.Fault, "%v: %s", err, found.Why)
					if found.Fault == station.LinkFault {
						linkFaults++
					}
					assert.Less(t, f.clock.Now()-begun, bounded)
				}
			})
			if rate >= 1e-3 {
				assert.Positive(t, failed)
				assert.Positive(t, linkFaults)
			}
		})
	}
}

func TestSplitAndMergedLinesAreTheSameLines(t *testing.T) {
	repeated(t, func(t *testing.T, seed uint64) {
		f := runFirmware(t)
		pieces := linktest.Pieces(f.near, f.clock, 20*time.Millisecond, seed)
		d := station.NewDriver(basic(t, ""), pieces, f.clock)
		for cv := range 10 {
			value, err := d.ReadCV(t.Context(), cv+1, station.Paged)
			require.NoError(t, err)
			assert.EqualValues(t, cv+1, value)
		}
		commands := make([]station.Command, 30)
		for i := range commands {
			commands[i] = station.ReadCVCommand(i+1, station.Paged)
		}
		report, err := d.Send(t.Context(), commands...)
		require.NoError(t, err)
		assert.Equal(t, 30, report.Done, "%+v", report)
		assert.Equal(t, station.LinkHealth{}, d.LinkHealth())
	})
}

func TestLineEndsOfEveryKind(t *testing.T) {
	for name, c := range map[string]struct{ out, line string }{
		"LF":                  {"\n", "[line]\nend = \"\\n\"\n"},
		"CR":                  {"\r", "[line]\nanswer_end = \"\\r\"\n"},
		"CRLF":                {"\r\n", "[line]\nanswer_end = \"\\r\\n\"\n"},
		"LF, tolerant":        {"\n", "[line]\ntolerant = true\n"},
		"CR, tolerant":        {"\r", "[line]\ntolerant = true\n"},
		"CRLF, tolerant":      {"\r\n", "[line]\ntolerant = true\n"},
		"LFCR, tolerant":      {"\n\r", "[line]\ntolerant = true\n"},
		"empty lines between": {"\r\n\r\n", "[line]\ntolerant = true\n"},
		"none":                {"", "[line]\nanswer_gap = \"15ms\"\n"},
	} {
		t.Run(name, func(t *testing.T) {
			repeated(t, func(t *testing.T, seed uint64) {
				f := runFirmware(t)
				f.out = c.out
				var l link.Link = f.near
				if seed%2 == 1 {
					l = linktest.Pieces(f.near, f.clock, 3*time.Millisecond, seed)
				}
				d := station.NewDriver(basic(t, c.line), l, f.clock)
				for cv := range 5 {
					value, err := d.ReadCV(t.Context(), cv+int(seed)%200+1, station.Paged)
					require.NoError(t, err)
					assert.EqualValues(t, cv+int(seed)%200+1, value)
				}
				assert.Equal(t, station.LinkHealth{}, d.LinkHealth())
			})
		})
	}
}

func TestStationThatRestartsByItselfOnceIsToldSo(t *testing.T) {
	repeated(t, func(t *testing.T, seed uint64) {
		f := runFirmware(t)
		f.answer = func(line string) (string, bool) {
			switch line {
			case "prompt off":
				return "off it is", true
			case "events on":
				return "on it is", true
			}
			return "", false
		}
		d := station.NewDriver(basic(t, announced), f.near, f.clock)
		_, err := d.Identify(t.Context())
		require.NoError(t, err)
		begun := f.clock.Now()
		at := begun + time.Duration(rand.New(rand.NewPCG(seed, 3)).Int64N(int64(300*time.Millisecond)))
		f.clock.At(at, func() { _, _ = f.far.Write(context.Background(), []byte("ready 1.0\n"), 0) })
		for f.clock.Now() < begun+500*time.Millisecond {
			if err := d.StopAll(t.Context()); err != nil {
				require.ErrorIs(t, err, station.ErrRestarted)
				assert.Equal(t, station.StationFault, d.Diagnose(t.Context(), err).Fault)
			}
			require.NoError(t, f.clock.Wait(t.Context(), 7*time.Millisecond))
		}
		require.NoError(t, d.Listen(t.Context()))
		assert.Equal(t, 1, d.Restarts())
		assert.Nil(t, d.BootLoop())
	})
}

func TestBootLoopIsFoundWithItsCount(t *testing.T) {
	repeated(t, func(t *testing.T, seed uint64) {
		f := runFirmware(t)
		d := station.NewDriver(basic(t, "[[event]]\nname = \"up\"\npattern = \"ready .*\"\nrestart = true\n"), f.near, f.clock)
		_, err := d.Identify(t.Context())
		require.NoError(t, err)
		// It comes up, and goes down again before it has answered anything.
		f.answer = func(string) (string, bool) { return "", true }
		every := time.Duration(20+3*seed) * time.Millisecond
		var boot func()
		boot = func() {
			_, _ = f.far.Write(context.Background(), []byte("ready 1.0\n"), 0)
			f.clock.At(f.clock.Now()+every, boot)
		}
		f.clock.At(f.clock.Now()+time.Duration(seed)*time.Millisecond, boot)
		var loop *station.BootLoop
		for range 10 {
			begun := f.clock.Now()
			err := d.StopAll(t.Context())
			require.Error(t, err)
			assert.Less(t, f.clock.Now()-begun, bounded)
			if errors.As(err, &loop) {
				break
			}
		}
		require.NotNil(t, loop)
		assert.GreaterOrEqual(t, loop.Count, 3)
		assert.Positive(t, loop.Since)
		assert.Equal(t, station.StationFault, d.Diagnose(t.Context(), loop).Fault)
	})
}

// torrent is a link that always has something to read, at once.
type torrent struct {
	text string
	said int
}

func (s *torrent) Read(ctx context.Context, p []byte, _ time.Duration) (int, error) {
	for i := range p {
		p[i] = s.text[s.said%len(s.text)]
		s.said++
	}
	return len(p), ctx.Err()
}

func (s *torrent) Write(ctx context.Context, p []byte, _ time.Duration) (int, error) {
	return len(p), ctx.Err()
}
func (s *torrent) Close() error { return nil }

// On the wall's clock a peer can be faster than we read.
func TestPeerThatIsFasterThanItIsReadHoldsNobody(t *testing.T) {
	t.Cleanup(func() { goleak.VerifyNone(t) })
	for name, text := range map[string]string{"events": "hot 9\n", "answers": "here\n", "no line end": "x"} {
		t.Run(name, func(t *testing.T) {
			t.Parallel() // each takes seconds of the wall's clock
			d := station.NewDriver(basic(t, inParts), &torrent{text: text}, link.NewWallClock())
			begun := time.Now()
			require.Error(t, d.StopAll(t.Context()))
			assert.Less(t, time.Since(begun), 30*time.Second)
		})
	}
}

// A station that has been in step and then talks without pause, as fast as it can.
func TestOperationOverATorrentEndsInItsTime(t *testing.T) {
	f := runFirmware(t)
	d := station.NewDriver(basic(t, inParts), f.near, f.clock)
	require.NoError(t, d.StopAll(t.Context()))
	f.answer = func(string) (string, bool) { return strings.Repeat("hot 9\n", 400000) + "hot 9", true }
	begun := f.clock.Now()
	err := d.StopAll(t.Context())
	require.ErrorIs(t, err, station.ErrNoAnswer)
	assert.Less(t, f.clock.Now()-begun, time.Second)
}
