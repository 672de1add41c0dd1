package simulated

import (
	"math"
	"strconv"
	"strings"
	"time"

	"bufferstop/harness/dcc"
)

// Version is what the simulated station reports as its firmware's.
const Version = "1.0"

// pattern is one header of the language; capital letters are the short form of each part.
type pattern struct {
	header  string
	query   bool
	min     int // parameters
	max     int
	execute func(n *interpreter, t time.Duration, p []string) errorCode
}

// commands are the language of the reference station.
var commands []pattern

func init() {
	commands = []pattern{
		{"*IDN", true, 0, 0, (*interpreter).identify},
		{"*RST", false, 0, 0, (*interpreter).reset},
		{"*CLS", false, 0, 0, (*interpreter).clear},
		{"*OPC", true, 0, 0, (*interpreter).operationComplete},
		{"SYSTem:ERRor", true, 0, 0, (*interpreter).nextError},
		{"TRACk:POWer", false, 2, 2, (*interpreter).setPower},
		{"TRACk:POWer", true, 1, 1, (*interpreter).power},
		{"TRACk:CURRent", true, 1, 1, (*interpreter).current},
		{"LOCOmotive:SPEed", false, 3, 4, (*interpreter).setSpeed},
		{"LOCOmotive:FUNCtion", false, 3, 3, (*interpreter).setFunction},
		{"LOCOmotive:RELease", false, 1, 1, (*interpreter).release},
		{"LOCOmotive:STOP", false, 1, 1, (*interpreter).stop},
		{"ACCessory:OUTPut", false, 2, 2, (*interpreter).setOutput},
		{"ACCessory:ASPect", false, 2, 2, (*interpreter).setAspect},
		{"CV:READ", true, 1, 2, (*interpreter).readCV},
		{"CV:WRITe", false, 2, 3, (*interpreter).writeCV},
		{"CV:VERify", true, 2, 3, (*interpreter).verifyCV},
		{"CV:BIT", false, 3, 3, (*interpreter).writeBit},
		{"POM:WRITe", false, 3, 3, (*interpreter).writeOnMain},
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

// execute carries out one unit.
func (n *interpreter) execute(t time.Duration, u unit) {
	if u.bad {
		n.raise(syntaxError)
		return
	}
	for i := range commands {
		c := &commands[i]
		if c.query != u.query || !matches(c.header, u.header) {
			continue
		}
		switch {
		case len(u.parameters) < c.min:
			n.raise(missingParameter)
		case len(u.parameters) > c.max:
			n.raise(parameterExcess)
		default:
			if code := c.execute(n, t, u.parameters); code != noError {
				n.raise(code)
			}
		}
		return
	}
	n.raise(undefinedHeader)
}

// number reads a decimal number, IEEE 488.2-1992 7.7.2, rounded to a whole one, within min and max.
func number(text string, min, max int) (int, errorCode) {
	if text == "" {
		return 0, missingParameter
	}
	if strings.IndexFunc(text, func(r rune) bool { return !strings.ContainsRune("0123456789+-.E", r) }) >= 0 {
		return 0, dataTypeError
	}
	f, err := strconv.ParseFloat(text, 64)
	if err != nil && !math.IsInf(f, 0) {
		return 0, dataTypeError
	}
	f = math.Round(f)
	if f < float64(min) || f > float64(max) {
		return 0, outOfRange
	}
	return int(f), noError
}

// choice reads a word and gives the index of the mnemonic that it matches.
func choice(text string, mnemonics ...string) (int, errorCode) {
	if text == "" {
		return 0, missingParameter
	}
	for i, m := range mnemonics {
		if keyword(m, text) {
			return i, noError
		}
	}
	return 0, illegalParameter
}

func boolean(text string) (bool, errorCode) {
	i, code := choice(text, "OFF", "ON", "0", "1")
	return i%2 == 1, code
}

// address reads a locomotive's: 1 to 127 is short, 128 to 10239 long.
func address(text string) (dcc.Address, errorCode) {
	a, code := number(text, 1, 10239)
	if a < 128 {
		return dcc.Short(uint16(a)), code
	}
	return dcc.Long(uint16(a)), code
}

func trackPort(text string) (int, errorCode) { return choice(text, "MAIN", "PROGramming", "PROG") }

// method reads a service-mode method. Only direct mode is built in.
func method(p []string, i int) errorCode {
	if len(p) <= i {
		return noError
	}
	m, code := choice(p[i], "DIRect", "PAGed", "REGister", "ADDRess")
	if code == noError && m > 0 {
		return illegalParameter
	}
	return code
}

// first returns the first code that is an error.
func first(codes ...errorCode) errorCode {
	for _, c := range codes {
		if c != noError {
			return c
		}
	}
	return noError
}

func (n *interpreter) identify(time.Duration, []string) errorCode {
	n.respond("bufferstop,simulated station,0," + Version)
	return noError
}

// reset switches both outputs off and forgets every locomotive, IEEE 488.2-1992 10.32. The error queue stays.
func (n *interpreter) reset(_ time.Duration, _ []string) errorCode {
	s := n.station
	s.scheduler.power, s.sequencer.wanted = false, false
	s.scheduler.reset()
	s.lastRead = 0
	for i := range s.port {
		s.switchOff(i)
	}
	n.resume = func(time.Duration) bool {
		return !s.port[mainPort].generator.running && !s.port[programmingPort].generator.running
	}
	return noError
}

func (n *interpreter) clear(time.Duration, []string) errorCode {
	n.errors = n.errors[:0]
	return noError
}

// operationComplete answers when every command has gone out as often as it has to.
func (n *interpreter) operationComplete(time.Duration, []string) errorCode {
	n.resume = func(time.Duration) bool {
		if len(n.station.scheduler.commands) > 0 && n.station.port[mainPort].generator.running {
			return false
		}
		n.respond("1")
		return true
	}
	return noError
}

func (n *interpreter) nextError(time.Duration, []string) errorCode {
	c := noError
	if len(n.errors) > 0 {
		c = n.errors[0]
		n.errors = n.errors[:copy(n.errors, n.errors[1:])]
	}
	n.respond(c.String())
	return noError
}

func (n *interpreter) setPower(t time.Duration, p []string) errorCode {
	i, c1 := trackPort(p[0])
	on, c2 := boolean(p[1])
	if c := first(c1, c2); c != noError {
		return c
	}
	i = min(i, programmingPort)
	s := n.station
	if i == mainPort {
		s.scheduler.power = on
		if !on {
			s.scheduler.drop(noKey)
		}
	} else {
		s.sequencer.wanted = on
	}
	if on {
		s.switchOn(i, t)
		return noError
	}
	s.switchOff(i)
	n.resume = func(time.Duration) bool { return !s.port[i].generator.running }
	return noError
}

func (n *interpreter) power(_ time.Duration, p []string) errorCode {
	i, c := trackPort(p[0])
	if c != noError {
		return c
	}
	n.respond([...]string{"OFF", "ON", "TRIPPED"}[n.station.port[min(i, programmingPort)].state])
	return noError
}

func (n *interpreter) current(_ time.Duration, p []string) errorCode {
	i, c := trackPort(p[0])
	if c != noError {
		return c
	}
	n.respond(strconv.Itoa(n.station.milliamperes(min(i, programmingPort))))
	return noError
}

func (n *interpreter) setSpeed(t time.Duration, p []string) errorCode {
	steps := dcc.Steps128
	if len(p) > 3 {
		k, c := choice(p[3], "28", "128")
		if c != noError {
			return c
		}
		steps = [...]dcc.Steps{dcc.Steps28, dcc.Steps128}[k]
	}
	a, c1 := address(p[0])
	step, c2 := number(p[1], 0, steps.Max())
	d, c3 := choice(p[2], "REVerse", "FORWard")
	if c := first(c1, c2, c3); c != noError {
		return c
	}
	l := n.station.scheduler.roster.enter(a)
	if l == nil {
		return outOfMemory
	}
	l.speedSet, l.steps, l.step = true, steps, step
	l.direction = [...]dcc.Direction{dcc.Reverse, dcc.Forward}[d]
	s := &n.station.scheduler
	n.send(command{packet: s.encoder.speed(l, false), key: keyOf(a), kind: kindSpeed, copies: s.settings.repeats})
	return noError
}

func (n *interpreter) setFunction(t time.Duration, p []string) errorCode {
	a, c1 := address(p[0])
	f, c2 := number(p[1], 0, 28)
	on, c3 := boolean(p[2])
	if c := first(c1, c2, c3); c != noError {
		return c
	}
	l := n.station.scheduler.roster.enter(a)
	if l == nil {
		return outOfMemory
	}
	l.functions &^= 1 << f
	if on {
		l.functions |= 1 << f
	}
	g, _, _ := dcc.GroupOf(f)
	l.groups |= 1 << g
	s := &n.station.scheduler
	n.send(command{
		packet: s.encoder.functions(l, g), key: keyOf(a), kind: kindFunctions + kind(g), copies: s.settings.repeats,
	})
	return noError
}

func (n *interpreter) release(_ time.Duration, p []string) errorCode {
	a, c := address(p[0])
	if c != noError {
		return c
	}
	if n.station.settings.flaws.neverReleases {
		return noError
	}
	n.station.scheduler.roster.release(a)
	n.station.scheduler.drop(keyOf(a))
	return noError
}

// stop is the emergency stop of one locomotive or of all. A locomotive that the station does not know is stopped in 28
// steps, which every decoder understands: S-9.2 B (July 2004).
func (n *interpreter) stop(t time.Duration, p []string) errorCode {
	s := &n.station.scheduler
	flaws := &n.station.settings.flaws
	if p[0] == "ALL" {
		s.roster.stop()
		s.dropMotion()
		c := command{packet: s.encoder.stopAll(), key: everybody, kind: kindStop, copies: s.settings.stopRepeats}
		c.after = t + flaws.stopAllDelay
		n.send(c)
		return noError
	}
	a, code := address(p[0])
	if code != noError {
		return code
	}
	if flaws.stopLost {
		return noError
	}
	l := s.roster.find(a)
	if l == nil {
		l = &locomotive{address: a, steps: dcc.Steps28, direction: dcc.Forward}
	}
	l.step = 0
	// What it was told before must not come after the stop.
	for i := range s.commands {
		if c := &s.commands[i]; c.key == keyOf(a) && c.kind == kindSpeed {
			s.commands = append(s.commands[:i], s.commands[i+1:]...)
			break
		}
	}
	n.send(command{packet: s.encoder.speed(l, true), key: keyOf(a), kind: kindStop, copies: s.settings.stopRepeats})
	return noError
}

func (n *interpreter) setOutput(t time.Duration, p []string) errorCode {
	user, c1 := number(p[0], 1, 2044)
	on, c2 := boolean(p[1])
	if c := first(c1, c2, n.mainReady()); c != noError {
		return c
	}
	s := &n.station.scheduler
	packet := s.encoder.accessory(user, on)
	n.send(command{packet: packet, key: accessoryKeyOf(user), kind: kindAccessory, copies: s.settings.repeats})
	return noError
}

func (n *interpreter) setAspect(t time.Duration, p []string) errorCode {
	user, c1 := number(p[0], 1, 2044)
	aspect, c2 := number(p[1], 0, 255)
	if c := first(c1, c2, n.mainReady()); c != noError {
		return c
	}
	s := &n.station.scheduler
	packet := s.encoder.aspect(user, byte(aspect))
	n.send(command{packet: packet, key: accessoryKeyOf(user), kind: kindAccessory, copies: s.settings.repeats})
	return noError
}

func (n *interpreter) writeOnMain(t time.Duration, p []string) errorCode {
	a, c1 := address(p[0])
	cv, c2 := number(p[1], 1, 1024)
	value, c3 := number(p[2], 0, 255)
	if c := first(c1, c2, c3, n.mainReady()); c != noError {
		return c
	}
	s := &n.station.scheduler
	n.send(command{
		packet: s.encoder.mainWrite(a, cv, byte(value)), key: keyOf(a), kind: kindMainWrite,
		copies: s.settings.pomRepeats, pair: s.settings.pomRepeats > 1,
	})
	return noError
}

// mainReady is what stands in the way of a packet that is only sent once and so cannot wait for power.
func (n *interpreter) mainReady() errorCode {
	switch n.station.port[mainPort].state {
	case powerOff:
		return settingsConflict
	case powerTripped:
		return trackTripped
	}
	return noError
}

// send hands a command to the scheduler, and waits while it takes none. Without power there is nothing to send: the
// refresh says what locomotives have to do as soon as there is.
func (n *interpreter) send(c command) {
	n.resume = func(time.Duration) bool {
		s := &n.station.scheduler
		if n.station.port[mainPort].state != powerOn {
			return true
		}
		if c.key != everybody && c.kind != kindStop && s.full() {
			return false
		}
		s.enqueue(c)
		return true
	}
}

// program starts an operation on the programming track and waits for its end.
func (n *interpreter) program(t time.Duration, o operation, done func(outcome) errorCode) errorCode {
	s := n.station
	p := &s.port[programmingPort]
	if p.state == powerTripped && s.sequencer.wanted {
		return trackTripped
	}
	s.sequencer.begin(o)
	s.switchOn(programmingPort, t)
	if s.settings.flaws.mainPauses {
		s.pauseMain()
	}
	n.resume = func(t time.Duration) bool {
		if !s.sequencer.outcome.done || p.generator.running && !s.sequencer.wanted {
			return false
		}
		if s.settings.flaws.mainPauses {
			s.resumeMain(t)
		}
		if c := done(s.sequencer.outcome); c != noError {
			n.raise(c)
		}
		return true
	}
	return noError
}

func (n *interpreter) readCV(t time.Duration, p []string) errorCode {
	cv, c := number(p[0], 1, 1024)
	if c := first(c, method(p, 1)); c != noError {
		return c
	}
	s := n.station
	asked := cv
	if s.settings.flaws.lastCVKept && s.lastRead != 0 && t < s.lastReadTime+100*time.Millisecond {
		cv = s.lastRead
	}
	return n.program(t, operation{task: readTask, cv: cv}, func(o outcome) errorCode {
		s.lastRead = 0
		if o.code == noError {
			n.respond(strconv.Itoa(int(o.value)))
			s.lastRead, s.lastReadTime = asked, s.sequencer.endedAt
		}
		return o.code
	})
}

func (n *interpreter) writeCV(t time.Duration, p []string) errorCode {
	cv, c1 := number(p[0], 1, 1024)
	value, c2 := number(p[1], 0, 255)
	if c := first(c1, c2, method(p, 2)); c != noError {
		return c
	}
	n.station.lastRead = 0
	return n.program(t, operation{task: writeTask, cv: cv, value: byte(value)}, outcome.error)
}

func (n *interpreter) verifyCV(t time.Duration, p []string) errorCode {
	cv, c1 := number(p[0], 1, 1024)
	value, c2 := number(p[1], 0, 255)
	if c := first(c1, c2, method(p, 2)); c != noError {
		return c
	}
	return n.program(t, operation{task: verifyTask, cv: cv, value: byte(value)}, func(o outcome) errorCode {
		switch {
		case o.code != noError:
			return o.code
		case o.match:
			n.respond("1")
		default:
			n.respond("0")
		}
		return noError
	})
}

func (n *interpreter) writeBit(t time.Duration, p []string) errorCode {
	cv, c1 := number(p[0], 1, 1024)
	bit, c2 := number(p[1], 0, 7)
	value, c3 := number(p[2], 0, 1)
	if c := first(c1, c2, c3); c != noError {
		return c
	}
	n.station.lastRead = 0
	return n.program(t, operation{task: bitTask, cv: cv, bit: bit, value: byte(value)}, outcome.error)
}

func (o outcome) error() errorCode { return o.code }
