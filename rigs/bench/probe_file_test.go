package bench

import (
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestTheTableOfAProbeIsRead(t *testing.T) {
	name := filepath.Join("some", "my.rig.toml")
	const start = "kind = \"bench\"\n[station]\nfile = \"s\"\n[probe]\nlink = \"serial:probe.tty?baud=2000000\"\n"
	f, err := Parse(name, []byte(start))
	require.NoError(t, err)
	assert.Equal(t, &Probe{Link: "serial:probe.tty?baud=2000000", Stretch: time.Millisecond, SampleInterval: 500 * time.Microsecond,
		Calibration: filepath.Join("some", "my.calibration.toml"), SupplyOff: time.Second, Starts: 3 * time.Second}, f.Probe)
	address, err := f.ProbeAddress()
	require.NoError(t, err)
	assert.Equal(t, filepath.Join("some", "probe.tty"), address.Serial.Device, "beside the rig file")
	who, err := f.ProbeIdentities()
	require.NoError(t, err)
	assert.Len(t, who, 1)

	f, err = Parse(name, []byte(start+"stretch = \"500µs\"\nsample_interval = \"1ms\"\nloop_time = \"8ms\"\ncalibration = \"c/x.toml\"\nsupply_off = \"2s\"\nstarts_in = \"0s\"\n"))
	require.NoError(t, err)
	assert.Equal(t, &Probe{Link: "serial:probe.tty?baud=2000000", Stretch: 500 * time.Microsecond, SampleInterval: time.Millisecond,
		LoopTime: 8 * time.Millisecond, Calibration: filepath.Join("some", "c", "x.toml"), SupplyOff: 2 * time.Second}, f.Probe)

	// What can only look has no device to open, and the probe inside none to name.
	for link, identities := range map[string]int{"sigrok:driver=demo,channel=D0": 1, "file:capture.vcd": 0} {
		f, err = Parse(name, []byte("kind = \"bench\"\n[station]\nfile = \"s\"\n[probe]\nlink = \""+link+"\"\n"))
		require.NoError(t, err)
		who, err = f.ProbeIdentities()
		require.NoError(t, err)
		assert.Len(t, who, identities, link)
	}
	f, err = Parse(name, []byte("kind = \"bench\"\n[station]\nfile = \"s\"\n[inside]\nserve = \"pty\"\nprobe = \"p.tty\"\n[probe]\n"))
	require.NoError(t, err)
	assert.Equal(t, filepath.Join("some", "p.tty"), f.ProbeServedAt())
}

func TestATableOfAProbeWithAMistakeNamesItsPlace(t *testing.T) {
	const start = "kind = \"bench\"\n[station]\nfile = \"s\"\n"
	for text, want := range map[string]string{
		start + "link = \"serial:/dev/ttyX0?baud=9600\"\n[probe]\nlink = \"serial:/dev/ttyX0?baud=2000000\"\n": `x:6:8: probe.link: got "serial:/dev/ttyX0?baud=2000000", want another device than that of the station`,
		start + "[probe]\n":                                                     `x:4:2: probe.link: got no link, want the address of the probe`,
		start + "[probe]\nlink = \"/dev/ttyS0\"\n":                              `x:5:8: probe.link: got address "/dev/ttyS0", want serial:`,
		start + "[probe]\nlink = \"sigrok:channel=D0\"\n":                       `x:5:8: probe.link: got driver "", want`,
		start + "[probe]\nlink = \"tcp://a:1\"\nstretch = \"5ms\"\n":            `x:6:11: probe.stretch: got "5ms", want a time of 500µs to 4ms`,
		start + "[probe]\nlink = \"tcp://a:1\"\nsample_interval = \"1s\"\n":     `x:6:19: probe.sample_interval: got "1s", want a time of 100µs to 60ms`,
		start + "[probe]\nlink = \"tcp://a:1\"\nloop_time = \"soon\"\n":         `x:6:13: probe.loop_time: got "soon", want a time of 1µs to 1s`,
		start + "[probe]\nlink = \"tcp://a:1\"\nbaud = 3\n":                     `x:6:1: key: got probe.baud, want a key that this file may have`,
		start + "[inside]\nserve = \"pty\"\npace = \"virtual\"\n[probe]\n":      `x:6:8: inside.pace: got "virtual", want real`,
		start + "[inside]\nserve = \"pty\"\nprobe = \"p\"\n":                    `x:6:9: inside.probe: got "p", want a table [probe] beside it`,
		start + "[inside]\nserve = \"pty\"\n[probe]\nlink = \"tcp://a:1\"\n":    `x:7:8: probe.link: got "tcp://a:1", want an address that begins with serial:`,
		start + "[inside]\nserve = \"pty\"\n[probe]\nlink = \"file:a.vcd\"\n":   `x:7:8: probe.link: got "file:a.vcd", want a serial: address, or none`,
		start + "[inside]\nserve = \"pty\"\nprobe = \"\\u0000\"\n[probe]\n":     `inside.probe: got "\x00", want a path without a zero byte`,
		start + "[probe]\nlink = \"tcp://a:1\"\nsupply_off = \"0s\"\n":          `x:6:14: probe.supply_off: got "0s", want a time of 1ms to 1m0s`,
		start + "[probe]\nlink = \"file:a.vcd?pace=slow\"\nstarts_in = \"-1s\"": `x:6:13: probe.starts_in: got "-1s"`,
	} {
		_, err := Parse("x", []byte(text))
		require.ErrorContains(t, err, want, text)
	}
}
