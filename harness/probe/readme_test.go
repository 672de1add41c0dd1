package probe

import (
	"encoding/hex"
	"fmt"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func page(t *testing.T) string {
	p, err := os.ReadFile("README.md")
	require.NoError(t, err)
	return string(p)
}

func TestTheWorkedExampleOfThePageIsRight(t *testing.T) {
	text := page(t)
	bytesOf := func(name string) []byte {
		line := regexp.MustCompile(`(?m)^` + name + ` +([0-9a-f ]+)$`).FindStringSubmatch(text)
		require.NotNil(t, line, name)
		p, err := hex.DecodeString(strings.ReplaceAll(line[1], " ", ""))
		require.NoError(t, err)
		return p
	}
	plain, line := bytesOf("plain"), bytesOf("line")
	s := &Stretch{Start: 0x10000, Length: 16000, Levels: 1 | 3<<2, Offset: 4000, Spacing: 4000, Values: []uint16{22, 164}}
	s.Items[0] = []Item{MakeItem(CodeNegative, 928), MakeItem(CodePositive, 928), MakeItem(CodeOff, 1760)}
	s.SetTracks(2)
	assert.Equal(t, line, AppendFrame(nil, TypeStretch, 5, s.Append(nil)))
	assert.Equal(t, plain[2:len(plain)-2], s.Append(nil))
	var f Framer
	frame, _, ok := f.Next(line)
	require.True(t, ok)
	assert.Equal(t, plain[:2], []byte{byte(frame.Type), frame.Seq})
	m, err := ParseReport(frame.Type, frame.Payload, 2)
	require.NoError(t, err)
	assert.Equal(t, CodePositive, m.(*Stretch).Level(Main))
	assert.Equal(t, CodeNone, m.(*Stretch).Level(Programming))
}

func TestThePageHasEveryTypeReasonEventAndFeature(t *testing.T) {
	text := page(t)
	for code, name := range typeNames {
		assert.Contains(t, text, fmt.Sprintf("| 0x%02X | %s |", uint8(code), name))
	}
	assert.Contains(t, text, fmt.Sprintf("at least %d)", MinCommandBuffer))
	for _, line := range []string{"Reasons: 1 unknown command, 2 length, 3 range, 4 not fitted, 5 busy, 6 order",
		"Events: 1 short opened, host silent; 2 short opened, its time was over; 3 load off, host silent; 4 load off, rating; 5 reflex fired"} {
		assert.Contains(t, text, line)
	}
	assert.Equal(t, [...]Reason{1, 2, 3, 4, 5, 6},
		[...]Reason{ReasonUnknown, ReasonLength, ReasonRange, ReasonNotFitted, ReasonBusy, ReasonOrder})
	assert.Equal(t, [...]What{1, 2, 3, 4, 5, 6}, [...]What{ShortOpenedSilent, ShortOpenedTime, LoadOffSilent, LoadOffRating,
		ReflexFired, ReflexesOffSilent})
	assert.Equal(t, [...]Features{1, 2, 4, 8, 16, 32, 64}, [...]Features{SeesEdges, SeesOff, SeesCurrent, HasLoad, HasShort, HasSupply, HasReflex})
	assert.Contains(t, text, recordingTitle)
	for _, kind := range []byte{recordReceived, recordSent, recordEpoch, recordLoss, recordGap} {
		assert.Contains(t, text, "`"+string(rune(kind))+"`")
	}
}
