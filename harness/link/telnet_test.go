package link

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// newTelnet is a machine with the options that a serial link has, and what it says first.
func newTelnet() (t *telnet, opening string) {
	t = &telnet{}
	t.welcome([]byte{telnetBinary, telnetSuppressGoAhead, telnetComPort}, []byte{telnetBinary, telnetSuppressGoAhead})
	for _, option := range []byte{telnetBinary, telnetSuppressGoAhead, telnetComPort} {
		t.ask(telnetWILL, option)
	}
	t.ask(telnetDO, telnetBinary)
	t.ask(telnetDO, telnetSuppressGoAhead)
	return t, said(t)
}

// hears feeds p and returns the data in it and what happened.
func hears(t *telnet, p []byte) (data, events string) {
	p = bytes.Clone(p)
	for len(p) > 0 {
		n, used, event := t.decode(p)
		data += string(p[:n])
		if event.kind != nothingHappened {
			events += happening(event) + "\n"
		}
		p = p[used:]
	}
	return data, events
}

func happening(e telnetEvent) string {
	names := map[telnetEventKind]string{weDo: "we do", weDoNot: "we do not", theyDo: "they do", theyDoNot: "they do not",
		subnegotiation: "subnegotiation", subnegotiationTooLong: "subnegotiation too long"}
	return strings.TrimSpace(fmt.Sprintf("%s %d % x", names[e.kind], e.option, e.content))
}

func said(t *telnet) string {
	text := fmt.Sprintf("% x", t.replies)
	t.replies = t.replies[:0]
	return text
}

func unhex(t require.TestingT, text string) []byte {
	p, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
	require.NoError(t, err)
	return p
}

const binaryBothWays = "ff fd 00 ff fb 00" // DO BINARY, WILL BINARY: the answers to what we asked

func TestTelnetOpeningAsksForWhatASerialLineNeeds(t *testing.T) {
	_, opening := newTelnet()
	assert.Equal(t, "ff fb 00 ff fb 03 ff fb 2c ff fd 00 ff fd 03", opening)
}

// The codes and rules are those of RFC 854, 855, 856, 858, 1143 and 2217, from memory: the texts were not at hand. The last
// two were seen from Debian's ser2net 4.3.
func TestTelnetDecodesByItsStandards(t *testing.T) {
	for _, c := range []struct {
		name, heard, data, events, reply string
	}{
		{"text is data", "68 69", "hi", "", ""},
		{"RFC 854: IAC IAC is the byte 255", "ff ff", "\xff", "", ""},
		{"RFC 854: NOP, data mark, go ahead and the like are passed over", "61 ff f1 ff f2 ff f9 62", "ab", "", ""},
		{"RFC 854: commands that nobody knows are passed over", "61 ff 00 62", "ab", "", ""},
		{"RFC 854: CR NUL is a carriage return, CR LF stays", "0d 00 61 0d 0a 00", "\ra\r\n\x00", "", ""},
		{"RFC 854: of two NUL after a carriage return, one is data", "0d 00 00", "\r\x00", "", ""},
		{"RFC 856: in BINARY, CR NUL is two bytes", binaryBothWays + "0d 00 ff ff", "\r\x00\xff", "we do 0\nthey do 0\n", ""},
		{"RFC 855: agreement to what we asked needs no answer", "ff fd 2c ff fb 03", "", "we do 44\nthey do 3\n", ""},
		{"RFC 854: what is agreed already is not answered", "ff fd 2c ff fd 2c ff fd 2c", "", "we do 44\n", ""},
		{"RFC 855: refusal of what we asked is not answered", "ff fe 2c ff fc 00", "", "we do not 44\nthey do not 0\n", ""},
		{"RFC 854: refusal of what is off is not answered", "ff fe 2d ff fc 2d", "", "", ""},
		{"RFC 855: options that we do not know are refused", "ff fb 01 ff fd 18", "", "", "ff fe 01 ff fc 18"},
		{"RFC 2217: COM port control is the client's to do", "ff fb 2c", "", "", "ff fe 2c"},
		{"RFC 854: what was agreed may be taken back, and that is acknowledged", "ff fd 2c ff fe 2c", "", "we do 44\nwe do not 44\n", "ff fc 2c"},
		{"RFC 1143: an option may be agreed on again after a refusal", "ff fc 03 ff fb 03", "", "they do not 3\nthey do 3\n", "ff fd 03"},
		{"RFC 855: a subnegotiation is told", "61 ff fa 18 01 ff f0 62", "ab", "subnegotiation 24 01\n", ""},
		{"RFC 855: IAC IAC in a subnegotiation is the byte 255", "ff fa 2c 65 00 00 ff ff 00 ff f0", "", "subnegotiation 44 65 00 00 ff 00\n", ""},
		{"a subnegotiation without content is told", "ff fa 2c ff f0", "", "subnegotiation 44\n", ""},
		{"a command in a subnegotiation ends it", "ff fa 2c 65 ff fd 2c 61", "a", "we do 44\n", ""},
		{"a subnegotiation in a subnegotiation begins anew", "ff fa 2c 65 ff fa 2c 6b 00 ff f0", "", "subnegotiation 44 6b 00\n", ""},
		{"SE alone is passed over", "61 ff f0 62", "ab", "", ""},
		{"ser2net's greeting", "ff fb 03 ff fd 03 ff fb 01 ff fe 01 ff fd 00 ff fb 00 ff fd 2c", "",
			"they do 3\nwe do 3\nwe do 0\nthey do 0\nwe do 44\n", "ff fe 01"},
		{"ser2net's notification and confirmation", "ff fa 2c 6b 00 ff f0 ff fa 2c 65 00 00 25 80 ff f0", "",
			"subnegotiation 44 6b 00\nsubnegotiation 44 65 00 00 25 80\n", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			whole, _ := newTelnet()
			data, events := hears(whole, unhex(t, c.heard))
			assert.Equal(t, []string{c.data, c.events, c.reply}, []string{data, events, said(whole)})
			single, _ := newTelnet()
			data, events = "", ""
			for _, b := range unhex(t, c.heard) {
				d, e := hears(single, []byte{b})
				data, events = data+d, events+e
			}
			assert.Equal(t, []string{c.data, c.events, c.reply}, []string{data, events, said(single)}, "byte by byte")
		})
	}
}

func TestTelnetSubnegotiationThatIsTooLongIsToldAndCostsNoMemory(t *testing.T) {
	machine, _ := newTelnet()
	long := append(unhex(t, "ff fa 2c"), bytes.Repeat([]byte{'x'}, 1<<20)...)
	data, events := hears(machine, append(long, unhex(t, "ff f0 61")...))
	assert.Equal(t, "a", data)
	assert.Equal(t, "subnegotiation too long 44\n", events)
	assert.LessOrEqual(t, cap(machine.content), 2*longestSubnegotiation)
}

func TestTelnetDoesNotNegotiateWithoutEnd(t *testing.T) {
	machine, _ := newTelnet()
	for range 1000 {
		hears(machine, unhex(t, "ff fb 01 ff fb 03 ff fc 03 ff fd 18"))
	}
	assert.Equal(t, 3*mostReplies*3, len(machine.replies), "refused ECHO and TERMINAL-TYPE, and the switching of SUPPRESS-GO-AHEAD")
}

// Two of our machines, each with what the other needs, agree with one message each: no answer is answered.
func TestTelnetTwoEndsAgreeAndFallSilent(t *testing.T) {
	client, server := &telnet{}, &telnet{}
	client.welcome([]byte{telnetBinary, telnetComPort}, []byte{telnetBinary})
	server.welcome([]byte{telnetBinary, telnetSuppressGoAhead}, []byte{telnetBinary, telnetSuppressGoAhead, telnetComPort})
	for _, option := range []byte{telnetBinary, telnetComPort} {
		client.ask(telnetWILL, option)
	}
	client.ask(telnetDO, telnetBinary)
	rounds := 0
	for ; len(client.replies)+len(server.replies) > 0; rounds++ {
		require.Less(t, rounds, 5)
		toServer, toClient := bytes.Clone(client.replies), bytes.Clone(server.replies)
		client.replies, server.replies = nil, nil
		hears(server, toServer)
		hears(client, toClient)
	}
	assert.Equal(t, optionOn, client.ours[telnetComPort].state)
	assert.Equal(t, optionOn, client.theirs[telnetBinary].state)
	assert.Equal(t, optionOn, server.theirs[telnetComPort].state)
	assert.Equal(t, 2, rounds)
}

func TestTelnetCarriesEveryByteHoweverItIsCut(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := rapid.SliceOf(rapid.OneOf(rapid.Byte(), rapid.SampledFrom([]byte{0, '\r', 255, 240, 250}))).Draw(t, "data")
		machine, _ := newTelnet()
		hears(machine, unhex(t, binaryBothWays))
		wire := appendEscaped(nil, want)
		var got string
		for len(wire) > 0 {
			n := rapid.IntRange(1, len(wire)).Draw(t, "piece")
			data, events := hears(machine, wire[:n])
			require.Empty(t, events)
			got, wire = got+data, wire[n:]
		}
		require.Equal(t, string(want), got)
	})
}

func TestTelnetSubnegotiationsAreReadAsTheyAreWritten(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := rapid.SliceOfN(rapid.Byte(), 0, longestSubnegotiation).Draw(t, "content")
		machine, _ := newTelnet()
		_, events := hears(machine, appendSubnegotiation(nil, telnetComPort, want...))
		require.Equal(t, happening(telnetEvent{kind: subnegotiation, option: telnetComPort, content: want})+"\n", events)
	})
}

// FuzzTelnet lets a server say anything, in pieces cut at the places that cuts tell: data and events must not depend on the
// pieces, memory and replies are bounded.
func FuzzTelnet(f *testing.F) {
	f.Add(unhex(f, "ff fb 03 ff fd 03 ff fb 01 ff fe 01 ff fd 00 ff fb 00 ff fd 2c"), []byte{1, 2, 3})
	f.Add(unhex(f, "ff fa 2c 65 00 00 ff ff 00 ff f0 61 0d 00 62 0d 0a"), []byte{1})
	f.Add(append(unhex(f, binaryBothWays+"ff fa"), bytes.Repeat([]byte{1}, 300)...), []byte{100})
	f.Add(bytes.Repeat(unhex(f, "ff fb 01"), 100), []byte{7})
	f.Fuzz(func(t *testing.T, server, cuts []byte) {
		whole, _ := newTelnet()
		wantData, wantEvents := hears(whole, server)
		cut, _ := newTelnet()
		data, events := "", ""
		for rest := server; len(rest) > 0; {
			n := len(rest)
			if len(cuts) > 0 {
				n, cuts = min(n, int(cuts[0])), cuts[1:]
			}
			d, e := hears(cut, rest[:n])
			data, events, rest = data+d, events+e, rest[n:]
		}
		require.Equal(t, wantData, data)
		require.Equal(t, wantEvents, events)
		require.Equal(t, whole.replies, cut.replies)
		require.LessOrEqual(t, len(data), len(server))
		require.LessOrEqual(t, len(whole.replies), min(len(server), 2*256*mostReplies*3))
		require.LessOrEqual(t, len(whole.content), longestSubnegotiation)
	})
}

func BenchmarkTelnetDecode(b *testing.B) {
	data := make([]byte, 4096)
	for i := range data {
		data[i] = byte(i)
	}
	wire := appendEscaped(nil, data)
	machine, _ := newTelnet()
	hears(machine, unhex(b, binaryBothWays))
	p := make([]byte, len(wire))
	b.SetBytes(int64(len(wire)))
	b.ReportAllocs()
	for b.Loop() {
		copy(p, wire)
		for rest := p; len(rest) > 0; {
			_, used, _ := machine.decode(rest)
			rest = rest[used:]
		}
	}
}

func BenchmarkTelnetEncode(b *testing.B) {
	data := make([]byte, 4096)
	for i := range data {
		data[i] = byte(i)
	}
	var wire []byte
	b.SetBytes(int64(len(data)))
	b.ReportAllocs()
	for b.Loop() {
		wire = appendEscaped(wire[:0], data)
	}
}
