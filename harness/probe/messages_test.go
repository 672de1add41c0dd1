package probe

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func drawCommand(t *rapid.T) Message {
	track := rapid.Uint8Range(0, 1)
	u16 := rapid.Uint16()
	switch rapid.IntRange(0, 11).Draw(t, "command") {
	case 0:
		return AskHello{rapid.Byte().Draw(t, "version")}
	case 1:
		return Start{rapid.Uint16Range(MinStretch, MaxStretch).Draw(t, "stretch"),
			rapid.OneOf(rapid.Just(uint16(0)), rapid.Uint16Range(MinSampleInterval, MaxSampleInterval)).Draw(t, "sample")}
	case 2:
		return Stop{}
	case 3:
		return Alive{}
	case 4:
		return AskSync{rapid.Uint32().Draw(t, "token")}
	case 5:
		return AskStatus{}
	case 6:
		m := &Load{Track: track.Draw(t, "track"), Behind: rapid.Bool().Draw(t, "behind"), At: rapid.Uint32().Draw(t, "at"),
			Count: rapid.Uint8Range(0, MaxSteps).Draw(t, "count")}
		for i := range m.Steps[:m.Count] {
			m.Steps[i] = Step{u16.Draw(t, "level"), rapid.Uint16Range(1, 65535).Draw(t, "hold")}
		}
		if m.Count > 0 && rapid.Bool().Draw(t, "for ever") {
			m.Steps[m.Count-1].Hold = 0
		}
		return m
	case 7:
		return Short{track.Draw(t, "track"), rapid.Bool().Draw(t, "on"), rapid.Uint16Range(1, 65535).Draw(t, "most")}
	case 8:
		return Supply{rapid.Bool().Draw(t, "on")}
	case 9:
		return AskMark{u16.Draw(t, "id")}
	case 10:
		m := Reflex{Track: track.Draw(t, "track"), Rule: rapid.Byte().Draw(t, "rule"), Run: rapid.Uint8Range(1, MaxRun).Draw(t, "run"),
			Delay: u16.Draw(t, "delay"), Level: u16.Draw(t, "level"), Width: u16.Draw(t, "width"),
			Length: rapid.OneOf(rapid.Just(uint8(0)), rapid.Uint8Range(MinReflexBytes, MaxReflexBytes)).Draw(t, "length")}
		for i := range m.Bytes[:m.Length] {
			m.Bytes[i] = rapid.Byte().Draw(t, "byte")
		}
		return m
	}
	return Safe{}
}

func drawHello(t *rapid.T) *Hello {
	u16, u32 := rapid.Uint16(), rapid.Uint32()
	h := &Hello{Version: rapid.Uint8Range(1, 255).Draw(t, "version"), Clock: rapid.Uint32Min(1_000_000).Draw(t, "clock"),
		Firmware: u16.Draw(t, "firmware"), Serial: u32.Draw(t, "serial"), Features: Features(u16.Draw(t, "features")),
		CommandBuffer: rapid.Uint16Min(MinCommandBuffer).Draw(t, "buffer"), LoadQueue: rapid.Byte().Draw(t, "queue"),
		ReflexRules: rapid.Byte().Draw(t, "rules"), Name: rapid.StringMatching(`[ -~]{0,24}`).Draw(t, "name")}
	first := rapid.Uint8Range(0, 1).Draw(t, "first id")
	for i := range rapid.Uint8Range(1, MaxTracks).Draw(t, "tracks") {
		h.Tracks = append(h.Tracks, TrackHello{ID: first ^ i, SenseMicroamps: u32.Draw(t, "sense"), SenseZero: u16.Draw(t, "zero"),
			SenseFull: rapid.Uint16Max(MaxCount).Draw(t, "full"), LoadMicroamps: u32.Draw(t, "load"), LoadTop: u16.Draw(t, "top"),
			LoadContinuous: u16.Draw(t, "continuous"), LoadBriefMs: u16.Draw(t, "brief"), ShortMilliohms: u16.Draw(t, "short"),
			ShortMostMs: u16.Draw(t, "most"), ThresholdMillivolts: u16.Draw(t, "threshold"), OffDelay: u16.Draw(t, "off delay")})
	}
	return h
}

func drawStretch(t *rapid.T, tracks int) *Stretch {
	s := &Stretch{Start: rapid.Uint32().Draw(t, "start"), Length: rapid.Uint16Range(1, 65535).Draw(t, "length"),
		Levels: rapid.Uint8Range(0, 15).Draw(t, "levels"), Flags: rapid.Uint8Range(0, 7).Draw(t, "flags"), tracks: tracks}
	for i := range tracks {
		left := int(s.Length) - 1
		for range rapid.IntRange(0, 50).Draw(t, "items") {
			d := rapid.IntRange(0, min(left, MaxDelta)).Draw(t, "delta")
			left -= d
			s.Items[i] = append(s.Items[i], MakeItem(Code(rapid.Uint8Range(0, 3).Draw(t, "code")), uint16(d)))
		}
	}
	for range rapid.IntRange(0, 8).Draw(t, "samples") {
		s.Values = append(s.Values, rapid.Uint16Max(MaxCount).Draw(t, "value"))
	}
	if n := len(s.Values); n > 0 {
		s.Offset = rapid.Uint16Range(0, s.Length-1).Draw(t, "offset")
		if n > 1 {
			s.Spacing = rapid.Uint16Range(0, (s.Length-1-s.Offset)/uint16(n-1)).Draw(t, "spacing")
		}
		s.First = rapid.Uint8Range(0, uint8(tracks-1)).Draw(t, "first")
	}
	return s
}

func drawReport(t *rapid.T, tracks int) Message {
	u8, u16, u32 := rapid.Byte(), rapid.Uint16(), rapid.Uint32()
	switch rapid.IntRange(0, 7).Draw(t, "report") {
	case 0:
		return drawHello(t)
	case 1:
		return drawStretch(t, tracks)
	case 2:
		return Done{u8.Draw(t, "of"), Type(u8.Draw(t, "command")), u32.Draw(t, "tick")}
	case 3:
		return Refused{u8.Draw(t, "of"), Type(u8.Draw(t, "command")), Reason(u8.Draw(t, "reason"))}
	case 4:
		return Sync{u8.Draw(t, "of"), u32.Draw(t, "tick"), u32.Draw(t, "token")}
	case 5:
		return Status{u32.Draw(t, "tick"), u32.Draw(t, "uptime"), u32.Draw(t, "edges"), u16.Draw(t, "samples"), u16.Draw(t, "dropped"),
			u16.Draw(t, "broken"), u16.Draw(t, "overruns"), u16.Draw(t, "refused"), u16.Draw(t, "opened"), u8.Draw(t, "cause")}
	case 6:
		return Occurrence{u32.Draw(t, "tick"), What(u8.Draw(t, "what")), rapid.Uint8Range(0, 1).Draw(t, "track"), u8.Draw(t, "detail")}
	}
	return Mark{u16.Draw(t, "id"), u32.Draw(t, "tick")}
}

func TestEveryCommandComesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := drawCommand(t)
		payload := want.Append(nil)
		require.LessOrEqual(t, len(payload), MaxPayload)
		got, err := ParseCommand(want.Type(), payload)
		require.NoError(t, err)
		require.Equal(t, want, got)
		for n := range payload { // cut anywhere, it is none
			_, err := ParseCommand(want.Type(), payload[:n])
			require.Error(t, err)
		}
		_, err = ParseCommand(want.Type(), append(payload, 0))
		require.Error(t, err)
	})
}

func TestEveryReportComesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tracks := rapid.IntRange(1, MaxTracks).Draw(t, "tracks")
		want := drawReport(t, tracks)
		payload := want.Append(nil)
		require.LessOrEqual(t, len(payload), MaxPayload)
		got, err := ParseReport(want.Type(), payload, tracks)
		require.NoError(t, err)
		if s, ok := got.(*Stretch); ok {
			require.Equal(t, len(payload), s.PayloadBytes())
			require.Equal(t, payload, s.Append(nil))
		} else {
			require.Equal(t, want, got)
		}
		for n := range payload {
			_, err := ParseReport(want.Type(), payload[:n], tracks)
			require.Error(t, err)
		}
		_, err = ParseReport(want.Type(), append(payload, 0), tracks)
		require.Error(t, err)
	})
}

func TestAPayloadThatIsWrongIsSaidWhere(t *testing.T) {
	for _, c := range []struct {
		t       Type
		payload []byte
		want    string
		reason  Reason
	}{
		{TypeStart, []byte{0xf3, 1, 0, 0}, "probe: START to the probe, byte 0: stretch: got 499, want 500 to 4000 µs", ReasonRange},
		{TypeStart, []byte{0xf4, 1, 99, 0}, "probe: START to the probe, byte 2: sample interval: got 99, want 0, or 100 to 60000 µs", ReasonRange},
		{TypeStart, []byte{0xf4, 1, 0}, "probe: START to the probe, byte 2: sample interval: got 1 bytes, want 2", ReasonLength},
		{TypeStop, []byte{1, 2}, "probe: STOP to the probe, byte 0: end: got 2 bytes more, want none", ReasonLength},
		{TypeShort, []byte{2, 1, 1, 0}, "probe: SHORT to the probe, byte 0: track: got 2, want 0 (main) or 1 (programming)", ReasonRange},
		{TypeShort, []byte{1, 1, 0, 0}, "probe: SHORT to the probe, byte 2: most: got 0, want at least 1 ms", ReasonRange},
		{TypeSupply, []byte{2}, "probe: SUPPLY to the probe, byte 0: on: got 2, want 0 or 1", ReasonRange},
		{TypeLoad, []byte{0, 0, 0, 0, 0, 0, 17}, "probe: LOAD to the probe, byte 6: count: got 17, want 0 to 16", ReasonRange},
		{TypeLoad, []byte{0, 0, 0, 0, 0, 0, 2, 1, 0, 0, 0, 1, 0, 0, 0},
			"probe: LOAD to the probe, byte 9: hold: got 0, want at least 1, but in the last step", ReasonRange},
		{TypeReflex, []byte{0, 0, 11, 0, 0, 0, 0, 0, 0, 3, 1, 2, 3}, "probe: REFLEX to the probe, byte 2: run: got 11, want 1 to 10", ReasonRange},
		{TypeReflex, []byte{0, 0, 1, 0, 0, 0, 0, 0, 0, 2, 1, 2}, "probe: REFLEX to the probe, byte 9: length: got 2, want 0, or 3 to 6", ReasonRange},
	} {
		_, err := ParseCommand(c.t, c.payload)
		require.EqualError(t, err, c.want)
		assert.Equal(t, c.reason, reason(err))
	}
	hello := testHello()
	hello.Name = "a\tb"
	_, err := ParseReport(TypeHello, hello.Append(nil), 2)
	require.EqualError(t, err, "probe: HELLO from the probe, byte 19: name: got 0x09, want printable ASCII")
	s := &Stretch{Length: 100, Items: [MaxTracks][]Item{{MakeItem(CodePositive, 60), MakeItem(CodeNegative, 40)}}}
	s.SetTracks(1)
	_, err = ParseReport(TypeStretch, s.Append(nil), 1)
	require.EqualError(t, err, "probe: STRETCH from the probe, byte 11: items: got 100, want before the end of the stretch")
	_, err = ParseCommand(0x0c, nil)
	require.ErrorIs(t, err, ErrUnknownType)
	_, err = ParseReport(0xf0, nil, 1)
	require.ErrorIs(t, err, ErrUnknownType)
}

func TestAStretchIsParsedWithoutAllocation(t *testing.T) {
	s := &Stretch{Length: 16000, tracks: 2, Values: []uint16{1, 2, 3}, Spacing: 100}
	for range 40 {
		s.Items[0] = append(s.Items[0], MakeItem(CodePositive, 100))
		s.Items[1] = append(s.Items[1], MakeItem(CodeNegative, 100))
	}
	payload := s.Append(nil)
	var got Stretch
	require.NoError(t, got.Parse(payload, 2))
	assert.Zero(t, testing.AllocsPerRun(100, func() {
		if err := got.Parse(payload, 2); err != nil {
			t.Fatal(err)
		}
		payload = got.Append(payload[:0])
	}))
}

func FuzzParseCommand(f *testing.F) {
	for _, m := range []Message{AskHello{1}, Start{1000, 500}, &Load{Count: 2, Steps: [MaxSteps]Step{{1, 2}, {3, 0}}},
		Short{1, true, 100}, Reflex{Run: 1, Length: 3}, AskSync{7}, Supply{true}, AskMark{3}} {
		f.Add(uint8(m.Type()), m.Append(nil))
	}
	f.Fuzz(func(t *testing.T, typ uint8, payload []byte) {
		m, err := ParseCommand(Type(typ), payload)
		if err != nil {
			return
		}
		assert.Equal(t, string(payload), string(m.Append(nil)), "what is accepted is written back as it was")
	})
}

func FuzzParseReport(f *testing.F) {
	for _, m := range []Message{testHello(), &Stretch{Length: 10, tracks: 2, Items: [MaxTracks][]Item{{1}, {2}}, Values: []uint16{1}},
		Done{1, TypeLoad, 5}, Refused{1, TypeLoad, 2}, Sync{1, 2, 3}, Status{}, Occurrence{1, 2, 1, 0}, Mark{1, 2}} {
		f.Add(uint8(m.Type()), m.Append(nil), 2)
	}
	f.Fuzz(func(t *testing.T, typ uint8, payload []byte, tracks int) {
		tracks = 1 + tracks&1
		m, err := ParseReport(Type(typ), payload, tracks)
		if err != nil {
			return
		}
		assert.Equal(t, string(payload), string(m.Append(nil)), "what is accepted is written back as it was")
	})
}
