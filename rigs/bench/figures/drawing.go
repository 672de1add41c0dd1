package figures

import (
	"encoding/xml"
	"fmt"
	"strings"
	"unicode/utf8"
)

// A Figure is a diagram while it is drawn. Lengths are in pixels, y downwards.
type Figure struct {
	File          string // without folder
	title, says   string
	width, height float64
	body          strings.Builder

	// What has been drawn, for the test that looks for collisions.
	texts []box
	lines []box
}

// box is a rectangle, or a line as a rectangle without width or height.
type box struct {
	x1, y1, x2, y2 float64
	of             string
}

// style is the look of all figures. The colours follow the reader's choice of light or dark, and the figure brings its own
// paper, because a page may have chosen otherwise than the reader's system.
const style = `text{font:14px system-ui,"Segoe UI",Roboto,"Liberation Sans",Arial,sans-serif;fill:#1b1f24}` +
	`.v{fill:#0b5394}.s{font-size:12.5px}` +
	`.l{fill:none;stroke:#1b1f24;stroke-width:1.6;stroke-linecap:round;stroke-linejoin:round}` +
	`.f{fill:#1b1f24;stroke:#1b1f24;stroke-width:1}.w{fill:#fff}.d{stroke-dasharray:6 5}` +
	`@media(prefers-color-scheme:dark){text{fill:#e6e9ed}.v{fill:#8ec3f5}.l{stroke:#e6e9ed}.f{fill:#e6e9ed;stroke:#e6e9ed}.w{fill:#15191e}}`

// SVG is the figure as a file.
func (f *Figure) SVG() string {
	escape := func(s string) string {
		var b strings.Builder
		_ = xml.EscapeText(&b, []byte(s)) // a strings.Builder takes everything
		return b.String()
	}
	return fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %[1]g %[2]g" width="%[1]g" height="%[2]g" role="img" aria-labelledby="t d">
<title id="t">%[3]s</title>
<desc id="d">%[4]s</desc>
<style>%[5]s</style>
<rect class="w" width="%[1]g" height="%[2]g" rx="6"/>
%[6]s</svg>
`, f.width, f.height, escape(f.title), escape(f.says), style, f.body.String())
}

func (f *Figure) add(format string, a ...any) { fmt.Fprintf(&f.body, format+"\n", a...) }

// wire draws a line from point to point: x, y, x, y and so on.
func (f *Figure) wire(at ...float64) { f.path("l", at...) }

func (f *Figure) path(class string, at ...float64) {
	var d strings.Builder
	for i := 0; i < len(at); i += 2 {
		command := "L"
		if i == 0 {
			command = "M"
		} else {
			f.solid(at[i-2], at[i-1], at[i], at[i+1], "line")
		}
		fmt.Fprintf(&d, "%s%g %g", command, at[i], at[i+1])
	}
	f.add(`<path class="%s" d="%s"/>`, class, d.String())
}

// solid notes that something has been drawn there.
func (f *Figure) solid(x1, y1, x2, y2 float64, of string) {
	f.lines = append(f.lines, box{min(x1, x2), min(y1, y2), max(x1, x2), max(y1, y2), of})
}

// dot marks a joint.
func (f *Figure) dot(x, y float64) { f.add(`<circle class="f" cx="%g" cy="%g" r="3"/>`, x, y) }

// Anchors of texts.
const (
	start  = "start"
	middle = "middle"
	end    = "end"
)

// text writes with its base line at y. Class v is for values, s is smaller.
func (f *Figure) text(x, y float64, anchor, class, s string) {
	if s == "" {
		return
	}
	attributes := ""
	if anchor != start {
		attributes += fmt.Sprintf(` text-anchor="%s"`, anchor)
	}
	if class != "" {
		attributes += fmt.Sprintf(` class="%s"`, class)
	}
	size := 14.0
	if strings.Contains(class, "s") {
		size = 12.5
	}
	f.occupy(x, y, anchor, size, s)
	f.add(`<text x="%g" y="%g"%s>%s</text>`, x, y, attributes, s)
}

// named writes a name, and a value in its own colour behind it.
func (f *Figure) named(x, y float64, anchor, name, value string) {
	if value == "" {
		f.text(x, y, anchor, "", name)
		return
	}
	f.occupy(x, y, anchor, 14, name+" "+value)
	f.add(`<text x="%g" y="%g" text-anchor="%s">%s <tspan class="v">%s</tspan></text>`, x, y, anchor, name, value)
}

// occupy notes where a text stands: as wide as the widest of common typefaces makes it.
func (f *Figure) occupy(x, y float64, anchor string, size float64, s string) {
	wide := 0.6 * size * float64(utf8.RuneCountInString(s))
	left := map[string]float64{start: x, middle: x - wide/2, end: x - wide}[anchor]
	f.texts = append(f.texts, box{left, y - 0.74*size, left + wide, y + 0.2*size, s})
}

// note writes lines of small text, one below the other.
func (f *Figure) note(x, y float64, anchor string, lines ...string) {
	for i, line := range lines {
		f.text(x, y+16*float64(i), anchor, "s", line)
	}
}
