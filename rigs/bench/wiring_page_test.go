package bench_test

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"bufferstop/rigs/bench"
	"bufferstop/rigs/bench/figures"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The wiring page, README.md, is held to the parts, to the firmware and to the rig file's parser.

// TestTheProbesFirmwareIsRatedForTheWiring compares what the firmware tells of its board with what the parts make.
func TestTheProbesFirmwareIsRatedForTheWiring(t *testing.T) {
	source, err := os.ReadFile(filepath.Join("probe", "ratings.c"))
	require.NoError(t, err)
	rows := regexp.MustCompile(`\{(MAIN|PROGRAMMING), (\d+), (\d+), (\d+), (\d+), (\d+), (\d+), (\d+)\}`).FindAllStringSubmatch(string(source), -1)
	require.Len(t, rows, 3, "both tracks of the 2560, and the one of the 328P")
	for i, row := range rows {
		track := map[string]figures.Track{"MAIN": figures.Main, "PROGRAMMING": figures.Programming}[row[1]]
		value := func(name string) float64 { return figures.Value(name, track) }
		told := make([]float64, 8)
		for column := 2; column < 9; column++ {
			told[column-1], err = strconv.ParseFloat(row[column], 64)
			require.NoError(t, err)
		}
		perAmpere := 20 * value("R201") * value("R204") / value("R202") / 2
		assert.InEpsilon(t, 5/1023.0/perAmpere, told[1]*1e-6, 0.005, "amperes a count")
		steps, scale := 256.0, value("R317")
		if i == 2 { // six bits
			steps, scale = 64, 32e3
		}
		step := 5 / steps * value("R319") / scale / value("R324")
		assert.InEpsilon(t, step, told[2]*1e-6, 0.005, "amperes a step")
		assert.Equal(t, steps-1, told[3], "highest step")
		assert.LessOrEqual(t, 22*step*told[4], 22.1, "watts that the page's heat sink is for")
		assert.LessOrEqual(t, told[5], 5000.0, "milliseconds above that")
		assert.GreaterOrEqual(t, told[6], 60.0, "milliohms of the short, with its leads")
		assert.LessOrEqual(t, told[7], 30000.0, "milliseconds of a short")
	}
}

// TestTheWiringPageSaysWhatTheSelfCheckReads computes the readings of the table of self-checks.
func TestTheWiringPageSaysWhatTheSelfCheckReads(t *testing.T) {
	page, err := os.ReadFile("README.md")
	require.NoError(t, err)
	v := func(name string) float64 { return figures.Value(name, figures.Main) }
	parallel := func(r ...float64) float64 {
		var g float64
		for _, ohms := range r {
			g += 1 / ohms
		}
		return 1 / g
	}
	series, ground, other := v("R101"), v("R105"), v("R109")
	share := parallel(ground, other) / (series + parallel(ground, other))
	for _, reading := range []struct {
		volts float64
		of    string
	}{
		{5 * parallel(2*series+parallel(ground, other), ground) / (other + parallel(2*series+parallel(ground, other), ground)), "a+ and b+ without a track, whose rails hang on the other divider"},
		{5 * parallel(series, ground) / (other + parallel(series, ground)), "b+ with B at ground"},
		{12 * share, "a with 12 V"},
		{12*share + 5*parallel(series, ground)/(other+parallel(series, ground)), "a+ with 12 V"},
		{2.5 + 20*v("R201"), "U201 with 1 A"},
		{20 * v("R201") * v("R204") / v("R202") / 2, "ADC with 1 A"},
	} {
		assert.Contains(t, string(page), fmt.Sprintf("%.2f V", reading.volts), reading.of)
	}
	assert.InDelta(t, 4, 5*series/other, 0.05, "the window, which the page says is ±4.0 V")
	assert.InDelta(t, 1/0.0847, 1/share, 0.02, "the page's 0.0847")
}

// TestTheWiringPageHasThePinsOfTheFirmware finds the pins that the firmware's board.h names in the table of pins.
func TestTheWiringPageHasThePinsOfTheFirmware(t *testing.T) {
	page, err := os.ReadFile("README.md")
	require.NoError(t, err)
	board, err := os.ReadFile(filepath.Join("probe", "board.h"))
	require.NoError(t, err)
	_, table, found := strings.Cut(string(page), "\n## Pins\n")
	require.True(t, found)
	table, _, _ = strings.Cut(table, "\n## ")
	pins := regexp.MustCompile(`#define (SIGN|ABSENT|SHORT|SUPPLY)\w* (P[A-L]\d.*)`).FindAllStringSubmatch(string(board), -1)
	require.Greater(t, len(pins), 6)
	for _, pin := range pins {
		for _, name := range regexp.MustCompile(`P[A-L]\d`).FindAllString(pin[2], -1) {
			assert.Regexp(t, `(?m)^\| `+map[string]string{"SIGN": "SIGN", "ABSENT": "ABSENT", "SHORT": "short", "SUPPLY": "supply"}[pin[1]]+`.*\b`+name+`\b`, table)
		}
	}
}

func TestTheWiringPageHasThePartsThatAreTried(t *testing.T) {
	page, err := os.ReadFile("README.md")
	require.NoError(t, err)
	for _, block := range figures.Blocks {
		assert.Contains(t, string(page), block.Table(), "the list of parts of %q", block.Name)
	}
}

func TestTheWiringPagesRigFileIsRead(t *testing.T) {
	page, err := os.ReadFile("README.md")
	require.NoError(t, err)
	_, text, found := strings.Cut(string(page), "```toml\n")
	require.True(t, found)
	text, _, _ = strings.Cut(text, "```")
	file, err := bench.Parse("bench.rig.toml", []byte(text))
	require.NoError(t, err)
	require.NotNil(t, file.Probe)
	assert.Equal(t, 8*time.Millisecond, file.Probe.LoopTime)
	_, err = bench.Parse("bench.rig.toml", []byte(regexp.MustCompile(`(?m)^(stretch|sample|loop|calib|supply|starts).*\n`).ReplaceAllString(text, "")))
	assert.NoError(t, err, "only the link is needed")
}
