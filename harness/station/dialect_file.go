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
	Name     string        `toml:"name"`
	Line     lineFile      `toml:"line"`
	Frame    *frameFile    `toml:"frame"`
	Checksum *checksumFile `toml:"checksum"`
	Time     struct {
		Answer    *string `toml:"answer"`
		Write     *string `toml:"write"`
		BusyPause *string `toml:"busy_pause"`
		Quiet     *string `toml:"quiet"`
	} `toml:"time"`
	Address struct {
		FirstLong *int `toml:"first_long"`
	} `toml:"address"`
	Words         map[string]map[string]string `toml:"words"`
	Fields        map[string]fieldFile         `toml:"fields"`
	Answers       map[string][]answerFile      `toml:"answers"`
	Event         []eventFile                  `toml:"event"`
	Start         []questionFile               `toml:"start"`
	KeepAlive     *keepAliveFile               `toml:"keep_alive"`
	Resynchronise *questionFile                `toml:"resynchronise"`
	Operation     map[string]operationFile     `toml:"operation"`
	Example       []exampleFile                `toml:"example"`
}

type lineFile struct {
	End       *string `toml:"end"`
	AnswerEnd *string `toml:"answer_end"`
	AnswerGap *string `toml:"answer_gap"`
	Tolerant  *bool   `toml:"tolerant"`
	Echo      *bool   `toml:"echo"`
	Text      *string `toml:"text"`
	Limit     *int    `toml:"limit"`
	Window    *int    `toml:"window"`
}

type answerFile struct {
	Means   string            `toml:"means"`
	Pattern string            `toml:"pattern"`
	Value   *string           `toml:"value"`
	Formats map[string]string `toml:"formats"`
	Say     *string           `toml:"say"`
}

type eventFile struct {
	Name    string  `toml:"name"`
	Pattern string  `toml:"pattern"`
	Restart bool    `toml:"restart"`
	Say     *string `toml:"say"`
}

// questionFile is something that is said to the station beside the operations.
type questionFile struct {
	Send    string  `toml:"send"`
	Pattern string  `toml:"pattern"`
	Timeout *string `toml:"timeout"`
	Say     *string `toml:"say"`
}

type keepAliveFile struct {
	Send    string  `toml:"send"`
	Pattern string  `toml:"pattern"`
	Timeout *string `toml:"timeout"`
	Say     *string `toml:"say"`
	Every   *string `toml:"every"`
}

type operationFile struct {
	Send    string            `toml:"send"`
	Timeout *string           `toml:"timeout"`
	Unit    *string           `toml:"unit"`
	Fixed   map[string]string `toml:"fixed"`
	Use     *[]string         `toml:"use"`
	Answer  []answerFile      `toml:"answer"`
}

type exampleFile struct {
	Operation string  `toml:"operation"`
	Send      *string `toml:"send"`
	Receive   any     `toml:"receive"` // a text, or a list of texts
	Means     *string `toml:"means"`
}
