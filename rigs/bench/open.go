package bench

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"time"

	"bufferstop/harness"
	"bufferstop/harness/link"
	"bufferstop/harness/station"
	"bufferstop/rigs/serving"
	"bufferstop/rigs/simulated"
)

// Options are what a rig file does not say.
type Options struct {
	// Seed and Defect are those of a station inside: see simulated.Options. Without one, Defect is an error.
	Seed   int64
	Defect string
	// Link is the address of the station, in place of that in the files.
	Link string
	// Claim, if set, is called before the link to a station inside is opened, with the identities of what it is served at and of
	// what the link leads to: see link.Address.Identity. An error of it is that of Open.
	Claim func(identities ...string) error
	// Record, if set, gets the raw stream of the probe: see probe.Replay. It is written to by another goroutine until the rig
	// is closed.
	Record io.Writer
	// Stderr gets what an adapter says on its standard error; nothing is kept of it if it is nil.
	Stderr io.Writer
	// Ends, if set, makes the link to a station inside: the harness' end and the station's. Nothing is served and no address
	// is opened then. The rig closes both.
	Ends func(ctx context.Context) (near, far link.Link, err error)
}

// comeBack is how long a link that was lost may take to come back: a cable put back, a board that starts. Our own choice.
const comeBack = 10 * time.Second

// Open opens the link to the station, and serves the station inside if there is one. A serial device with a relative path
// is looked for beside the rig file; one of Options.Link, in the present directory. Nobody else may be serving at the path
// of a station inside. A bench with a probe is a *ProbedRig, any other a *Rig.
func Open(ctx context.Context, f *File, file *station.File, o Options) (harness.Rig, error) {
	switch {
	case o.Record != nil && !f.Streams():
		return nil, errors.New("bench rig: no probe whose stream could be recorded (hint: a table [probe] in the rig file, with the link to a probe that has a stream)")
	case f.Inside != nil && f.Probe != nil:
		return openBox(ctx, f, file, o)
	case f.Inside != nil:
		return openInside(ctx, f, file, o)
	}
	if o.Defect != "" {
		return nil, fmt.Errorf("bench rig: defect %q: only a station inside has one by order (hint: a table [inside] in the rig file)", o.Defect)
	}
	address, err := f.address(file, o, link.Address{})
	if err != nil {
		return nil, err
	}
	return f.openReal(ctx, file, o, address, link.Address{})
}

// openReal opens the probe, if there is one, and the link to the station. The probe is at the address that the rig file says,
// unless another is given.
func (f *File) openReal(ctx context.Context, file *station.File, o Options, address, eyes link.Address) (harness.Rig, error) {
	if f.Probe == nil {
		line, err := f.dial(ctx, file, o, address)
		if err != nil {
			return nil, err
		}
		return &Rig{side: nothing{link.NewWallClock()}, name: f.Name, line: line}, nil
	}
	if eyes == (link.Address{}) {
		var err error
		if eyes, err = f.ProbeAddress(); err != nil {
			return nil, err
		}
	}
	p, err := f.openProbe(ctx, eyes, o)
	if err != nil {
		return nil, err
	}
	near, err := f.dial(ctx, file, o, address)
	if err != nil {
		return nil, errors.Join(err, p.Close())
	}
	return &ProbedRig{Rig: &Rig{side: p, name: f.Name, line: &probedLine{near, p}}, probed: p}, nil
}

// openInside builds the simulated bench and connects its station.
func openInside(ctx context.Context, f *File, file *station.File, o Options) (_ harness.Rig, err error) {
	if file.Adapter != nil && f.Inside.Pace == paceVirtual {
		return nil, errors.New(`bench rig: an adapter lives in real time (hint: pace = "real" in [inside])`)
	}
	rig, err := simulated.New(simulated.Options{Name: f.Name, Seed: o.Seed, Defect: o.Defect, Dialect: file.Dialect})
	if err != nil {
		return nil, err
	}
	r := &Rig{side: rig, name: f.Name, line: rig.Link()}
	defer func() {
		if err != nil {
			err = errors.Join(err, r.Close())
		}
	}()
	connect := o.Ends
	if connect == nil {
		connect = func(ctx context.Context) (near, far link.Link, err error) { return f.connect(ctx, file, o) }
	}
	w := crossing{translated: file.Adapter != nil, limit: carryLimit}
	w.near, w.far, err = connect(ctx)
	if w.far != nil {
		r.far = w.far
	}
	if err != nil {
		return nil, err
	}
	if f.Inside.Pace == paceVirtual {
		r.side, r.line = newVirtual(rig, w)
	} else {
		r.side, r.line = newReal(rig, w)
	}
	return r, nil
}

// connect serves the station inside and opens the link to it.
func (f *File) connect(ctx context.Context, file *station.File, o Options) (near, far link.Link, err error) {
	came := false
	port, err := f.serve(func(n serving.Notice) { came = came || n.Event == serving.Came })
	if err != nil {
		return nil, nil, fmt.Errorf("bench rig: the station inside: %w", err)
	}
	served := port.Address()
	if f.Inside.Serve == serveRFC2217 {
		served = link.Address{}
	}
	address, err := f.address(file, o, served)
	if err == nil && o.Claim != nil {
		err = o.Claim(f.identities(port.Address(), address)...)
	}
	if err != nil {
		return nil, port, err
	}
	if near, err = f.dial(ctx, file, o, address); err != nil || file.Adapter != nil {
		return near, port, err
	}
	// What a port says while nobody is there is lost, and it knows of somebody only when it reads.
	waiting, cancel := context.WithTimeout(ctx, carryLimit)
	defer cancel()
	for !came && err == nil {
		if _, err = port.Read(waiting, make([]byte, 1), unattended); errors.Is(err, link.ErrTimeout) {
			err = nil
		}
	}
	if waiting.Err() != nil && !came {
		err = fmt.Errorf("bench rig: the station inside is served at %s, and the link seems to lead elsewhere: %w", port.Address(), err)
	}
	if err != nil {
		err = errors.Join(err, near.Close())
	}
	return near, port, err
}

// identities are those of what a station inside is served at and of what the link to it leads to. A port that the system
// has chosen is known to nobody else.
func (f *File) identities(served, address link.Address) (all []string) {
	for _, a := range []link.Address{served, address} {
		if a != (link.Address{}) && !(f.Inside.Serve == serveTCP && strings.HasSuffix(f.Inside.Listen, ":0")) {
			all = append(all, a.Identity())
		}
	}
	return all
}

// serve makes the station's end of the link.
func (f *File) serve(tell func(serving.Notice)) (serving.Port, error) {
	if f.Inside.Serve == serveTCP {
		return serving.TCP(f.Inside.Listen, tell)
	}
	return serving.PTY(f.ServedAt(), tell)
}

// ServedAt is the path of the symbolic link to the pseudo-terminal of a station inside; empty where there is none.
func (f *File) ServedAt() string {
	switch {
	case f.Inside == nil:
		return ""
	case f.Inside.Path == "", filepath.IsAbs(f.Inside.Path):
		return f.Inside.Path
	}
	return filepath.Join(f.Folder, f.Inside.Path)
}

// dial opens the link to the station at the address, or starts the adapter that does.
func (f *File) dial(ctx context.Context, file *station.File, o Options, address link.Address) (link.Link, error) {
	if file.Adapter != nil {
		told := *file
		told.Link = address.String()
		return told.OpenAdapter(ctx, cmp.Or[io.Writer](o.Stderr, io.Discard))
	}
	if address == (link.Address{}) {
		return nil, errors.New(`bench rig: no link to the station (hint: say it in the rig file, [station] link = "serial:/dev/ttyACM0?baud=115200", or on the command line)`)
	}
	l := link.Reopening(address.Open, comeBack)
	if err := l.Open(ctx); err != nil {
		return nil, errors.Join(err, l.Close())
	}
	return l, nil
}

// address says where the station is reached; it is empty where nothing says it.
func (f *File) address(file *station.File, o Options, served link.Address) (link.Address, error) {
	text := cmp.Or(o.Link, f.Link)
	if text == "" && f.Inside == nil { // the link in a station file leads to the real one
		text = file.Link
	}
	if text == "" {
		return served, nil
	}
	if want := f.Scheme(); !strings.HasPrefix(text, want) {
		return link.Address{}, fmt.Errorf("bench rig: the link to the station inside is %+q, want an address that begins with %s", text, want)
	}
	address, err := link.ParseAddress(text)
	if err != nil {
		return address, err
	}
	folder := f.Folder
	if o.Link != "" {
		folder = "."
	}
	// An adapter runs in a folder of its own.
	folder, err = filepath.Abs(folder)
	return address.In(folder), err
}

// Scheme is how the address of a station inside begins; empty where there is none.
func (f *File) Scheme() string {
	if f.Inside == nil {
		return ""
	}
	return schemes[f.Inside.Serve]
}
