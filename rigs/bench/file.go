package bench

import (
	"errors"
	"fmt"
	"net"
	"path/filepath"
	"strconv"
	"strings"

	"bufferstop/harness/link"
	"bufferstop/harness/written"
)

// A File is a rig file of this kind:
//
//	kind = "bench"
//	name = "my bench"                            # may be left out
//
//	[station]
//	file = "my.station.toml"                     # beside the rig file
//	link = "serial:usb=1209:0001?baud=115200"    # see link.ParseAddress; may stand in the station file instead
//
// A table [probe] has a capture probe at the tracks: see Probe. Without one the rig reaches no track.
//
// A table [inside] has a simulated station, with its tracks, take the place of the real one at the far end of the link:
//
//	[inside]
//	serve = "pty"                # or tcp, or rfc2217
//	path = "station.tty"         # pty: a symbolic link to make to the device, relative to the rig file
//	listen = "127.0.0.1:0"       # tcp: where to listen; port 0 takes a free one
//	pace = "real"                # or virtual: time passes only while the harness waits
//	probe = "probe.tty"          # with a table [probe]: a symbolic link to make to the probe's device
//
// With serve = "pty" the link is a serial: one to that path, and with tcp a tcp: one to where it listens, which are what
// they are when they are left out; what the station file says of a link holds for the real station. With rfc2217 the station is at a pseudo-terminal too, for an RFC 2217 server on this
// machine to serve; path and an rfc2217: link to the server are needed.
type File struct {
	// Name is what reports call the rig.
	Name string
	// Folder is where the file is: paths in it are relative to it.
	Folder string
	// Station is the name of the station file, relative to the rig file.
	Station string
	// Link is the address of the station; empty when the file has none.
	Link string
	// Inside is the station in this process, or nil.
	Inside *Inside
	// Probe is the capture probe at the tracks, or nil.
	Probe *Probe
}

// Inside is a simulated station at the far end of a real link.
type Inside struct {
	Serve  string // pty, tcp or rfc2217
	Path   string // of the symbolic link to the pseudo-terminal, relative to the rig file; empty for none
	Listen string // host:port
	Pace   string // real or virtual
	Probe  string // path of the symbolic link to the pseudo-terminal of its probe, relative to the rig file; empty for none
}

// What [inside] may say.
const (
	servePTY     = "pty"
	serveTCP     = "tcp"
	serveRFC2217 = "rfc2217"
	paceReal     = "real"
	paceVirtual  = "virtual"
)

// anyPort is where a station inside listens unless the file says otherwise.
const anyPort = "127.0.0.1:0"

// NeedsLink says that only an address in the rig file or on the command line tells how the station is reached.
func (n *Inside) NeedsLink() bool { return n.Serve == serveRFC2217 }

// Virtual says that time passes only while the harness waits.
func (n *Inside) Virtual() bool { return n.Pace == paceVirtual }

// contents is the file as it is written.
type contents struct {
	Kind    string `toml:"kind"`
	Name    string `toml:"name"`
	Station struct {
		File string `toml:"file"`
		Link string `toml:"link"`
	} `toml:"station"`
	Inside *struct {
		Serve  string  `toml:"serve"`
		Path   string  `toml:"path"`
		Listen *string `toml:"listen"`
		Pace   *string `toml:"pace"`
		Probe  string  `toml:"probe"`
	} `toml:"inside"`
	Probe *probeContents `toml:"probe"`
}

// Parse reads the text of a rig file; name is where it is, and stands for it in errors. All that is wrong comes back
// together, each a *written.Error with its place, joined.
func Parse(name string, data []byte) (*File, error) {
	var c contents
	doc, ok := written.Open(name, data, &c)
	if !ok {
		return nil, doc.Err()
	}
	d := parser{doc}
	f := &File{Name: c.Name, Folder: filepath.Dir(name), Station: c.Station.File, Link: c.Station.Link}
	if c.Kind != "bench" {
		d.Fail("kind", written.Quote(c.Kind), `"bench"`, "")
	}
	if c.Name == "" {
		f.Name = "bench"
	}
	if c.Station.File == "" {
		d.Fail("station.file", "no station file", "the name of one, relative to this file", `file = "my.station.toml"`)
	}
	var wrong *link.AddressError
	if _, err := link.ParseAddress(c.Station.Link); c.Station.Link != "" && errors.As(err, &wrong) {
		d.Fail("station.link", wrong.Quoted(), wrong.Want, wrong.Hint)
	}
	if c.Inside != nil {
		f.Inside = &Inside{Serve: c.Inside.Serve, Path: c.Inside.Path, Listen: anyPort, Pace: paceReal, Probe: c.Inside.Probe}
		if c.Inside.Listen != nil {
			f.Inside.Listen = *c.Inside.Listen
		}
		if c.Inside.Pace != nil {
			f.Inside.Pace = *c.Inside.Pace
		}
		d.inside(f.Inside, c.Station.Link, c.Inside.Listen != nil)
		if f.Inside.Probe != "" && c.Probe == nil {
			d.Fail("inside.probe", written.Quote(f.Inside.Probe), "a table [probe] beside it", "")
		}
	}
	if c.Probe != nil {
		f.Probe = d.probe(c.Probe, name, f.Inside)
		d.apart(c.Station.Link, c.Probe.Link, f.Folder)
	}
	if err := d.Err(); err != nil {
		return nil, err
	}
	return f, nil
}

// A parser is a rig file that is being checked.
type parser struct{ *written.Document }

// inside checks the table of the station inside.
func (d parser) inside(n *Inside, address string, listens bool) {
	scheme := schemes[n.Serve]
	switch {
	case scheme == "":
		d.Fail("inside.serve", written.Quote(n.Serve), "pty, tcp or rfc2217", "")
		return
	case address != "" && !strings.HasPrefix(address, scheme):
		d.Fail("station.link", written.Quote(address), "an address that begins with "+scheme, "the station inside is served so")
	case n.Serve == serveRFC2217 && n.Path == "":
		d.Fail("inside.path", "no path", "the path at which the RFC 2217 server finds the station", `path = "station.tty"`)
	case n.Serve == serveTCP && n.Path != "":
		d.Fail("inside.path", written.Quote(n.Path), "no path: a station served by tcp has none", "")
	case n.Serve != serveTCP && listens:
		d.Fail("inside.listen", written.Quote(n.Listen), `no address: only serve = "tcp" listens`, "")
	}
	for key, path := range map[string]string{"inside.path": n.Path, "inside.probe": n.Probe} {
		if strings.ContainsRune(path, 0) {
			d.Fail(key, written.Quote(path), "a path without a zero byte", "")
		}
	}
	if _, port, err := net.SplitHostPort(n.Listen); err != nil {
		d.Fail("inside.listen", written.Quote(n.Listen), "host:port", `port 0 takes a free one: "`+anyPort+`"`)
	} else if _, err := strconv.ParseUint(port, 10, 16); err != nil {
		d.Fail("inside.listen", written.Quote(port), "a port of 0 to 65535", "")
	}
	if n.Pace != paceReal && n.Pace != paceVirtual {
		d.Fail("inside.pace", written.Quote(n.Pace), fmt.Sprintf("%s or %s", paceReal, paceVirtual), "")
	}
}

// schemes are how addresses begin that lead to what is served.
var schemes = map[string]string{servePTY: "serial:", serveTCP: "tcp:", serveRFC2217: "rfc2217:"}
