package main

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// operations are what command has a line for.
var operations = []string{
	"identify", "reset", "set_power", "power", "current", "set_speed", "set_function", "release", "stop", "stop_all",
	"set_accessory", "set_aspect", "read_cv", "write_cv", "verify_cv", "write_bit", "write_on_main",
	"write_bit_on_main", "clear_accessory", "set_consist", "clear_consist",
}

// firstLong is the first address that is a long one: the reference language tells them apart by the number alone.
const firstLong = 128

// The station's words for ours.
var (
	tracks     = map[string]string{"main": "MAIN", "programming": "PROG"}
	directions = map[string]string{"forward": "FORW", "reverse": "REV"}
	facings    = map[string]string{"normal": "NORM", "reversed": "REV"}
	outputs    = map[int]string{0: "OFF", 1: "ON"}
	methods    = map[string]string{"default": "", "direct": ",DIR", "paged": ",PAG", "register": ",REG", "address": ",ADDR"}
)

// command says what the station is told for an operation, or why that cannot be told.
func command(q question) (line, why string) {
	if q.Kind != "" && (q.Kind == "long") != (q.Address >= firstLong) {
		return "", fmt.Sprintf("addresses from %d on are long here, and none before", firstLong)
	}
	switch q.Ask {
	case "identify":
		return "*IDN?", "" // its answer has no error code behind it
	case "reset":
		line = "*RST"
	case "set_power":
		line = fmt.Sprintf("TRAC:POW %s,%s", tracks[q.Track], strings.ToUpper(q.Power))
	case "power":
		line = fmt.Sprintf("TRAC:POW? %s", tracks[q.Track])
	case "current":
		line = fmt.Sprintf("TRAC:CURR? %s", tracks[q.Track])
	case "set_speed":
		line = fmt.Sprintf("LOCO:SPE %d,%d,%s,%d", q.Address, q.Step, directions[q.Direction], q.Steps)
	case "set_function":
		line = fmt.Sprintf("LOCO:FUNC %d,%d,%s", q.Address, q.Function, strings.ToUpper(q.State))
	case "release":
		line = fmt.Sprintf("LOCO:REL %d", q.Address)
	case "stop":
		line = fmt.Sprintf("LOCO:STOP %d", q.Address)
	case "stop_all":
		line = "LOCO:STOP ALL"
	case "set_accessory":
		line = fmt.Sprintf("ACC:OUTP %d,%s", q.Number, outputs[q.Output])
	case "set_aspect":
		line = fmt.Sprintf("ACC:ASP %d,%d", q.Number, q.Aspect)
	case "read_cv":
		line = fmt.Sprintf("CV:READ? %d%s", q.CV, methods[q.Method])
	case "write_cv":
		line = fmt.Sprintf("CV:WRIT %d,%d%s", q.CV, q.Value, methods[q.Method])
	case "verify_cv":
		line = fmt.Sprintf("CV:VER? %d,%d%s", q.CV, q.Value, methods[q.Method])
	case "write_bit":
		if q.Method != "default" {
			return "", "the station chooses the method of a bit"
		}
		line = fmt.Sprintf("CV:BIT %d,%d,%d", q.CV, q.Bit, q.Value)
	case "write_on_main":
		line = fmt.Sprintf("POM:WRIT %d,%d,%d", q.Address, q.CV, q.Value)
	case "write_bit_on_main":
		line = fmt.Sprintf("POM:BIT %d,%d,%d,%d", q.Address, q.CV, q.Bit, q.Value)
	case "clear_accessory":
		line = fmt.Sprintf("ACC:CLE %d,%s", q.Number, outputs[q.Output])
	case "set_consist":
		line = fmt.Sprintf("CONS:SET %d,%d,%s", q.Address, q.Consist, facings[q.Facing])
	case "clear_consist":
		line = fmt.Sprintf("CONS:CLE %d", q.Address)
	default:
		return "", fmt.Sprintf("no operation %q", q.Ask)
	}
	return line + ";:SYST:ERR?", "" // which brings the error code behind the value, if there is one
}

// outcome is a value, a semicolon, an error code and its text; a command brings no value.
var outcome = regexp.MustCompile(`^(?:([^;"]*);)?(-?[0-9]+),"(.*)"$`)

// number is what a measured value may look like.
var number = regexp.MustCompile(`^-?[0-9]{1,9}(\.[0-9]+)?$`)

// introduction is the station's answer to *IDN?: no other answer has four fields.
var introduction = regexp.MustCompile(`^([^,;"]*),([^,;"]*),([^,;"]*),([^,;"]*)$`)

// understand finds out what a line of the station means for the question.
func (a *answer) understand(q question, line string) {
	if q.Ask == "identify" {
		if f := introduction.FindStringSubmatch(line); f != nil {
			a.Value = map[string]string{"maker": f[1], "model": f[2], "serial": f[3], "version": f[4], "text": line}
			return
		}
		a.Unexpected = &line
		return
	}
	f := outcome.FindStringSubmatch(line)
	if f == nil {
		a.Unexpected = &line
		return
	}
	switch value, code, text := f[1], f[2], f[3]; code {
	case "0":
		a.take(q, value, line)
	case "110":
		a.NoAcknowledge = true
	case "120":
		a.Tripped = true
	default:
		a.Refused = &refusal{code, text}
	}
}

// take reads the value that the operation brings.
func (a *answer) take(q question, value, line string) {
	var err error
	switch q.Ask {
	case "power":
		a.Value = strings.ToLower(value)
		if value != "ON" && value != "OFF" && value != "TRIPPED" {
			err = strconv.ErrSyntax
		}
	case "current":
		a.Value, err = strconv.ParseFloat(value, 64) // milliamperes there and here
		if !number.MatchString(value) {
			err = strconv.ErrSyntax
		}
	case "read_cv":
		a.Value, err = strconv.ParseUint(value, 10, 8)
	case "verify_cv":
		a.Value = value == "1"
		if value != "0" && value != "1" {
			err = strconv.ErrSyntax
		}
	default:
		a.Done = true
	}
	if err != nil {
		*a = answer{ID: a.ID, Unexpected: &line}
	}
}
