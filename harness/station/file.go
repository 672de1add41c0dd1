package station

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"

	"bufferstop/harness/link"
	"bufferstop/harness/written"

	"github.com/pelletier/go-toml/v2"
)

// A File is a station file: who the station is, how it is talked to, what it claims and what it declares.
type File struct {
	Name        string   // of the station, as reports print it
	DialectFile string   // as the file names it
	Dialect     *Dialect // nil with an adapter
	Adapter     *Adapter // nil with a dialect
	// Link is the address of the link to the station, as link.ParseAddress reads it; empty when the file has none. Of a file
	// in a folder, the path of a serial device is absolute.
	Link     string
	Claims   Claims
	Declares Declares
	// Stated is the claims and the declares tables as the file has them, for a record of what was promised.
	Stated struct {
		Claims   map[string]any `toml:"claims"`
		Declares map[string]any `toml:"declares"`
	}

	doc *document // nil for one that was not read from a file
}

// Problem is something that is wrong with what the file says, at a key such as "claims.tracks", or at the nearest table above it. It
// is for those who know more of what a file may say than ParseFile does.
func (f *File) Problem(key, got, want, hint string) *FileError {
	if f.doc == nil {
		return &FileError{File: f.Name, What: key, Got: got, Want: want, Hint: hint}
	}
	return f.doc.Problem(key, got, want, hint)
}

type stationFile struct {
	Name     string       `toml:"name"`
	Dialect  string       `toml:"dialect"`
	Adapter  *adapterFile `toml:"adapter"`
	Link     string       `toml:"link"`
	Claims   claimsFile   `toml:"claims"`
	Declares declaresFile `toml:"declares"`
}

// Driver returns a driver that speaks with the station as the file says. Times are those of c.
func (f *File) Driver(l link.Link, c Clock, options ...Option) *Driver {
	if f.Adapter != nil {
		return newDriver(newAdapterLanguage(f.Adapter), l, c, options...)
	}
	return NewDriver(f.Dialect, l, c, options...)
}

// LoadFile reads a station file and the dialect file that it names, which is looked for beside it. What is wrong with
// either comes back as *FileError, joined.
func LoadFile(name string) (*File, error) {
	data, err := readBounded(func() (io.ReadCloser, error) { return os.Open(name) })
	if err != nil {
		return nil, err
	}
	f, err := ParseFile(name, data, func(dialect string) ([]byte, error) {
		if !filepath.IsAbs(dialect) {
			dialect = filepath.Join(filepath.Dir(name), dialect)
		}
		return readBounded(func() (io.ReadCloser, error) { return os.Open(dialect) })
	})
	if err != nil {
		return nil, err
	}
	return f, f.settle(filepath.Dir(name))
}

// settle makes absolute what is relative to the folder of the file: rig files, which may be elsewhere, take it as it is.
func (f *File) settle(folder string) error {
	folder, err := filepath.Abs(folder)
	if err != nil {
		return err
	}
	if f.Adapter != nil {
		f.Adapter.Folder = folder
	}
	address, err := link.ParseAddress(f.Link)
	if f.Link == "" || err != nil { // else it was checked
		return nil
	}
	if settled := address.In(folder); settled != address {
		f.Link = settled.String()
	}
	return nil
}

// LoadFS is LoadFile for a file system such as rigs.Files.
func LoadFS(files fs.FS, name string) (*File, error) {
	data, err := readBounded(func() (io.ReadCloser, error) { return files.Open(name) })
	if err != nil {
		return nil, err
	}
	return ParseFile(name, data, func(dialect string) ([]byte, error) {
		return readBounded(func() (io.ReadCloser, error) { return files.Open(path.Join(path.Dir(name), dialect)) })
	})
}

// readBounded reads a file, but no more of it than shows that it is too long.
func readBounded(open func() (io.ReadCloser, error)) ([]byte, error) {
	f, err := open()
	if err != nil {
		return nil, err
	}
	data, err := io.ReadAll(io.LimitReader(f, written.MaxBytes+1))
	return data, errors.Join(err, f.Close())
}

// ParseFile reads a station file from TOML; name stands for it in errors, and openDialect returns the content of the
// dialect file that it names. The keys, all strict; ranges are texts such as "1..127", quantities carry their unit:
//
//	name = "..."                        needed
//	dialect = "my.dialect.toml"         beside this file; needed unless there is an [adapter]
//	link = "serial:/dev/ttyX?baud=..."  how the station is reached, see link.ParseAddress; a rig file may say it instead.
//	                                    The path of a device may be relative to this file
//	[adapter]                           a program that talks with the station, in place of a dialect
//	  command = ["./mine", "{link}"]    needed: the program and its arguments, see File.OpenAdapter
//	  timeout = "2s"                    for the station to answer; reset and set_power have 3s, service mode 10s at least
//	  timeouts = { read_cv = "20s" }    by operation, and for hello ("15s") and ping
//	  restarts = 2                      how often it is started again after it has ended
//	[claims]
//	  tracks = ["main", "programming"]  needed, one at least
//	  speed_steps = [28, 128]
//	  short_addresses, long_addresses, functions = "0..28"
//	  accessories, aspects = "1..2044"  numbers as the user counts; with aspects, aspect_values = "0..31"
//	  numbering = "first is raw 4"      or "first is raw 0"; needed with accessories
//	  service_methods = ["direct"]      direct, paged, register, address
//	  bit_write, programming_on_main, bit_write_on_main, accessory_off, consist, cutout = true
//	  power_off_keeps_state = true      after the power of a track was off the station goes on with what it knew
//	  lacks = ["direct mode"]           what a standard makes mandatory and the station does not have
//	  [claims.editions]                 where editions differ: topic = "edition", as in aspects = "S-9.2.1 (2012)"
//	[declares]
//	  supply_voltage = "16V", current_accuracy = "50mA"
//	  start_time, no_decoder_time, read_time, stop_latency, command_latency, refresh_time = "2s"
//	  active_locomotives = 100          that it refreshes at a time
//	[declares.latency]                from a command's last byte on the link to the end of its packet on the track
//	  idle = { p50 = "30ms", p95 = "60ms", max = "200ms" }     with one locomotive; none but some of the three may be there,
//	  loaded = { p50 = "60ms" }                                with ten; max is command_latency where it is left out
//	[declares.main], [declares.programming]
//	  no_trip_current, trip_current, inrush_peak = "1.5A"
//	  trip_time, retry_after, inrush_tau = "100ms"
//	  recovery = "automatic"            or "command"
//	  after_recovery = "kept"           or "stopped"
func ParseFile(name string, data []byte, openDialect func(path string) ([]byte, error)) (*File, error) {
	var file stationFile
	doc, ok := open(name, data, &file)
	if !ok {
		return nil, doc.Err()
	}
	if file.Name == "" {
		doc.Fail("name", "no name", `a name, as in name = "my station"`, "")
	}
	claims := doc.claims(&file.Claims)
	f := &File{Name: file.Name, DialectFile: file.Dialect, Link: file.Link, Claims: claims, Declares: doc.declares(&file.Declares, claims), doc: doc}
	var wrong *link.AddressError
	if _, err := link.ParseAddress(file.Link); file.Link != "" && errors.As(err, &wrong) {
		doc.Fail("link", wrong.Quoted(), wrong.Want, wrong.Hint)
	}
	var dialectErr error
	if file.Adapter != nil {
		if f.Adapter = doc.adapter(file.Adapter, file.Link); file.Dialect != "" {
			doc.Fail("adapter", "an adapter and a dialect", "one of them", "the dialect is what the harness itself speaks")
		}
	} else if file.Dialect == "" {
		doc.Fail("dialect", "no dialect", "the name of a dialect file beside this one, or an [adapter]", `dialect = "reference.dialect.toml"`)
	} else if data, err := openDialect(file.Dialect); err != nil {
		doc.Fail("dialect", written.Quote(file.Dialect), "a file that can be read: "+err.Error(), "the name is relative to this file")
	} else {
		f.Dialect, dialectErr = ParseDialect(file.Dialect, data)
	}
	if err := errors.Join(doc.Err(), dialectErr); err != nil {
		return nil, err
	}
	return f, toml.Unmarshal(data, &f.Stated) // what was strictly read above reads again
}
