package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"periph.io/x/conn/v3/physic"

	"bufferstop/harness/link"
	"bufferstop/harness/station"
	"bufferstop/harness/verdict"
)

// obey carries out one line of input. Of the errors only those of the link concern the caller.
func (c *conversation) obey(ctx context.Context, line string) (quit bool, err error) {
	line = strings.TrimSpace(line)
	word, rest, _ := strings.Cut(line, " ")
	switch strings.ToLower(word) {
	case "":
		return false, nil
	case "quit":
		return true, nil
	case "help":
		c.help()
		return false, nil
	case "raw":
		return false, c.raw(ctx, strings.TrimSpace(rest))
	}
	if strings.HasPrefix(line, "#") {
		return false, nil
	}
	command, err := station.ParseCommand(line)
	if err != nil {
		c.say("%s", harmless(err.Error()))
		return false, nil
	}
	if track := station.Track(command.Value("track")); track != "" && !slices.Contains(slices.Concat(c.file.Claims.Tracks, c.named), track) {
		c.named = append(c.named, track)
	}
	meaning, err := ask(ctx, c.driver, command)
	c.show()
	if err != nil {
		meaning = harmless(unnamed(err).Error())
	}
	c.say("%s: %s", command.Words(), meaning)
	return false, err
}

func (c *conversation) help() {
	for _, form := range station.CommandForms() {
		c.say("  %s", form)
	}
	c.say("  raw \"TEXT\"   the bytes as they are, quoted as in Go: \"\\r\\n\", \"\\x02\"")
	c.say("  help, quit   and lines that begin with # are passed over")
}

// raw sends bytes as they are and shows what comes back for a while.
func (c *conversation) raw(ctx context.Context, quoted string) error {
	text, err := strconv.Unquote(quoted)
	if err != nil || quoted == "" || quoted[0] == '\'' {
		c.say("raw: got %+q, wanted text in double quotes, such as raw \"*IDN?\\n\"", quoted)
		return nil
	}
	_, err = c.wire.Write(ctx, []byte(text), rawAnswer)
	p := make([]byte, 1024)
	wait := rawAnswer
	for end := c.clock.Now() + rawAnswer; err == nil; {
		if left := end - c.clock.Now(); left <= 0 {
			break
		} else if _, err = c.wire.Read(ctx, p, min(wait, left)); err == nil {
			wait = rawQuiet
		}
	}
	c.show()
	if err == nil || errors.Is(err, link.ErrTimeout) {
		return nil
	}
	c.say("raw: %s", harmless(err.Error()))
	return err
}

// ask carries out a command and says what came of it.
func ask(ctx context.Context, d *station.Driver, c station.Command) (string, error) {
	number := func(name string) int {
		n, _ := strconv.Atoi(c.Value(name)) // a command has only numbers there
		return n
	}
	method := station.Method(c.Value("method"))
	if method == "default" {
		method = ""
	}
	track := station.Track(c.Value("track"))
	switch c.Operation() {
	case station.Identify:
		i, err := d.Identify(ctx)
		return identityWords(aboutStation(i)), err
	case station.ReadPower:
		state, err := d.Power(ctx, track)
		return string(state), err
	case station.ReadCurrent:
		current, err := d.Current(ctx, track)
		return verdict.Milliamperes.Format(float64(current) / float64(physic.MilliAmpere)), err
	case station.ReadCV:
		v, err := d.ReadCV(ctx, number("cv"), method)
		return fmt.Sprintf("%d (0x%02X, bits 7 to 0: %08b)", v, v, v), err
	case station.VerifyCV:
		same, err := d.VerifyCV(ctx, number("cv"), byte(number("value")), method)
		if same {
			return "yes, that is its value", err
		}
		return "no, it has another value", err
	}
	return "done", d.Do(ctx, c)
}
