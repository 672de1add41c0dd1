package catalogue

import (
	_ "embed"
	"errors"
	"fmt"
	"regexp"
	"slices"
)

//go:embed rows.toml
var rowsFile []byte

// NotSeen is the evidence of a row whose text nobody of us has read: that there is such a text is all we know.
const NotSeen Evidence = "not seen"

// NoInstrument is the instrument of a row that asks nothing of a station.
const NoInstrument = "none"

// A Row is one fact of the standards that binds a command station or the power station at its output. It is checked by
// requirements, or explained.
type Row struct {
	ID       string   `toml:"id"`    // a letter for the group of standards and a number: E2
	Binds    string   `toml:"binds"` // CS, PS, DEC, DET, all
	Fact     string   `toml:"fact"`  // in our own words
	Source   string   `toml:"source"`
	Evidence Evidence `toml:"evidence"`
	// Requirements are the ids of those that check it.
	Requirements []string `toml:"requirements"`
	// Explained is why nothing checks it, Instrument what would have to be there to do so.
	Explained  string `toml:"explained"`
	Instrument string `toml:"instrument"`
}

// Rows returns every row, in the order of the standards.
func Rows() []Row { return slices.Clone(rows) }

// RowsOf returns the ids of the rows that the requirement checks.
func RowsOf(requirement string) []string {
	var ids []string
	for _, r := range rows {
		if slices.Contains(r.Requirements, requirement) {
			ids = append(ids, r.ID)
		}
	}
	return ids
}

// The rows are part of the program, as the requirements are.
var rows = func() []Row {
	rs, err := parseRows("rows.toml", rowsFile)
	if err != nil {
		panic(err)
	}
	return rs
}()

// parseRows reads [[row]] tables and checks each by itself. Whether the requirements exist is for the tests to see.
func parseRows(name string, data []byte) ([]Row, error) {
	var file struct {
		Rows []Row `toml:"row"`
	}
	if err := decode(name, data, &file); err != nil {
		return nil, err
	}
	seen := map[string]bool{}
	for _, r := range file.Rows {
		err := r.check()
		if err == nil && seen[r.ID] {
			err = errors.New("it stands twice")
		}
		if err != nil {
			return nil, fmt.Errorf("catalogue: %s: row %q: %w", name, r.ID, err)
		}
		seen[r.ID] = true
	}
	return file.Rows, nil
}

var rowShape = regexp.MustCompile(`^[EBXCSFRO][1-9][0-9]?$`)

func (r Row) check() error {
	switch kinds := append(slices.Clone(kindsOfEvidence), NotSeen); {
	case !rowShape.MatchString(r.ID):
		return errors.New("wanted a letter of E, B, X, C, S, F, R, O and a number, such as E2")
	case r.Binds == "" || r.Fact == "" || r.Source == "":
		return errors.New("binds, fact and source must be given")
	case !slices.Contains(kinds, r.Evidence):
		return fmt.Errorf("evidence %q: wanted one of %v", r.Evidence, kinds)
	case len(r.Requirements) == 0 && r.Explained == "":
		return errors.New("neither requirements nor explained: wanted what checks it, or why nothing does")
	case len(r.Requirements) > 0 && (r.Explained != "" || r.Instrument != ""):
		return errors.New("requirements and explained: wanted one of them")
	case r.Explained != "" && r.Instrument == "":
		return fmt.Errorf("explained without an instrument: wanted what could check it, or %q", NoInstrument)
	}
	return nil
}
