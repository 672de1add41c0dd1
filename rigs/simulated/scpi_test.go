package simulated

import (
	"strings"
	"testing"
	"time"

	"bufferstop/fakedecoder"
	"bufferstop/harness/dcc"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestEveryCommandPutsItsPacketOnTheMainTrack(t *testing.T) {
	three := dcc.Short(3)
	for _, c := range []struct {
		command string
		want    dcc.Instruction
	}{
		{"LOCO:SPE 3,10,FORW,128", dcc.Speed{Address: three, Steps: dcc.Steps128, Direction: dcc.Forward, Step: 10}},
		{"locomotive:speed 3,10,reverse,28", dcc.Speed{Address: three, Steps: dcc.Steps28, Direction: dcc.Reverse, Step: 10}},
		{"LOCOmotive:SPEed 127,126,FORWard", dcc.Speed{Address: dcc.Short(127), Steps: dcc.Steps128, Direction: dcc.Forward, Step: 126}},
		{"LOCO:SPE 128,0,REV", dcc.Speed{Address: dcc.Long(128), Steps: dcc.Steps128, Direction: dcc.Reverse}},
		{"LOCO:SPE 10239,1,REV", dcc.Speed{Address: dcc.Long(10239), Steps: dcc.Steps128, Direction: dcc.Reverse, Step: 1}},
		{"LOCO:FUNC 3,0,ON", dcc.Functions{Address: three, Group: dcc.F0F4, States: 1}},
		{"LOCO:FUNC 3,12,1", dcc.Functions{Address: three, Group: dcc.F9F12, States: 8}},
		{"LOCO:FUNC 3,28,ON", dcc.Functions{Address: three, Group: dcc.F21F28, States: 0x80}},
		{"LOCO:FUNC 3,5,OFF", dcc.Functions{Address: three, Group: dcc.F5F8}},
		{"LOCO:STOP 3", dcc.Speed{Address: three, Steps: dcc.Steps28, Direction: dcc.Forward, Emergency: true}},
		{"LOCO:STOP ALL", dcc.BroadcastStop{Direction: dcc.Forward, Immediate: true, DirectionIgnored: true}},
		// RCN-213 (2015): what users see as 1 is raw address 4, decoder 1 pair 0.
		{"ACC:OUTP 1,ON", dcc.Accessory{Decoder: 1, Pair: 0, Output: 1, Activate: true}},
		{"ACCessory:OUTPut 2040,OFF", dcc.Accessory{Decoder: 510, Pair: 3, Output: 0, Activate: true}},
		// Raw addresses 0 to 3 are the last that users see.
		{"ACC:OUTP 2044,1", dcc.Accessory{Decoder: 0, Pair: 3, Output: 1, Activate: true}},
		{"ACC:ASP 1,0", dcc.AccessoryAspect{Address: 4}},
		{"ACC:ASPECT 100,255", dcc.AccessoryAspect{Address: 103, Aspect: 255}},
		{"LOCO:FUNC 3,29,ON", dcc.Functions{Address: three, Group: dcc.F29F36, States: 1}},
		{"LOCO:FUNC 1000,68,ON", dcc.Functions{Address: dcc.Long(1000), Group: dcc.F61F68, States: 0x80}},
		{"ACC:CLE 1,OFF", dcc.Accessory{Decoder: 1}},
		{"ACC:CLEAR 310,ON", dcc.Accessory{Decoder: 78, Pair: 1, Output: 1}},
		{"CONS:SET 3,34,NORM", dcc.Consist{Address: three, Consist: 34}},
		{"CONSIST:SET 1000,127,REVERSE", dcc.Consist{Address: dcc.Long(1000), Consist: 127, Reversed: true}},
		{"CONS:CLE 3", dcc.Consist{Address: three}},
		{"POM:BIT 3,29,5,1", dcc.MainBit{Address: three, CV: 29, Write: true, Bit: 5, Value: 1}},
		{"POM:WRIT 3,1,5", dcc.MainWrite{Address: three, CV: 1, Value: 5}},
		{"POM:WRITE 1000,1024,255", dcc.MainWrite{Address: dcc.Long(1000), CV: 1024, Value: 255}},
		{"  loco:spe\t3 , 1.0E1 ,forw", dcc.Speed{Address: three, Steps: dcc.Steps128, Direction: dcc.Forward, Step: 10}},
	} {
		b := newBench(t, Options{Nominal: true}, true)
		b.powerUp()
		b.do(c.command)
		asked := b.Now()
		b.wait(100 * time.Millisecond)
		want := packet(c.want, nil)
		if assert.GreaterOrEqual(t, b.main.count(want), 2, "%s: %v", c.command, b.main.meanings()) {
			for _, p := range b.main.packets {
				if p.Bytes.Equal(want) {
					assert.Less(t, p.StartBit, asked+30*time.Millisecond, c.command)
					break
				}
			}
		}
		assert.Len(t, b.main.meanings(), 2, c.command) // and the resets of the power-up sequence
	}
}

func TestQueriesAreAnswered(t *testing.T) {
	b := newBench(t, Options{Nominal: true}, false)
	d := b.fit(fakedecoder.Default())
	for _, c := range [][2]string{
		{"*IDN?", "bufferstop,simulated station,0," + Version},
		{"*OPC?", "1"},
		{"TRACk:POWer? MAIN", "OFF"},
		{"TRAC:POW MAIN,ON;POW? MAIN;POW? PROG", "ON;OFF"},
		{"TRAC:CURR? MAIN", "0"},
		{":SYSTem:ERRor?", `0,"No error"`},
		{"CV:READ? 1;:SYST:ERR?", `3;0,"No error"`},
		{"CV:READ? 1,DIR", "3"},
		{"CV:READ? 1,DIRECT", "3"},
		{"CV:VER? 1,3", "1"},
		{"CV:VER? 1,4", "0"},
		{"CV:WRIT 1,44;:SYST:ERR?;:CV:READ? 1", `0,"No error";44`},
		{"CV:BIT 29,0,1;READ? 29", "7"},
		{"TRAC:POW MAIN,OFF;POW? MAIN", "OFF"},
		{"*CLS;*IDN?;*OPC?", "bufferstop,simulated station,0," + Version + ";1"},
	} {
		assert.Equal(t, c[1], b.ask(c[0]), c[0])
	}
	assert.EqualValues(t, 44, d.CV(1))
}

func TestMistakesAreQueuedAsErrors(t *testing.T) {
	for message, want := range map[string]string{
		"HONK":                         `-113,"Undefined header"`,
		"LOCO:HONK 3":                  `-113,"Undefined header"`,
		"LOCOM:SPE 3,1,FORW":           `-113,"Undefined header"`,
		"LOCO:SPE? 3":                  `-113,"Undefined header"`,
		"SPE 3,1,FORW":                 `-113,"Undefined header"`,
		"LOCO:SPE 3,10":                `-109,"Missing parameter"`,
		"LOCO:SPE 3,,FORW":             `-109,"Missing parameter"`,
		"LOCO:SPE 3,10,FORW,128,5":     `-108,"Parameter not allowed"`,
		"LOCO:SPE 0,10,FORW":           `-222,"Data out of range"`,
		"LOCO:SPE 10240,10,FORW":       `-222,"Data out of range"`,
		"LOCO:SPE 3,127,FORW,128":      `-222,"Data out of range"`,
		"LOCO:SPE 3,29,FORW,28":        `-222,"Data out of range"`,
		"LOCO:SPE 3,1E400,FORW,28":     `-222,"Data out of range"`,
		"LOCO:SPE 3,1,UP":              `-224,"Illegal parameter value"`,
		"LOCO:SPE 3,1,FORW,14":         `-224,"Illegal parameter value"`,
		"LOCO:SPE three,1,FORW":        `-104,"Data type error"`,
		"LOCO:FUNC 3,69,ON":            `-222,"Data out of range"`,
		"ACC:CLE 2045,ON":              `-222,"Data out of range"`,
		"ACC:CLE 1,ON":                 `-221,"Settings conflict"`,
		"CONS:SET 3,0,NORM":            `-222,"Data out of range"`,
		"CONS:SET 3,128,NORM":          `-222,"Data out of range"`,
		"CONS:SET 3,1,UP":              `-224,"Illegal parameter value"`,
		"CONS:SET 3,1,NORM":            `-221,"Settings conflict"`,
		"CONS:CLE 0":                   `-222,"Data out of range"`,
		"CONS:CLE 3":                   `-221,"Settings conflict"`,
		"POM:BIT 3,1,8,1":              `-222,"Data out of range"`,
		"POM:BIT 3,1,1,2":              `-222,"Data out of range"`,
		"POM:BIT 3,1025,1,1":           `-222,"Data out of range"`,
		"ACC:OUTP 0,ON":                `-222,"Data out of range"`,
		"ACC:OUTP 2045,ON":             `-222,"Data out of range"`,
		"ACC:OUTP 1,ON":                `-221,"Settings conflict"`, // the main track is off
		"POM:WRIT 3,1,1":               `-221,"Settings conflict"`,
		"CV:READ? 0":                   `-222,"Data out of range"`,
		"CV:READ? 1025":                `-222,"Data out of range"`,
		"CV:READ? 1025,PAG":            `-222,"Data out of range"`,
		"CV:READ? 5,REGISTER":          `-222,"Data out of range"`, // no register has it
		"CV:READ? 1,GUESS":             `-224,"Illegal parameter value"`,
		"CV:WRIT 1,256":                `-222,"Data out of range"`,
		"CV:WRIT 2,2,ADDR":             `-222,"Data out of range"`,
		"CV:WRIT 1,128,ADDR":           `-222,"Data out of range"`,
		"CV:WRIT 1,2,PAG":              `110,"No acknowledge"`,
		"CV:BIT 1,8,1":                 `-222,"Data out of range"`,
		"CV:BIT 1,7,2":                 `-222,"Data out of range"`,
		"TRAC:POW SIDE,ON":             `-224,"Illegal parameter value"`,
		"\x01\x02":                     `-102,"Syntax error"`,
		"CV:READ? 1":                   `110,"No acknowledge"`, // no decoder
		"CV:WRIT 1,1":                  `110,"No acknowledge"`,
		"LOCO:SPE 3,1,FORW;:;*RST;; ;": `-113,"Undefined header"`,
	} {
		b := newBench(t, Options{Nominal: true}, false)
		b.say(message)
		assert.Equal(t, want, b.ask(":SYST:ERR?"), message)
		assert.Equal(t, `0,"No error"`, b.ask(":SYST:ERR?"), message)
	}
}

func TestTheErrorQueueOverflows(t *testing.T) {
	b := newBench(t, Options{Nominal: true}, false)
	for range 20 {
		b.say("HONK")
		b.wait(10 * time.Millisecond)
	}
	for range errorQueueEntries - 1 {
		assert.Equal(t, `-113,"Undefined header"`, b.ask("SYST:ERR?"))
	}
	assert.Equal(t, `-350,"Queue overflow"`, b.ask("SYST:ERR?"))
	b.say("HONK")
	assert.Equal(t, `0,"No error"`, b.ask("*CLS;:SYST:ERR?"))
}

func TestWhatDoesNotFitIntoTheInputBufferIsDropped(t *testing.T) {
	b := newBench(t, Options{Nominal: true}, false)
	b.say("*IDN?" + strings.Repeat(" ", 1000) + ";*IDN?")
	assert.Equal(t, `-363,"Input buffer overrun"`, b.ask("SYST:ERR?"))
	// A long read holds up the messages behind it. Those that fit wait; none is executed in part.
	b.say("CV:READ? 1")
	for range 20 {
		b.say("LOCO:FUNC 3,0,ON;:SYST:ERR?")
	}
	b.wait(3 * time.Second)
	lines := 0
	for {
		line, err := b.hear(time.Second)
		if err != nil {
			break
		}
		lines++
		assert.Contains(t, []string{`110,"No acknowledge"`, `-363,"Input buffer overrun"`, `0,"No error"`}, line)
	}
	assert.Equal(t, 9, lines) // 28 characters each into 256
}

func TestARelativeHeaderGoesOnWhereTheLastOneWas(t *testing.T) {
	for message, want := range map[string][]string{
		"LOCO:SPE 3;FUNC 4":         {"LOCO:SPE", "LOCO:FUNC"},
		"LOCO:SPE 3;*OPC;FUNC 4":    {"LOCO:SPE", "*OPC", "LOCO:FUNC"},
		"LOCO:SPE 3;:SYST:ERR;VERS": {"LOCO:SPE", "SYST:ERR", "SYST:VERS"},
		"*IDN;LOCO:STOP":            {"*IDN", "LOCO:STOP"},
		"loco:spe 3 ; ;:a":          {"LOCO:SPE", "A"},
		"":                          nil,
	} {
		var got []string
		for _, u := range parse(message) {
			got = append(got, u.header)
		}
		assert.Equal(t, want, got, message)
	}
}

func TestMnemonicsHaveALongAndAShortForm(t *testing.T) {
	for header, want := range map[string]bool{
		"SYST:ERR": true, "SYSTEM:ERROR": true, "SYST:ERROR": true, "SYSTEM:ERR": true,
		"SYSTE:ERR": false, "SYS:ERR": false, "SYST": false, "SYST:ERR:NEXT": false, "": false, ":": false,
	} {
		assert.Equal(t, want, matches("SYSTem:ERRor", header), header)
	}
}

// FuzzLanguage feeds a station with anything. It must go on working: the same question has the same answer afterwards,
// and the signal on the track keeps its limits.
func FuzzLanguage(f *testing.F) {
	for _, seed := range []string{
		"*IDN?\n", "TRAC:POW MAIN,ON;:LOCO:SPE 3,10,FORW,128;FUNC 3,0,ON\n", "CV:READ? 29;:SYST:ERR?\n",
		"LOCO:STOP ALL;STOP 3\nACC:OUTP 1,ON;ASP 2,3\n", ";;:;*;?\n", "POM:WRIT 1,1,1e0\n", "TRACk:POWer? PROG",
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > 512 {
			return
		}
		b := newBench(t, Options{Nominal: true}, true)
		b.say(string(data))
		b.wait(time.Duration(20+10*len(data)) * time.Millisecond)
		for {
			line, err := b.hear(5 * time.Second)
			if err != nil {
				break
			}
			require.NotContains(t, line, "\r")
		}
		require.Equal(t, `"bufferstop"`, `"`+b.ask("*IDN?")[:10]+`"`)
		require.Empty(t, b.main.faults())
		require.Empty(t, b.programming.faults())
	})
}
