package simulated

import (
	"testing"
	"time"

	"bufferstop/harness/dcc"
	"bufferstop/rigs"
	"bufferstop/rigs/rails"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"periph.io/x/conn/v3/physic"
)

func TestTheRigFileThatComesWithTheProgramLoads(t *testing.T) {
	f, err := Load(rigs.Files, "simulated.rig.toml")
	require.NoError(t, err)
	assert.Equal(t, "reference.station.toml", f.Station)
	r, err := New(f.Options)
	require.NoError(t, err)
	assert.Equal(t, f.Name, r.Describe().Name)
	require.NoError(t, r.Close())
	_, err = Load(rigs.Files, "absent.rig.toml")
	require.ErrorContains(t, err, "absent.rig.toml")
}

const minimal = "kind = \"simulated\"\nname = \"x\"\n[station]\nfile = \"a.station.toml\"\n"

func TestARigFileMaySayMore(t *testing.T) {
	f, err := Parse("x", []byte(minimal+`habit = "cutout"
[line]
baud = 19200
[supply]
voltage = "14V"
limit = "3A"
[track]
drop = "1.5V"
bridge = "400mOhm"
wiring = "1Ohm"
rise = "1us"
capacitance = "100nF"
[probe]
clock = "8MHz"
noise = "20ns"
sample_interval = "250us"
current_step = "2mA"
current_noise = "3mA"
volt_interval = "50ns"
volt_step = "5mV"
volt_noise = "10mV"
`))
	require.NoError(t, err)
	assert.Equal(t, Options{
		Name:  "x",
		Habit: "cutout",
		Baud:  19200,
		Circuit: rails.Circuit{Supply: 14 * physic.Volt, Limit: 3 * physic.Ampere, Drop: 1500 * physic.MilliVolt, Bridge: 400 * physic.MilliOhm, Wiring: physic.Ohm,
			Rise: time.Microsecond, Capacitance: 100 * physic.NanoFarad},
		Probe: rails.Probe{
			Clock: 8 * physic.MegaHertz, Noise: 20 * time.Nanosecond, SampleInterval: 250 * time.Microsecond,
			CurrentStep: 2 * physic.MilliAmpere, CurrentNoise: 3 * physic.MilliAmpere,
			VoltInterval: 50 * time.Nanosecond, VoltStep: 5 * physic.MilliVolt, VoltNoise: 10 * physic.MilliVolt,
		},
	}, f.Options)
}

func TestARigFileSaysHowAccessoriesAreNumbered(t *testing.T) {
	for word, want := range map[string]dcc.Numbering{"first is raw 4": dcc.FirstIsRawFour, "first is raw 0": dcc.FirstIsRawZero} {
		f, err := Parse("x", []byte(minimal+"numbering = \""+word+"\"\n"))
		require.NoError(t, err)
		assert.Equal(t, want, f.Options.Numbering)
	}
}

func TestARigFileWithAMistakeNamesItsLine(t *testing.T) {
	for text, want := range map[string]string{
		minimal + "[probe]\nspeed = 3\n":                     "x:6:1: key: got probe.speed",
		minimal + "[probe]\nclock = \"fast\"\n":              "x:6",
		minimal + "[probe]\nnoise = \"10 minutes\"\n":        "x:6",
		minimal + "numbering = \"first is 1\"\n":             `x:5:13: station.numbering: got "first is 1", want "first is raw 4"`,
		minimal + "[line]\nbaud = \"fast\"\n":                "x:6",
		minimal + "[line]\nbaud = 3\n":                       "x:6:8: line.baud: got 3, want 300 to 4000000",
		minimal + "[supply]\nvoltage = \"40V\"\n":            "at most 30 V",
		minimal + "[probe\n":                                 "x:5",
		minimal + "habit = \"odd\"\n":                        `x:5:9: station.habit: got "odd", want one of "cutout", "latched"`,
		minimal + "[track]\nrise = \"1ms\"\n":                "want 0s to 30µs",
		minimal + "[probe]\nvolt_interval = \"1ns\"\n":       "want 5ns to 1µs",
		minimal + "[probe]\nvolt_noise = \"2V\"\n":           "want 0V to 1V",
		"kind = \"bench\"\n":                                 `x:1:8: kind: got "bench", want "simulated"`,
		"kind = \"simulated\"\n":                             "no station file",
		"kind = \"simulated\"\n[station]\nfile = \"../a\"\n": "want a path below",
	} {
		_, err := Parse("x", []byte(text))
		require.ErrorContains(t, err, want, text)
	}
}
