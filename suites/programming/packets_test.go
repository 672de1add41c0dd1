package programming

import (
	"bufio"
	"os"
	"strconv"
	"strings"
	"testing"

	"bufferstop/harness/dcc"
	"bufferstop/harness/station"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// typed is a packet of service mode that was typed from the standard.
type typed struct {
	method station.Method
	what   string // page, write, verify, write-bit, verify-bit
	number []int  // the CV, then the value, or bit and value
	packet dcc.Packet
	source string
}

func typedPackets(t *testing.T) []typed {
	file, err := os.Open("testdata/service.txt")
	require.NoError(t, err)
	defer file.Close()
	var all []typed
	for lines := bufio.NewScanner(file); lines.Scan(); {
		line := strings.TrimSpace(lines.Text())
		if line == "" || line[0] == '#' {
			continue
		}
		parts := strings.Split(line, ";")
		require.Len(t, parts, 3, line)
		words := strings.Fields(parts[0])
		p := typed{method: station.Method(words[0]), what: words[1], source: strings.TrimSpace(parts[2])}
		for _, w := range words[2:] {
			n, err := strconv.Atoi(w)
			require.NoError(t, err, line)
			p.number = append(p.number, n)
		}
		for _, b := range strings.Fields(parts[1]) {
			require.Len(t, b, 8, line)
			n, err := strconv.ParseUint(b, 2, 8)
			require.NoError(t, err, line)
			p.packet = append(p.packet, byte(n))
		}
		require.True(t, p.packet.Valid(), "the error byte of %q", line)
		all = append(all, p)
	}
	return all
}

// instruction is what the suite takes a typed packet for, by harness/dcc.
func (p typed) instruction(t *testing.T) dcc.Instruction {
	cv := p.number[0]
	page, register, err := dcc.CVPage(cv)
	require.NoError(t, err)
	if p.method != station.Paged {
		page = 1
		register, _ = dcc.CVRegister(cv)
	}
	write := strings.HasPrefix(p.what, "write")
	switch {
	case p.what == "page" && page == 1:
		return dcc.PagePreset{}
	case p.what == "page":
		return dcc.Register{Write: true, Register: dcc.PageRegister, Value: page}
	case strings.HasSuffix(p.what, "bit"):
		return dcc.DirectBit{CV: cv, Write: write, Bit: p.number[1], Value: byte(p.number[2])}
	case p.method == station.Direct && write:
		return dcc.DirectWrite{CV: cv, Value: byte(p.number[1])}
	case p.method == station.Direct:
		return dcc.DirectVerify{CV: cv, Value: byte(p.number[1])}
	}
	return dcc.Register{Write: write, Register: register, Value: byte(p.number[1])}
}

func TestThePacketsOfEachMethodAreThoseThatTheStandardPrints(t *testing.T) {
	seen := map[station.Method]int{}
	for _, p := range typedPackets(t) {
		want := p.instruction(t)
		got, err := want.Packet()
		require.NoError(t, err)
		assert.Equal(t, p.packet.String(), got.String(), "%s: %v", p.source, want)
		assert.Equal(t, want, dcc.DecodeService(p.packet), p.source)
		if p.method == station.AddressOnly && p.what != "page" {
			same, err := dcc.AddressOnly{Write: p.what == "write", Address: p.number[1]}.Packet()
			require.NoError(t, err)
			assert.Equal(t, p.packet.String(), same.String(), p.source)
		}
		seen[p.method]++
	}
	for _, m := range []station.Method{station.Direct, station.AddressOnly, station.Register, station.Paged} {
		assert.Greater(t, seen[m], 4, m)
	}
}

// What the checks of the sequences ask of a packet, asked of the typed ones.
func TestTypedPacketsBelongToTheirMethod(t *testing.T) {
	for _, p := range typedPackets(t) {
		i := dcc.DecodeService(p.packet)
		page, writes := pageOf(i)
		assert.Equal(t, p.what == "page", writes, p.source)
		if writes && p.method == station.Paged {
			assert.Equal(t, byte((p.number[0]-1)/4+1), page, p.source)
		}
		_, instruction := registerOf(i)
		assert.Equal(t, p.method != station.Direct && p.what != "page", instruction, p.source)
		assert.True(t, belongs(p.method, i), p.source)
		question := p.what == "verify-bit" && p.number[0] == 8 && p.number[1] == 7
		assert.Equal(t, p.method != station.Direct || question, belongs(station.Paged, i), p.source)
		assert.Equal(t, p.method == station.Direct || p.what == "page" && page == 1, belongs(station.Direct, i), p.source)
	}
}
