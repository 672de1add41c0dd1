package link_test

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"time"

	"bufferstop/harness/link"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestRecorderLogsEveryByteWithTimeAndDirection(t *testing.T) {
	var clock link.VirtualClock
	near, far := link.Pipe(&clock, 0)
	recorder := link.Record(near, &clock)
	require.NoError(t, clock.Wait(t.Context(), time.Millisecond))
	write(t, recorder, "*IDN?\n")
	clock.At(3250*time.Microsecond, func() { write(t, far, "a\x1b[2J\xff\n") })
	_, err := read(t, recorder, time.Second)
	require.NoError(t, err)
	_, err = read(t, recorder, time.Second)
	require.ErrorIs(t, err, link.ErrTimeout)
	require.NoError(t, recorder.Close())
	_, err = read(t, near, 0)
	require.ErrorIs(t, err, link.ErrClosed)

	var text strings.Builder
	n, err := recorder.Log().WriteTo(&text)
	require.NoError(t, err)
	assert.Equal(t, "bufferstop link log 1\n"+
		"0.001000000 > \"*IDN?\\n\"\n"+
		"0.003250000 < \"a\\x1b[2J\\xff\\n\"\n", text.String())
	assert.EqualValues(t, text.Len(), n)
	assert.Equal(t, "*IDN?\n", string(recorder.Log().Carried(link.Sent)))
	assert.Equal(t, "a\x1b[2J\xff\n", string(recorder.Log().Carried(link.Received)))
}

func TestRecorderJoinsBytesOfOneLineThatComeOneByOne(t *testing.T) {
	var clock link.VirtualClock
	near, far := link.Pipe(&clock, 0)
	recorder := link.Record(near, &clock)
	for i, c := range "1;0\n2;0\n" {
		at := time.Duration(i) * time.Millisecond
		if c == '2' {
			at += 500 * time.Microsecond
		}
		clock.At(at, func() { write(t, far, string(c)) })
	}
	clock.At(20*time.Millisecond, func() { write(t, far, "a") })
	clock.At(22*time.Millisecond, func() { write(t, far, "b") })
	clock.At(24*time.Millisecond+1, func() { write(t, far, "c") })
	for {
		if _, err := read(t, recorder, 50*time.Millisecond); err != nil {
			require.ErrorIs(t, err, link.ErrTimeout)
			break
		}
	}
	assert.Equal(t, []link.Entry{
		{Time: 3 * time.Millisecond, Direction: link.Received, Bytes: []byte("1;0\n")},
		{Time: 7 * time.Millisecond, Direction: link.Received, Bytes: []byte("2;0\n")},
		{Time: 22 * time.Millisecond, Direction: link.Received, Bytes: []byte("ab")},
		{Time: 24*time.Millisecond + 1, Direction: link.Received, Bytes: []byte("c")},
	}, recorder.Log().Entries)
}

func TestRecorderKeepsNoMoreThanItsLimitAndCountsTheRest(t *testing.T) {
	var clock link.VirtualClock
	near, far := link.Pipe(&clock, 0)
	recorder := link.Record(near, &clock)
	recorder.SetLimit(5)
	write(t, recorder, "abc")
	write(t, recorder, "defg")
	write(t, recorder, "h")
	got, err := read(t, far, 0)
	require.NoError(t, err)
	assert.Equal(t, "abcdefgh", got, "the link itself carries everything")
	assert.Equal(t, "abcde", string(recorder.Log().Carried(link.Sent)))
	assert.EqualValues(t, 3, recorder.Log().Lost)

	var text bytes.Buffer
	_, err = recorder.Log().WriteTo(&text)
	require.NoError(t, err)
	back, err := link.ReadLog(&text)
	require.NoError(t, err)
	assert.Equal(t, recorder.Log(), back)
}

func TestLogReadsBackAsItWasWritten(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var log link.Log
		at := time.Duration(rapid.Int64Range(-int64(time.Hour), int64(time.Hour)).Draw(t, "start"))
		for range rapid.IntRange(0, 8).Draw(t, "entries") {
			at += time.Duration(rapid.Int64Range(0, int64(time.Hour)).Draw(t, "later"))
			log.Entries = append(log.Entries, link.Entry{
				Time:      at,
				Direction: rapid.SampledFrom([]link.Direction{link.Sent, link.Received}).Draw(t, "direction"),
				Bytes:     rapid.SliceOfN(rapid.Byte(), 1, 20).Draw(t, "bytes"),
			})
		}
		var text bytes.Buffer
		_, err := log.WriteTo(&text)
		require.NoError(t, err)
		for _, c := range text.Bytes() {
			require.True(t, c == '\n' || c >= ' ' && c <= '~', "a log is printable ASCII")
		}
		back, err := link.ReadLog(&text)
		require.NoError(t, err)
		require.Equal(t, &log, back)
	})
}

func TestLogErrorsNameTheLine(t *testing.T) {
	const title = "bufferstop link log 1\n"
	for _, c := range []struct {
		name, text string
		line       int
		what       string
	}{
		{"empty", "", 1, "title"},
		{"another file", "$timescale 1ns $end\n", 1, "title"},
		{"no direction", title + "0.1\n", 2, "entry"},
		{"no number", title + "# fine\n\nsoon > \"x\"\n", 4, "time"},
		{"another unit", title + "1m > \"x\"\n", 2, "time"},
		{"wrong arrow", title + "0.1 = \"x\"\n", 2, "direction"},
		{"no quotes", title + "0.1 > x\n", 2, "bytes"},
		{"raw quotes", title + "0.1 > `x`\n", 2, "bytes"},
		{"no bytes", title + "0.1 > \"\"\n", 2, "bytes"},
		{"backwards", title + "0.2 > \"x\"\n0.1 > \"x\"\n", 3, "time"},
		{"lost in words", title + "lost some\n", 2, "bytes lost"},
		{"gigantic time", title + "99999999999999999999 > \"x\"\n", 2, "time"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := link.ReadLog(strings.NewReader(c.text))
			var wrong *link.LogError
			require.ErrorAs(t, err, &wrong)
			assert.Equal(t, c.line, wrong.Line)
			assert.Equal(t, c.what, wrong.What)
			assert.Contains(t, err.Error(), fmt.Sprintf("line %d: %s: got ", c.line, c.what))
		})
	}
}

func FuzzReadLog(f *testing.F) {
	f.Add("bufferstop link log 1\n0.001000000 > \"*IDN?\\n\"\n0.003250000 < \"a\\xff\\n\"\nlost 3\n")
	f.Fuzz(func(t *testing.T, text string) {
		log, err := link.ReadLog(strings.NewReader(text))
		if err != nil {
			return
		}
		var again bytes.Buffer
		_, err = log.WriteTo(&again)
		require.NoError(t, err)
		back, err := link.ReadLog(&again)
		require.NoError(t, err)
		require.Equal(t, log, back)
	})
}
