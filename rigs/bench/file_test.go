package bench

import (
	"errors"
	"path/filepath"
	"testing"

	"bufferstop/harness/station"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestARigFileIsRead(t *testing.T) {
	name := filepath.Join("some", "folder", "my.rig.toml")
	f, err := Parse(name, []byte(`
kind = "bench"
name = "my bench"
[station]
file = "my.station.toml"
link = "serial:usb=1209:0001?baud=115200"
`))
	require.NoError(t, err)
	assert.Equal(t, &File{Name: "my bench", Folder: filepath.Join("some", "folder"), Station: "my.station.toml",
		Link: "serial:usb=1209:0001?baud=115200"}, f)

	f, err = Parse("x", []byte("kind = \"bench\"\nstation.file = \"s\"\ninside = { serve = \"tcp\" }\n"))
	require.NoError(t, err)
	assert.Equal(t, &File{Name: "bench", Folder: ".", Station: "s",
		Inside: &Inside{Serve: "tcp", Listen: "127.0.0.1:0", Pace: "real"}}, f)

	f, err = Parse("x", []byte("kind = \"bench\"\n[station]\nfile = \"s\"\nlink = \"serial:a.tty\"\n[inside]\nserve = \"pty\"\npath = \"a.tty\"\npace = \"virtual\"\n"))
	require.NoError(t, err)
	assert.Equal(t, &Inside{Serve: "pty", Path: "a.tty", Listen: "127.0.0.1:0", Pace: "virtual"}, f.Inside)
}

func TestARigFileWithAMistakeNamesItsPlace(t *testing.T) {
	const start = "kind = \"bench\"\n[station]\nfile = \"s\"\n"
	for text, want := range map[string]string{
		"kind = \"bench\"\n":                                                 "x: station.file: got no station file, want the name of one",
		"kind = \"simulated\"\n[station]\nfile = \"s\"\n":                    `x:1:8: kind: got "simulated", want "bench"`,
		"[station]\nfile = \"s\"\n":                                          `x: kind: got "", want "bench"`,
		start + "baud = 3\n":                                                 `x:4:1: key: got station.baud, want a key that this file may have`,
		start + "link = \"/dev/ttyS0\"\n":                                    `x:4:8: station.link: got address "/dev/ttyS0", want serial:`,
		start + "link = 3\n":                                                 `x:4:8: station.link: got "link = 3", want TOML of the right type`,
		start + "[inside\n":                                                  `x:4:`,
		start + "[inside]\nserve = \"usb\"\n":                                `x:5:9: inside.serve: got "usb", want pty, tcp or rfc2217`,
		start + "[inside]\n":                                                 `x:4:2: inside.serve: got "", want pty, tcp or rfc2217`,
		start + "link = \"tcp://a:1\"\n[inside]\nserve = \"pty\"\n":          `x:4:8: station.link: got "tcp://a:1", want an address that begins with serial:`,
		start + "[inside]\nserve = \"tcp\"\npath = \"p\"\n":                  `x:6:8: inside.path: got "p", want no path`,
		start + "[inside]\nserve = \"pty\"\nlisten = \"a:1\"\n":              `x:6:10: inside.listen: got "a:1", want no address`,
		start + "[inside]\nserve = \"tcp\"\nlisten = \"a\"\n":                `x:6:10: inside.listen: got "a", want host:port`,
		start + "[inside]\nserve = \"tcp\"\nlisten = \"a:70000\"\n":          `x:6:10: inside.listen: got "70000", want a port`,
		start + "[inside]\nserve = \"rfc2217\"\n":                            `x:4:2: inside.path: got no path`,
		start + "[inside]\nserve = \"tcp\"\npace = \"fast\"\n":               `x:6:8: inside.pace: got "fast", want real or virtual`,
		"kind = \"bench\"\nstation = { file = \"s\", link = \"nowhere\" }\n": `x:2:32: station.link: got address "nowhere"`,
	} {
		_, err := Parse("x", []byte(text))
		require.ErrorContains(t, err, want, text)
		var located *station.FileError
		assert.ErrorAs(t, err, &located)
	}
}

func TestAllMistakesOfARigFileAreToldInOrder(t *testing.T) {
	_, err := Parse("x", []byte("kind = \"b\"\n[inside]\nserve = \"tcp\"\npace = \"p\"\n[station]\nlink = \"l\"\n"))
	var told []string
	for _, e := range err.(interface{ Unwrap() []error }).Unwrap() {
		var located *station.FileError
		require.True(t, errors.As(e, &located))
		told = append(told, located.What)
	}
	assert.Equal(t, []string{"kind", "inside.pace", "station.file", "station.link", "station.link"}, told)
}

func FuzzParse(f *testing.F) {
	for _, seed := range []string{
		"kind = \"bench\"\n[station]\nfile = \"s\"\nlink = \"serial:x?baud=9600\"\n[inside]\nserve = \"pty\"\npath = \"p\"\npace = \"virtual\"\n",
		"kind = \"bench\"\nstation = { file = \"s\" }\ninside = { serve = \"tcp\", listen = \"[::1]:0\" }\n",
		"[[inside]]\n[inside.serve]\n", "a.b.c = [1, {d = 2}]\n", "\xff",
	} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		file, err := Parse("x", data)
		if err == nil {
			assert.NotEmpty(t, file.Station)
			return
		}
		var located *station.FileError
		require.ErrorAs(t, err, &located)
		assert.Nil(t, file)
	})
}
