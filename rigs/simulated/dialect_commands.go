package simulated

import (
	"strconv"
	"time"

	"bufferstop/harness/dcc"
	"bufferstop/harness/station"
)

// begin starts the operation that the first of the waiting requests asks for.
func (n *speaker) begin(t time.Duration) action {
	q := n.waiting[0]
	switch {
	case q.code != noError:
		return fails(q.code)
	case q.Question != "":
		return done()
	}
	s, c := n.station, values{q.Command}
	switch c.Operation() {
	case station.Identify:
		return done()
	case station.Reset:
		return s.reset()
	case station.SetPower:
		return s.setPower(t, c.port(), c.is("power", "on"))
	case station.ReadPower:
		return s.power(c.port())
	case station.ReadCurrent:
		return s.current(c.port())
	case station.SetAccessory:
		return s.setAccessory(c.number("number"), c.number("output"), true)
	case station.ClearAccessory:
		return s.setAccessory(c.number("number"), c.number("output"), false)
	case station.SetAspect:
		return s.setAspect(c.number("number"), c.number("aspect"))
	case station.StopAll:
		return s.stopAll(t)
	case station.ReadCV:
		return s.readCV(t, c.number("cv"), c.method())
	case station.WriteCV:
		return s.writeCV(t, c.number("cv"), c.number("value"), c.method())
	case station.VerifyCV:
		return s.verifyCV(t, c.number("cv"), c.number("value"), c.method())
	case station.WriteBit:
		return s.writeBit(t, c.number("cv"), c.number("bit"), c.number("value"), c.method())
	}
	return n.beginTo(c)
}

// beginTo starts an operation that is about one locomotive.
func (n *speaker) beginTo(c values) action {
	a, code := locomotiveAddress(c.number("address"), c.is("kind", "long"))
	if code != noError {
		return fails(code)
	}
	s := n.station
	switch c.Operation() {
	case station.SetSpeed:
		steps := dcc.Steps(c.number("steps"))
		if steps != dcc.Steps28 && steps != dcc.Steps128 {
			return fails(illegalParameter)
		}
		direction := dcc.Reverse
		if c.is("direction", "forward") {
			direction = dcc.Forward
		}
		return s.setSpeed(a, steps, direction, c.number("step"))
	case station.SetFunction:
		return s.setFunction(a, c.number("function"), c.is("state", "on"))
	case station.Release:
		return s.release(a)
	case station.Stop:
		return s.stop(a)
	case station.SetConsist:
		return s.setConsist(a, c.number("consist"), c.is("facing", "reversed"))
	case station.ClearConsist:
		return s.clearConsist(a)
	case station.WriteBitOnMain:
		return s.writeBitOnMain(a, c.number("cv"), c.number("bit"), c.number("value"))
	case station.WriteOnMain:
		return s.writeOnMain(a, c.number("cv"), c.number("value"))
	}
	return fails(undefinedHeader)
}

// values reads the values of a command.
type values struct{ station.Command }

func (v values) is(name, word string) bool { return v.Value(name) == word }

// number is a value that is out of every range when it is no number.
func (v values) number(name string) int {
	n, err := strconv.Atoi(v.Value(name))
	if err != nil {
		return -1
	}
	return n
}

func (v values) port() int {
	if v.is("track", string(station.Programming)) {
		return programmingPort
	}
	return mainPort
}

func (v values) method() station.Method {
	if v.is("method", "default") {
		return ""
	}
	return station.Method(v.Value("method"))
}
