package figures

import (
	"encoding/xml"
	"flag"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "draw the figures anew")

func TestTheCommittedFiguresAreWhatIsDrawn(t *testing.T) {
	for _, f := range All() {
		drawn := f.SVG()
		if *update {
			require.NoError(t, os.WriteFile(f.File, []byte(drawn), 0o644))
		}
		kept, err := os.ReadFile(f.File)
		require.NoError(t, err)
		assert.Equal(t, string(kept), drawn, "%s: go test ./rigs/bench/figures -update", f.File)
	}
}

func TestFiguresAreWholeAndSayWhatTheyShow(t *testing.T) {
	for _, f := range All() {
		var svg struct {
			XMLName xml.Name `xml:"svg"`
			ViewBox string   `xml:"viewBox,attr"`
			Title   string   `xml:"title"`
			Desc    string   `xml:"desc"`
			Text    []string `xml:"text"`
		}
		require.NoError(t, xml.Unmarshal([]byte(f.SVG()), &svg), f.File)
		assert.NotEmpty(t, svg.ViewBox)
		assert.NotEmpty(t, svg.Title)
		assert.Greater(t, len(svg.Desc), 80, "%s is described for those who do not see it", f.File)
		assert.NotEmpty(t, svg.Text, "text is text")
		assert.LessOrEqual(t, f.width, 560.0, "%s is readable on a phone", f.File)
	}
}

func TestNothingInAFigureCollides(t *testing.T) {
	apart := func(a, b box) bool { return a.x2 <= b.x1 || b.x2 <= a.x1 || a.y2 <= b.y1 || b.y2 <= a.y1 }
	for _, f := range All() {
		for i, text := range f.texts {
			assert.True(t, text.x1 >= 2 && text.y1 >= 2 && text.x2 <= f.width-2 && text.y2 <= f.height-2,
				"%s: %q leaves the figure: %v", f.File, text.of, text)
			for _, other := range f.texts[:i] {
				assert.True(t, apart(text, other), "%s: %q on %q: %v %v", f.File, text.of, other.of, text, other)
			}
			for _, line := range f.lines {
				// A slanted line is as big as its box here, so only those that lie or stand count.
				if line.x1 == line.x2 || line.y1 == line.y2 || line.of != "line" {
					assert.True(t, apart(text, box{line.x1 - 0.5, line.y1 - 0.5, line.x2 + 0.5, line.y2 + 0.5, ""}),
						"%s: %q on a %s: %v %v", f.File, text.of, line.of, text, line)
				}
			}
		}
	}
}

func TestEveryPartIsInAFigure(t *testing.T) {
	var drawn strings.Builder
	for _, f := range All() {
		for _, text := range f.texts {
			drawn.WriteString(text.of + "\n")
		}
	}
	seen := map[string]bool{}
	for _, block := range Blocks {
		for _, part := range block.Parts {
			for _, name := range part.Names {
				assert.False(t, seen[name], "%s is listed twice", name)
				seen[name] = true
				assert.Contains(t, drawn.String(), name)
			}
		}
	}
}
