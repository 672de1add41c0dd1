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
	// Stderr gets what an adapter says on its standard error; nothing is kept of it if it is nil.
	Stderr io.Writer
	// Ends, if set, makes the link to a station inside: the harness' end and the station's. Nothing is served and no address
	// is opened then. The rig closes both.
	Ends func(ctx context.Context) (near, far link.Link, err error)
}

// comeBack is how long a link that was lost may take to come back: a cable put back, a board that starts. Our own choice.
const comeBack = 10 * time.Second

// Open opens the link to the station, and serves the station inside if there is one. A serial device with a relative path
// is looked for beside the rig file; one of Options.Link, in the present directory.
func Open(ctx context.Context, f *File, file *station.File, o Options) (*Rig, error) {
	if f.Inside != nil {
		return openInside(ctx, f, file, o)
	}
	if o.Defect != "" {
		return nil, fmt.Errorf("bench rig: defect %q: only a station inside has one by order (hint: a table [inside] in the rig file)", o.Defect)
	}
	line, err := f.dial(ctx, file, o, link.Address{})
	if err != nil {
		return nil, err
	}
	return &Rig{side: nothing{link.NewWallClock()}, name: f.Name, line: line}, nil
}

// openInside builds the simulated bench and connects its station.
func openInside(ctx context.Context, f *File, file *station.File, o Options) (_ *Rig, err error) {
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
	w := wire{translated: file.Adapter != nil, limit: carryLimit}
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
	if near, err = f.dial(ctx, file, o, served); err != nil || file.Adapter != nil {
		return near, port, err
	}
	// What a port says while nobody is there is lost, and it knows of somebody only when it reads.
	waiting, cancel := context.WithTimeout(ctx, carryLimit)
	defer cancel()
	for !came && err == nil {
		if _, err = port.Read(waiting, make([]byte, 1), look); errors.Is(err, link.ErrTimeout) {
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

// serve makes the station's end of the link.
func (f *File) serve(tell func(serving.Notice)) (serving.Port, error) {
	if f.Inside.Serve == serveTCP {
		return serving.TCP(f.Inside.Listen, tell)
	}
	path := f.Inside.Path
	if path != "" && !filepath.IsAbs(path) {
		path = filepath.Join(f.Folder, path)
	}
	return serving.PTY(path, tell)
}

// dial opens the link to the station, or starts the adapter that does. served is where a station inside is, unless a
// server stands between.
func (f *File) dial(ctx context.Context, file *station.File, o Options, served link.Address) (link.Link, error) {
	address, err := f.address(file, o, served)
	if err != nil {
		return nil, err
	}
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
	if f.Inside != nil && !strings.HasPrefix(text, schemes[f.Inside.Serve]) {
		return link.Address{}, fmt.Errorf("bench rig: the link to the station inside is %+q, want an address that begins with %s",
			text, schemes[f.Inside.Serve])
	}
	address, err := link.ParseAddress(text)
	if err != nil || o.Link != "" {
		return address, err
	}
	// An adapter runs in a folder of its own.
	folder, err := filepath.Abs(f.Folder)
	return address.In(folder), err
}
