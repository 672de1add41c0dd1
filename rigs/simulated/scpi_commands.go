package simulated

import (
	"strconv"
	"strings"
	"time"

	"bufferstop/harness/dcc"
)

// pattern is one header of the reference language; capital letters are the short form of each part.
type pattern struct {
	header  string
	min     int // parameters
	max     int
	execute func(n *scpi, t time.Duration, p []string) action
	// respond makes it a query: it puts the value that the action gives into words.
	respond func(n *scpi, value int) string
}

// commands are the reference language.
var commands []pattern

func init() {
	commands = []pattern{
		{"*IDN", 0, 0, (*scpi).nothing, (*scpi).identity},
		{"*RST", 0, 0, (*scpi).reset, nil},
		{"*CLS", 0, 0, (*scpi).clear, nil},
		{"*OPC", 0, 0, (*scpi).operationComplete, (*scpi).decimal},
		{"SYSTem:ERRor", 0, 0, (*scpi).nothing, (*scpi).nextError},
		{"TRACk:POWer", 2, 2, (*scpi).setPower, nil},
		{"TRACk:POWer", 1, 1, (*scpi).power, (*scpi).powerWord},
		{"TRACk:CURRent", 1, 1, (*scpi).current, (*scpi).decimal},
		{"LOCOmotive:SPEed", 3, 4, (*scpi).setSpeed, nil},
		{"LOCOmotive:FUNCtion", 3, 3, (*scpi).setFunction, nil},
		{"LOCOmotive:RELease", 1, 1, (*scpi).release, nil},
		{"LOCOmotive:STOP", 1, 1, (*scpi).stop, nil},
		{"ACCessory:OUTPut", 2, 2, (*scpi).setOutput, nil},
		{"ACCessory:ASPect", 2, 2, (*scpi).setAspect, nil},
		{"CV:READ", 1, 2, (*scpi).readCV, (*scpi).decimal},
		{"CV:WRITe", 2, 3, (*scpi).writeCV, nil},
		{"CV:VERify", 2, 3, (*scpi).verifyCV, (*scpi).decimal},
		{"CV:BIT", 3, 3, (*scpi).writeBit, nil},
		{"POM:WRITe", 3, 3, (*scpi).writeOnMain, nil},
		{"POM:BIT", 4, 4, (*scpi).writeBitOnMain, nil},
		{"ACCessory:CLEar", 2, 2, (*scpi).clearOutput, nil},
		{"CONSist:SET", 3, 3, (*scpi).setConsist, nil},
		{"CONSist:CLEar", 1, 1, (*scpi).clearConsist, nil},
	}
}

// matches compares a keyword path with a pattern: each part in its long or its short form, nothing between.
func matches(pattern, header string) bool {
	for {
		p, pRest, pMore := strings.Cut(pattern, ":")
		h, hRest, hMore := strings.Cut(header, ":")
		if !keyword(p, h) || pMore != hMore {
			return false
		}
		if !pMore {
			return true
		}
		pattern, header = pRest, hRest
	}
}

// keyword compares one word in capitals with a mnemonic such as SYSTem.
func keyword(mnemonic, word string) bool {
	short := strings.IndexFunc(mnemonic, func(r rune) bool { return r >= 'a' && r <= 'z' })
	return word == strings.ToUpper(mnemonic) || short > 0 && word == mnemonic[:short]
}

// execute starts one unit. If it is a query, respond puts its result into words.
func (n *scpi) execute(t time.Duration, u unit) (a action, respond func(value int) string) {
	if u.bad {
		n.station.misread(t)
		return fails(syntaxError), nil
	}
	for i := range commands {
		c := &commands[i]
		if (c.respond != nil) != u.query || !matches(c.header, u.header) {
			continue
		}
		switch {
		case len(u.parameters) < c.min:
			return fails(missingParameter), nil
		case len(u.parameters) > c.max:
			return fails(parameterExcess), nil
		case u.query:
			respond = func(value int) string { return c.respond(n, value) }
		}
		return c.execute(n, t, u.parameters), respond
	}
	n.station.misread(t)
	return fails(undefinedHeader), nil
}

// Responses of queries.

func (n *scpi) decimal(value int) string { return strconv.Itoa(value) }

func (n *scpi) powerWord(value int) string { return [...]string{"OFF", "ON", "TRIPPED"}[value] }

func (n *scpi) identity(int) string {
	i := n.station.identity()
	return strings.Join([]string{i.Maker, i.Model, i.Serial, i.Version}, ",")
}

func (n *scpi) nextError(int) string {
	c := noError
	if len(n.errors) > 0 {
		c = n.errors[0]
		n.errors = n.errors[:copy(n.errors, n.errors[1:])]
	}
	return c.String()
}

// Commands and queries: each reads its parameters and asks the station.

func (n *scpi) nothing(time.Duration, []string) action { return done() }

// reset is IEEE 488.2-1992 10.32. The error queue stays.
func (n *scpi) reset(time.Duration, []string) action { return n.station.reset() }

func (n *scpi) clear(time.Duration, []string) action {
	n.errors = n.errors[:0]
	return done()
}

func (n *scpi) operationComplete(time.Duration, []string) action { return n.station.settle() }

func (n *scpi) setPower(t time.Duration, p []string) action {
	i, c1 := trackPort(p[0])
	on, c2 := boolean(p[1])
	if c := first(c1, c2); c != noError {
		return fails(c)
	}
	return n.station.setPower(t, i, on)
}

func (n *scpi) power(_ time.Duration, p []string) action {
	i, c := trackPort(p[0])
	if c != noError {
		return fails(c)
	}
	return n.station.power(i)
}

func (n *scpi) current(_ time.Duration, p []string) action {
	i, c := trackPort(p[0])
	if c != noError {
		return fails(c)
	}
	return n.station.current(i)
}

func (n *scpi) setSpeed(_ time.Duration, p []string) action {
	steps := dcc.Steps128
	if len(p) > 3 {
		k, c := choice(p[3], "28", "128")
		if c != noError {
			return fails(c)
		}
		steps = [...]dcc.Steps{dcc.Steps28, dcc.Steps128}[k]
	}
	a, c1 := address(p[0])
	step, c2 := number(p[1])
	d, c3 := choice(p[2], "REVerse", "FORWard")
	if c := first(c1, c2, c3); c != noError {
		return fails(c)
	}
	return n.station.setSpeed(a, steps, [...]dcc.Direction{dcc.Reverse, dcc.Forward}[d], step)
}

func (n *scpi) setFunction(_ time.Duration, p []string) action {
	a, c1 := address(p[0])
	f, c2 := number(p[1])
	on, c3 := boolean(p[2])
	if c := first(c1, c2, c3); c != noError {
		return fails(c)
	}
	return n.station.setFunction(a, f, on)
}

func (n *scpi) release(_ time.Duration, p []string) action {
	a, c := address(p[0])
	if c != noError {
		return fails(c)
	}
	return n.station.release(a)
}

func (n *scpi) stop(t time.Duration, p []string) action {
	if p[0] == "ALL" {
		return n.station.stopAll(t)
	}
	a, c := address(p[0])
	if c != noError {
		return fails(c)
	}
	return n.station.stop(a)
}

func (n *scpi) setOutput(_ time.Duration, p []string) action { return n.output(p, true) }

func (n *scpi) clearOutput(_ time.Duration, p []string) action { return n.output(p, false) }

// output switches on or off what ON names, output 1 of the pair, or OFF, output 0.
func (n *scpi) output(p []string, activate bool) action {
	accessory, c1 := number(p[0])
	one, c2 := boolean(p[1])
	if c := first(c1, c2); c != noError {
		return fails(c)
	}
	return n.station.setAccessory(accessory, truth(one), activate)
}

func (n *scpi) setConsist(_ time.Duration, p []string) action {
	a, c1 := address(p[0])
	consist, c2 := number(p[1])
	reversed, c3 := choice(p[2], "NORMal", "REVerse")
	if c := first(c1, c2, c3); c != noError {
		return fails(c)
	}
	return n.station.setConsist(a, consist, reversed == 1)
}

func (n *scpi) clearConsist(_ time.Duration, p []string) action {
	a, c := address(p[0])
	if c != noError {
		return fails(c)
	}
	return n.station.clearConsist(a)
}

func (n *scpi) setAspect(_ time.Duration, p []string) action {
	v, c := numbers(p)
	if c != noError {
		return fails(c)
	}
	return n.station.setAspect(v[0], v[1])
}

func (n *scpi) readCV(t time.Duration, p []string) action {
	v, c := numbers(p[:1])
	m, c2 := method(p[1:])
	if c := first(c, c2); c != noError {
		return fails(c)
	}
	return n.station.readCV(t, v[0], m)
}

func (n *scpi) writeCV(t time.Duration, p []string) action {
	v, c := numbers(p[:2])
	m, c2 := method(p[2:])
	if c := first(c, c2); c != noError {
		return fails(c)
	}
	return n.station.writeCV(t, v[0], v[1], m)
}

func (n *scpi) verifyCV(t time.Duration, p []string) action {
	v, c := numbers(p[:2])
	m, c2 := method(p[2:])
	if c := first(c, c2); c != noError {
		return fails(c)
	}
	return n.station.verifyCV(t, v[0], v[1], m)
}

func (n *scpi) writeBit(t time.Duration, p []string) action {
	v, c := numbers(p)
	if c != noError {
		return fails(c)
	}
	return n.station.writeBit(t, v[0], v[1], v[2], "")
}

func (n *scpi) writeOnMain(_ time.Duration, p []string) action {
	a, c1 := address(p[0])
	v, c2 := numbers(p[1:])
	if c := first(c1, c2); c != noError {
		return fails(c)
	}
	return n.station.writeOnMain(a, v[0], v[1])
}

func (n *scpi) writeBitOnMain(_ time.Duration, p []string) action {
	a, c1 := address(p[0])
	v, c2 := numbers(p[1:])
	if c := first(c1, c2); c != noError {
		return fails(c)
	}
	return n.station.writeBitOnMain(a, v[0], v[1], v[2])
}
