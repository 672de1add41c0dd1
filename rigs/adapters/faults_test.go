package adapters_test

import (
	"bufio"
	"context"
	"errors"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"bufferstop/harness/link"
	"bufferstop/harness/station"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// scripted answers lines as a table says; what is not there is answered with success.
type scripted struct {
	sync.Mutex
	says map[string]string // to a line; hangUp and nothing at all are special
	late map[string]time.Duration
}

const (
	hangUp = "hang up"
	mute   = "mute"
)

func (s *scripted) set(line, says string) {
	s.Lock()
	defer s.Unlock()
	s.says[line] = says
}

func newScripted() *scripted {
	return &scripted{says: map[string]string{"*CLS;*IDN?": "m,o,s,v", "*IDN?": "m,o,s,v"}, late: map[string]time.Duration{}}
}

func (s *scripted) talk(ctx context.Context, c net.Conn) {
	for in := bufio.NewScanner(c); in.Scan(); {
		s.Lock()
		says, ok := s.says[in.Text()]
		late := s.late[in.Text()]
		s.Unlock()
		if !ok {
			says = `0,"No error"`
		}
		select {
		case <-time.After(late):
		case <-ctx.Done():
			return
		}
		switch says {
		case hangUp:
			return
		case mute:
			continue
		}
		if _, err := c.Write([]byte(says + "\n")); err != nil {
			return
		}
	}
}

const (
	read29  = "CV:READ? 29;:SYST:ERR?"
	stopAll = "LOCO:STOP ALL;:SYST:ERR?"
)

func TestAdaptersPassOverLateAnswersOfTheStation(t *testing.T) {
	each(t, func(t *testing.T, command []string) {
		s := newScripted()
		s.says[read29], s.late[read29] = `77;0,"No error"`, time.Second
		address, end := serve(t, s.talk)
		defer end()
		d, _, done := adapted(t, withTimeout(t, stationFile(t, command, address), "read_cv = \"300ms\""))
		defer done()
		_, err := d.ReadCV(t.Context(), 29, "")
		require.ErrorIs(t, err, station.ErrNoAnswer)
		var broken *station.AdapterError
		require.False(t, errors.As(err, &broken), "the adapter said in time that the station keeps silent: %v", err)
		s.set("CV:READ? 8;:SYST:ERR?", `8;0,"No error"`)
		value, err := d.ReadCV(t.Context(), 8, "")
		if errors.Is(err, station.ErrNoAnswer) { // the station is still at it
			require.NoError(t, d.Resynchronise(t.Context()))
			value, err = d.ReadCV(t.Context(), 8, "")
		}
		require.NoError(t, err)
		assert.EqualValues(t, 8, value)
	})
}

// withTimeout is the file with times of its own.
func withTimeout(t *testing.T, f *station.File, timeouts string) *station.File {
	t.Helper()
	text := "name = \"a\"\nlink = \"" + f.Link + "\"\n[adapter]\ncommand = ['" + strings.Join(f.Adapter.Command, "', '") + "']\n[adapter.timeouts]\n" +
		timeouts + "\n[claims]\ntracks = [\"main\"]\n"
	timed, err := station.ParseFile("a.station.toml", []byte(text), nil)
	require.NoError(t, err)
	timed.Adapter.Folder = f.Adapter.Folder
	return timed
}

func TestAdaptersComeBackWithTheConnection(t *testing.T) {
	each(t, func(t *testing.T, command []string) {
		s := newScripted()
		address, end := serve(t, s.talk)
		defer end()
		d, _, done := adapted(t, stationFile(t, command, address))
		defer done()
		require.NoError(t, d.StopAll(t.Context()))
		s.set(stopAll, hangUp)
		err := d.StopAll(t.Context())
		var broken *station.AdapterError
		require.ErrorAs(t, err, &broken)
		assert.Contains(t, err.Error(), "connection to the station was lost")
		assert.Equal(t, station.LinkFault, d.Diagnose(t.Context(), err).Fault)
		s.set(stopAll, `0,"No error"`)
		require.NoError(t, d.StopAll(t.Context()))
	})
}

func TestAdaptersSayThatTheStationCannotBeReached(t *testing.T) {
	each(t, func(t *testing.T, command []string) {
		address, end := serve(t, newScripted().talk)
		end()
		d, _, done := adapted(t, stationFile(t, command, address))
		defer done()
		_, err := d.Identify(t.Context())
		var broken *station.AdapterError
		require.ErrorAs(t, err, &broken)
		assert.Contains(t, err.Error(), "refused")
		assert.Equal(t, station.LinkFault, d.Diagnose(t.Context(), err).Fault)
	})
}

func TestAdaptersHandOnWhatTheStationSaysByItself(t *testing.T) {
	each(t, func(t *testing.T, command []string) {
		s := newScripted()
		address, end := serve(t, s.talk)
		defer end()
		d, _, done := adapted(t, stationFile(t, command, address))
		defer done()
		// A line that comes just when the next question is asked cannot be told from an answer: then again.
		var heard []station.Unsolicited
		for try := 0; try < 20 && len(heard) == 0; try++ {
			for _, says := range []string{"0,\"No error\"\nhot <b>\x1b[2J\xff", `0,"No error"`} {
				s.set(stopAll, says)
				if err := d.StopAll(t.Context()); err != nil {
					var unexpected *station.UnexpectedAnswer
					require.ErrorAs(t, err, &unexpected)
				}
				lines, _ := d.Unsolicited()
				heard = append(heard, lines...)
			}
		}
		require.NotEmpty(t, heard)
		assert.Equal(t, "line", heard[0].Event)
		assert.Contains(t, heard[0].Text, "hot")
		assert.NotContains(t, heard[0].Text, "\x1b")
	})
}

func TestAdaptersStandHostileAnswers(t *testing.T) {
	each(t, func(t *testing.T, command []string) {
		s := newScripted()
		address, end := serve(t, s.talk)
		defer end()
		d, said, done := adapted(t, stationFile(t, command, address))
		defer done()
		for name, says := range map[string]string{
			"empty": "", "control": "\x00\x1b]0;title\a\x7f", "HTML": `<script>alert("x")</script>`, "not UTF-8": "\xff\xfe", "quotes": `"}{"id":1,"done":true}`,
			"no byte": `256;0,"No error"`, "no value": `0,"No error"`, "in words": `six;0,"No error"`, "too much": `1e999;0,"x"`, "long": strings.Repeat("A", 1<<20),
		} {
			s.set(read29, says)
			_, err := d.ReadCV(t.Context(), 29, "")
			var unexpected *station.UnexpectedAnswer
			if name == "long" {
				require.Error(t, err)
			} else {
				require.ErrorAs(t, err, &unexpected, name)
			}
			assert.NotContains(t, err.Error(), "\x1b")
			s.set(read29, `29;0,"No error"`)
			value, err := d.ReadCV(t.Context(), 29, "")
			if name == "long" { // its rest comes now, in pieces
				for range 3 {
					if err != nil {
						value, err = d.ReadCV(t.Context(), 29, "")
					}
				}
			}
			require.NoError(t, err, name)
			assert.EqualValues(t, 29, value, name)
		}
		s.set("TRAC:CURR? MAIN;:SYST:ERR?", `NaN;0,"No error"`)
		_, err := d.Current(t.Context(), station.Main)
		var unexpected *station.UnexpectedAnswer
		require.ErrorAs(t, err, &unexpected)
		for _, b := range said.Log().Carried(link.Received) {
			require.True(t, b == '\n' || b >= ' ', "no control character on the way to the harness: %#x", b)
		}
	})
}
