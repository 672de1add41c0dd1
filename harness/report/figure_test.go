package report

import (
	"encoding/xml"
	"fmt"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"bufferstop/harness/record"
	"bufferstop/harness/verdict"
)

func TestFiguresAreWholeElements(t *testing.T) {
	drawing, err := histogram(sample(t).Histograms[0])
	require.NoError(t, err)
	var svg struct {
		XMLName xml.Name `xml:"svg"`
		ViewBox string   `xml:"viewBox,attr"`
		Label   string   `xml:"aria-label,attr"`
		Width   string   `xml:"width,attr"`
	}
	require.NoError(t, xml.Unmarshal([]byte(drawing), &svg))
	assert.Equal(t, "0 0 360 190", svg.ViewBox)
	assert.Empty(t, svg.Width, "it scales to its place")
	assert.Equal(t, "Histogram of one half-bit: 1048576 values from 56.9 µs to 59.15 µs, allowed 55 to 61 µs", svg.Label)
}

func TestHistogramsShowTheValuesAndTheLimitsNearThem(t *testing.T) {
	for name, c := range map[string]struct {
		low, high float64
		limit     verdict.Limit
		inside    []float64
		outside   []float64
		wide      bool
	}{
		"both limits near":  {57e3, 59e3, verdict.Between(55e3, 61e3, ""), []float64{55e3, 61e3}, nil, false},
		"upper limit far":   {99e3, 101e3, verdict.Between(95e3, 9.9e6, ""), []float64{95e3}, []float64{9.9e6}, false},
		"stretched zeros":   {99e3, 4e6, verdict.Between(95e3, 9.9e6, ""), []float64{95e3, 9.9e6}, nil, true},
		"below the limit":   {40e3, 50e3, verdict.AtLeast(55e3, ""), []float64{55e3}, nil, false},
		"one value":         {58e3, 58e3, verdict.Limit{}, nil, nil, false},
		"nothing but zeros": {0, 0, verdict.AtMost(3e3, ""), nil, []float64{3e3}, false},
	} {
		h := record.Histogram{Min: c.low, Max: c.high, Limit: c.limit, Bins: []record.Bin{{Low: c.low, High: c.high, Count: 1}}}
		low, high, wide := histogramRange(h)
		assert.Equal(t, c.wide, wide, name)
		assert.Less(t, low, high, name)
		for _, v := range append(c.inside, c.low, c.high) {
			assert.True(t, low <= v && v <= high, "%s: %v within %v to %v", name, v, low, high)
		}
		for _, v := range c.outside {
			assert.False(t, low <= v && v <= high, "%s: %v within %v to %v", name, v, low, high)
		}
	}
}

func TestAnyHistogramCanBeDrawn(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := record.Histogram{Name: "x", Unit: verdict.Nanoseconds}
		at := rapid.Float64Range(-1e6, 1e9).Draw(t, "from")
		h.Min = at
		for range rapid.IntRange(1, 6).Draw(t, "bins") {
			width := rapid.Float64Range(0, 1e8).Draw(t, "width")
			h.Bins = append(h.Bins, record.Bin{Low: at, High: at + width, Count: rapid.Int64Range(0, 1e12).Draw(t, "count")})
			at += width
			h.Count++
		}
		h.Max, h.Mean = at, (h.Min+at)/2
		if rapid.Bool().Draw(t, "limited") {
			h.Limit = verdict.Between(rapid.Float64Range(-1e9, 1e9).Draw(t, "min"), 2e9, "")
		}
		drawing, err := histogram(h)
		assert.NoError(t, err)
		assert.NotRegexp(t, regexp.MustCompile(`NaN|Inf`), string(drawing))
	})
}

func TestAWaveformIsOneStripAByte(t *testing.T) {
	w := sample(t).Waveforms[0]
	all := lanes(w)
	require.Len(t, all, 4, "preamble, address, data, error byte")
	assert.Equal(t, " preamble 14 ones", laneWords(all[0]))
	assert.Equal(t, " start bit 0 byte 0x03", laneWords(all[1]))
	assert.Equal(t, " start bit 0 error byte 0x76 end bit 1", laneWords(all[3]))
	for i := range all[1:] {
		assert.Equal(t, all[i].to, all[i+1].from)
	}
	assert.Equal(t, w.End, all[3].to)
	w.Parts = nil
	assert.Len(t, lanes(w), 1)
	assert.Empty(t, lanes(record.Waveform{}))
}

func TestTheStripsShowEveryEdgeOnce(t *testing.T) {
	w := sample(t).Waveforms[0]
	strips, err := waveform(w)
	require.NoError(t, err)
	points := 0
	for _, strip := range strips {
		wave := regexp.MustCompile(`d="([^"]*)"\s+style="[^"]*var\(--signal\)`).FindStringSubmatch(string(strip))
		require.NotNil(t, wave)
		points += strings.Count(wave[1], "L") + strings.Count(wave[1], "M")
	}
	assert.Equal(t, 2*len(w.Edges), points, "each level has a beginning and an end")
}

func TestTheGaugePointsAtTheWorstValue(t *testing.T) {
	m := verdict.Single("x", verdict.Nanoseconds, 60, 0, verdict.Between(50, 100, ""), 0)
	x := gaugeScale(m)
	assert.Less(t, x(50), x(60))
	assert.InDelta(t, (x(50)*4+x(100))/5, x(60), 1e-9, "linear")
	assert.Contains(t, string(gauge(m)), fmt.Sprintf(`class="pointer" d="M%.1f `, x(60)))
	assert.Contains(t, string(gauge(verdict.Single("x", verdict.Count, 1, 0, verdict.AtMost(0, ""), 0))), "pointer outside")
	assert.Empty(t, gauge(verdict.Single("x", verdict.Count, 1, 0, verdict.Limit{}, 0)), "no bound, no gauge")
	rapid.Check(t, func(t *rapid.T) {
		number := rapid.Float64Range(-1e9, 1e9)
		low, high := number.Draw(t, "min"), number.Draw(t, "max")
		if low > high {
			low, high = high, low
		}
		m := verdict.Single("x", verdict.Count, number.Draw(t, "value"), 0, verdict.Between(low, high, ""), 0)
		assert.NotRegexp(t, regexp.MustCompile(`NaN|Inf|width="-`), string(gauge(m)))
	})
}
