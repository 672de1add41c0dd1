package firmware

import (
	"errors"
	"go/ast"
	goparser "go/parser"
	"go/token"
	"os"
	"strings"
	"testing"
	"time"

	"bufferstop/harness/station"
	"bufferstop/harness/written"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// documented is the example in the comment at File.
func documented(t testing.TB) string {
	t.Helper()
	file, err := goparser.ParseFile(token.NewFileSet(), "file.go", nil, goparser.ParseComments)
	require.NoError(t, err)
	var lines []string
	for _, declaration := range file.Decls {
		general, ok := declaration.(*ast.GenDecl)
		if !ok || general.Tok != token.TYPE || general.Specs[0].(*ast.TypeSpec).Name.Name != "File" {
			continue
		}
		for line := range strings.Lines(general.Doc.Text()) {
			if text, code := strings.CutPrefix(line, "\t"); code {
				lines = append(lines, text)
			} else if len(lines) > 0 && strings.TrimSpace(line) == "" {
				lines = append(lines, "\n")
			}
		}
	}
	require.NotEmpty(t, lines)
	return strings.Join(lines, "")
}

func TestTheDocumentedRigFileSaysWhatItsCommentSays(t *testing.T) {
	f, err := Parse("folder/my.rig.toml", []byte(documented(t)))
	require.NoError(t, err)
	assert.Equal(t, "my firmware on a simulated board", f.Name)
	assert.Equal(t, "folder/build/station.elf", f.ImagePath())
	assert.Equal(t, "my.station.toml", f.Station)
	assert.Equal(t, "atmega328p", f.MCU)
	assert.Equal(t, int64(16_000_000), f.Clock)
	assert.Equal(t, int64(5000), f.SupplyMillivolts)
	assert.False(t, f.KeepEEPROM)
	assert.Equal(t, 250*time.Millisecond, f.StartTime)
	assert.Equal(t, []int{0, 115200}, []int{f.UART, f.Baud})
	assert.Equal(t, []Output{{
		Track: station.Main, Direction: Pin{'B', 1, false}, Enable: Pin{'B', 0, false}, Brake: Pin{'D', 5, false}, Channel: 0, Gain: 1,
	}}, f.Outputs)
}

// least is the shortest rig file; the tests change a line of it.
const least = `kind = "firmware"
station.file = "my.station.toml"
[firmware]
image = "station.hex"
mcu = "atmega328p"
clock = "16MHz"
[[firmware.output]]
track = "main"
direction = "PB1"
`

func TestWhatARigFileLeavesOutHasItsDefault(t *testing.T) {
	f, err := Parse("my.rig.toml", []byte(least))
	require.NoError(t, err)
	full, err := Parse("my.rig.toml", []byte(strings.NewReplacer("[[firmware.output]]", `supply = "5V"
eeprom = "blank"
start_time = "250ms"
uart = { index = 0, baud = 115200 }
[[firmware.output]]`).Replace(`name = "firmware"`+"\n"+least)))
	require.NoError(t, err)
	f.document, full.document = nil, nil
	assert.Equal(t, full, f)
	assert.Equal(t, -1, f.Outputs[0].Channel)
}

func TestRigFilesAreReadWithTheirUnits(t *testing.T) {
	f, err := Parse("/rigs/my.rig.toml", []byte(`kind = "firmware"
station.file = "my.station.toml"
[firmware]
image = "/elsewhere/station.hex"
mcu = "atmega2560"
clock = "7.3728MHz"
supply = "3.3V"
eeprom = "kept"
start_time = "1.5s"
[firmware.uart]
index = 2
baud = 9600
[[firmware.output]]
track = "programming"
positive = "!PL7"
negative = "PA0"
sense = "ADC15"
sense_gain = "500 mV/A"
`))
	require.NoError(t, err)
	assert.Equal(t, "/elsewhere/station.hex", f.ImagePath())
	assert.Equal(t, int64(7_372_800), f.Clock)
	assert.Equal(t, int64(3300), f.SupplyMillivolts)
	assert.True(t, f.KeepEEPROM)
	assert.Equal(t, 1500*time.Millisecond, f.StartTime)
	assert.Equal(t, []int{2, 9600}, []int{f.UART, f.Baud})
	assert.Equal(t, []Output{{Track: station.Programming, Positive: Pin{'L', 7, true}, Negative: Pin{'A', 0, false}, Channel: 15, Gain: 0.5}},
		f.Outputs)
}

// Each case changes the shortest file, or adds to its end.
func TestWhatIsWrongWithARigFileIsSaidWithItsPlace(t *testing.T) {
	second := "[[firmware.output]]\ntrack = \"programming\"\ndirection = \"PB3\"\n"
	for name, c := range map[string]struct {
		from, to, add string
		want          []string // the beginnings of what is said, in order
	}{
		"another kind":                    {`"firmware"`, `"bench"`, "", []string{`my.rig.toml:1:8: kind: got "bench", want "firmware"`}},
		"no kind":                         {"kind = \"firmware\"\n", "", "", []string{`my.rig.toml: kind: got ""`}},
		"no station":                      {"station.file = \"my.station.toml\"", "", "", []string{"my.rig.toml: station.file: got nothing, want the name"}},
		"no image":                        {"image = \"station.hex\"", "", "", []string{"my.rig.toml:3:2: firmware.image: got nothing, want the .elf"}},
		"no processor":                    {"mcu = \"atmega328p\"", "", "", []string{"my.rig.toml:3:2: firmware.mcu: got nothing, want the processor"}},
		"no clock":                        {"clock = \"16MHz\"", "", "", []string{`my.rig.toml:3:2: firmware.clock: got "", want 32.768kHz to 40MHz`}},
		"a clock that is too slow":        {"16MHz", "32kHz", "", []string{`my.rig.toml:6:9: firmware.clock: got "32kHz", want`}},
		"a clock that is too fast":        {"16MHz", "41MHz", "", []string{`my.rig.toml:6:9: firmware.clock: got "41MHz", want`}},
		"a clock without a unit":          {"16MHz", "16", "", []string{`my.rig.toml:6:9: firmware.clock: got "16", want`}},
		"a clock that is a number":        {`"16MHz"`, "16", "", []string{`my.rig.toml:6:`}},
		"a supply that is too low":        {"[[firm", "supply = \"1V\"\n[[firm", "", []string{`my.rig.toml:7:10: firmware.supply: got "1V", want 1.800V to 6V`}},
		"a supply that is too high":       {"[[firm", "supply = \"12V\"\n[[firm", "", []string{`my.rig.toml:7:10: firmware.supply: got "12V", want`}},
		"an EEPROM of another state":      {"[[firm", "eeprom = \"lost\"\n[[firm", "", []string{`my.rig.toml:7:10: firmware.eeprom: got "lost", want "blank" or "kept"`}},
		"no time to start":                {"[[firm", "start_time = \"0s\"\n[[firm", "", []string{`my.rig.toml:7:14: firmware.start_time: got "0s", want`}},
		"a fifth UART":                    {"[[firm", "uart.index = 4\n[[firm", "", []string{`my.rig.toml:7:14: firmware.uart.index: got 4, want`}},
		"a negative UART":                 {"[[firm", "uart.index = -1\n[[firm", "", []string{`my.rig.toml:7:14: firmware.uart.index: got -1, want`}},
		"a line that is too slow":         {"[[firm", "uart.baud = 299\n[[firm", "", []string{`my.rig.toml:7:13: firmware.uart.baud: got 299, want`}},
		"a line that is too fast":         {"[[firm", "uart.baud = 2000001\n[[firm", "", []string{`my.rig.toml:7:13: firmware.uart.baud: got 2000001, want`}},
		"a key that there is not":         {"", "", "bralke = \"PD5\"\n", []string{`my.rig.toml:10:1: key: got firmware.output.bralke, want`}},
		"a table that there is not":       {"", "", "[motor]\nvolts = 12\n", []string{`my.rig.toml:10:2: key: got motor`}},
		"no TOML":                         {"", "", "[[[\n", []string{`my.rig.toml:10:`}},
		"no output":                       {least[strings.Index(least, "[[firm"):], "", "", []string{"my.rig.toml:3:2: firmware.output: got no output"}},
		"a third track":                   {`track = "main"`, `track = "yard"`, "", []string{`my.rig.toml:8:9: firmware.output[0].track: got "yard", want "main" or "programming"`}},
		"no track":                        {`track = "main"`, ``, "", []string{`my.rig.toml:7:3: firmware.output[0].track: got "", want`}},
		"no pin":                          {"direction = \"PB1\"", "", "", []string{"my.rig.toml:7:3: firmware.output[0]: got no pin"}},
		"a pin of no port":                {"PB1", "PM1", "", []string{`my.rig.toml:9:13: firmware.output[0].direction: got "PM1", want a pin`}},
		"a ninth pin":                     {"PB1", "PB8", "", []string{`my.rig.toml:9:13: firmware.output[0].direction: got "PB8", want a pin`}},
		"a pin in small letters":          {"PB1", "pb1", "", []string{`my.rig.toml:9:13: firmware.output[0].direction: got "pb1", want a pin`}},
		"a direction and a pair":          {"", "", "positive = \"PB2\"\nnegative = \"PB3\"\n", []string{"my.rig.toml:7:3: firmware.output[0]: got a direction and a pair of pins"}},
		"a brake and a pair":              {"direction = \"PB1\"", "brake = \"PB1\"\npositive = \"PB2\"\nnegative = \"PB3\"", "", []string{"my.rig.toml:7:3: firmware.output[0]: got a direction and a pair"}},
		"half a pair":                     {"direction = \"PB1\"", "negative = \"PB1\"", "", []string{"my.rig.toml:7:3: firmware.output[0]: got one of positive and negative, want both"}},
		"a pair of one pin":               {"direction = \"PB1\"", "positive = \"PB1\"\nnegative = \"!PB1\"", "", []string{`my.rig.toml:10:12: firmware.output[0].negative: got "PB1", want another`}},
		"a pin for two things":            {"", "", "enable = \"PB1\"\n", []string{`my.rig.toml:10:10: firmware.output[0].enable: got "PB1", want another`}},
		"a sense that is no channel":      {"", "", "sense = \"PC0\"\nsense_gain = \"1V/A\"\n", []string{`my.rig.toml:10:9: firmware.output[0].sense: got "PC0", want a channel`}},
		"a seventeenth channel":           {"", "", "sense = \"ADC16\"\nsense_gain = \"1V/A\"\n", []string{`my.rig.toml:10:9: firmware.output[0].sense: got "ADC16", want a channel`}},
		"a channel without a gain":        {"", "", "sense = \"ADC0\"\n", []string{`my.rig.toml:7:3: firmware.output[0].sense_gain: got "", want volts for an ampere`}},
		"a gain without a channel":        {"", "", "sense_gain = \"1V/A\"\n", []string{`my.rig.toml:10:14: firmware.output[0].sense_gain: got "1V/A", want none without a channel`}},
		"a gain in ohms":                  {"", "", "sense = \"ADC0\"\nsense_gain = \"1Ohm\"\n", []string{`my.rig.toml:11:14: firmware.output[0].sense_gain: got "1Ohm", want volts`}},
		"no gain":                         {"", "", "sense = \"ADC0\"\nsense_gain = \"0V/A\"\n", []string{`my.rig.toml:11:14: firmware.output[0].sense_gain: got "0V/A", want more than 0 V/A`}},
		"too much gain":                   {"", "", "sense = \"ADC0\"\nsense_gain = \"1001V/A\"\n", []string{`my.rig.toml:11:14: firmware.output[0].sense_gain: got "1001V/A", want more`}},
		"the same track twice":            {"", "", strings.Replace(second, "programming", "main", 1), []string{`my.rig.toml:11:9: firmware.output[1].track: got "main", want another`}},
		"a third output":                  {"", "", second + strings.NewReplacer("PB3", "PB4").Replace(second), []string{`my.rig.toml:14:9: firmware.output[2].track: got "programming", want another`}},
		"a pin of two outputs":            {"", "", strings.Replace(second, "PB3", "!PB1", 1), []string{`my.rig.toml:12:13: firmware.output[1].direction: got "PB1", want another`}},
		"the enable of one moves another": {"", "", second + "enable = \"PB1\"\n", []string{`my.rig.toml:13:10: firmware.output[1].enable: got "PB1", want another`}},
		"a channel of two outputs": {"", "", "sense = \"ADC0\"\nsense_gain = \"1V/A\"\n" + second + "sense = \"ADC0\"\nsense_gain = \"1V/A\"\n",
			[]string{`my.rig.toml:15:9: firmware.output[1].sense: got "ADC0", want another`}},
		"a circuit that cannot be": {"", "", "[track]\nbridge = \"-1Ohm\"\n", []string{"my.rig.toml:10:2: track: got "}},
		"a probe that cannot be":   {"", "", "[probe]\nsample_interval = \"-1s\"\n", []string{"my.rig.toml:10:2: probe: got "}},
		"several things": {`mcu = "atmega328p"`, `eeprom = "lost"`, "sense = \"ADC0\"\n", []string{
			"my.rig.toml:3:2: firmware.mcu: got nothing", `my.rig.toml:5:10: firmware.eeprom: got "lost"`, `my.rig.toml:7:3: firmware.output[0].sense_gain: got ""`}},
	} {
		t.Run(name, func(t *testing.T) {
			require.Contains(t, least, c.from)
			_, err := Parse("my.rig.toml", []byte(strings.Replace(least, c.from, c.to, 1)+c.add))
			require.Error(t, err)
			said := problems(t, err)
			require.Len(t, said, len(c.want), "%v", err)
			for i, want := range c.want {
				assert.Contains(t, said[i], want)
				assert.True(t, strings.HasPrefix(said[i], want), "%s", said[i])
			}
		})
	}
}

// problems are the errors that are joined in one, each of which is a *written.Error.
func problems(t testing.TB, err error) (said []string) {
	joined, ok := err.(interface{ Unwrap() []error })
	require.True(t, ok, "%v", err)
	for _, one := range joined.Unwrap() {
		var wrong *written.Error
		require.True(t, errors.As(one, &wrong))
		said = append(said, wrong.Error())
	}
	return said
}

func TestOutputsMayBeEnabledAndBrakedTogether(t *testing.T) {
	_, err := Parse("my.rig.toml", []byte(least+`enable = "PB0"
brake = "PB2"
[[firmware.output]]
track = "programming"
direction = "PB3"
enable = "!PB0"
brake = "PB2"
`))
	require.NoError(t, err)
}

// A File that is read can be used: all that the machine takes numbers from is within bounds.
func FuzzParse(f *testing.F) {
	for _, name := range []string{"reference.rig.toml", "polled.rig.toml"} {
		data, err := os.ReadFile(name)
		require.NoError(f, err)
		f.Add(data)
	}
	f.Add([]byte(documented(f)))
	f.Add([]byte(least))
	f.Fuzz(func(t *testing.T, data []byte) {
		file, err := Parse("fuzz.rig.toml", data)
		if err != nil {
			assert.NotEmpty(t, problems(t, err))
			return
		}
		assert.GreaterOrEqual(t, file.Clock, int64(32_768))
		assert.GreaterOrEqual(t, file.SupplyMillivolts, int64(1800))
		assert.Positive(t, file.StartTime)
		assert.GreaterOrEqual(t, file.Baud, 300)
		require.NotEmpty(t, file.Outputs)
		assert.LessOrEqual(t, len(file.Outputs), 2)
		for _, o := range file.Outputs {
			assert.True(t, o.Direction.Port != 0 || o.Positive.Port != 0 && o.Negative.Port != 0)
			assert.True(t, o.Channel >= -1 && o.Channel < 16)
		}
	})
}
