package station

import "time"

// What a dialect file may leave out.
const (
	defaultLineEnd   = "\n"
	defaultLineLimit = 4096
	defaultAnswer    = 2 * time.Second
	defaultWrite     = 2 * time.Second
	defaultBusyPause = 20 * time.Millisecond
	defaultQuiet     = 50 * time.Millisecond
	defaultWindow    = 4
	defaultFirstLong = 128
)

// dialectFile is a dialect as TOML has it.
type dialectFile struct {
	Name string `toml:"name"`
	Line struct {
		End       *string `toml:"end"`
		AnswerEnd *string `toml:"answer_end"`
		Limit     *int    `toml:"limit"`
		Window    *int    `toml:"window"`
	} `toml:"line"`
	Time struct {
		Answer    *string `toml:"answer"`
		Write     *string `toml:"write"`
		BusyPause *string `toml:"busy_pause"`
		Quiet     *string `toml:"quiet"`
	} `toml:"time"`
	Address struct {
		FirstLong *int `toml:"first_long"`
	} `toml:"address"`
	Words         map[string]map[string]string `toml:"words"`
	Answers       map[string][]answerFile      `toml:"answers"`
	Event         []eventFile                  `toml:"event"`
	Resynchronise *struct {
		Send    string  `toml:"send"`
		Pattern string  `toml:"pattern"`
		Timeout *string `toml:"timeout"`
	} `toml:"resynchronise"`
	Operation map[string]operationFile `toml:"operation"`
}

type answerFile struct {
	Means   string  `toml:"means"`
	Pattern string  `toml:"pattern"`
	Value   *string `toml:"value"`
}

type eventFile struct {
	Name    string `toml:"name"`
	Pattern string `toml:"pattern"`
}

type operationFile struct {
	Send    string            `toml:"send"`
	Timeout *string           `toml:"timeout"`
	Unit    *string           `toml:"unit"`
	Fixed   map[string]string `toml:"fixed"`
	Use     *[]string         `toml:"use"`
	Answer  []answerFile      `toml:"answer"`
}
