package report

import (
	"bytes"
	"fmt"
	"html/template"
	"image/color"
	"regexp"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"
)

// Figures are drawn as wide as a phone is, so that their lettering stays readable there; a page scales them up.
const figureWidth = 360 * vg.Length(1)

// The inks of a figure. They are marks, not colours: figure replaces each by the variable of the page that holds the
// colour, so that the same figure is right in light, in dark and on paper.
var (
	inkText    = color.NRGBA{R: 1, G: 2, B: 1, A: 255}
	inkFaint   = color.NRGBA{R: 1, G: 2, B: 2, A: 255}
	inkLine    = color.NRGBA{R: 1, G: 2, B: 3, A: 255}
	inkSignal  = color.NRGBA{R: 1, G: 2, B: 4, A: 255}
	inkLimit   = color.NRGBA{R: 1, G: 2, B: 5, A: 255}
	inkAllowed = color.NRGBA{R: 1, G: 2, B: 6, A: 255}

	inks = strings.NewReplacer(
		"#010201", "var(--ink)",
		"#010202", "var(--muted)",
		"#010203", "var(--line)",
		"#010204", "var(--signal)",
		"#010205", "var(--limit)",
		"#010206", "var(--allowed)",
	)
	fontNames = regexp.MustCompile(`font-family:[^;"]*;font-variant:[^;"]*;`)
)

// lettering is the font that figures are measured with. The page shows its own sans serif, which is about as wide.
func lettering(size vg.Length) font.Font {
	return font.Font{Typeface: "Liberation", Variant: "Sans", Size: size}
}

func textStyle(ink color.Color, size vg.Length, x draw.XAlignment, y draw.YAlignment) draw.TextStyle {
	return draw.TextStyle{Color: ink, Font: lettering(size), XAlign: x, YAlign: y, Handler: plot.DefaultTextHandler}
}

// figure lets paint draw on a canvas and returns an <svg> element to stand inside a page: it has a view box and no size, so
// that it scales, and a label for those who cannot see it.
func figure(width, height vg.Length, label string, paint func(draw.Canvas)) (template.HTML, error) {
	canvas := vgsvg.New(width, height)
	paint(draw.New(canvas))
	var b bytes.Buffer
	if _, err := canvas.WriteTo(&b); err != nil {
		return "", fmt.Errorf("report: figure %q: %w", label, err)
	}
	_, drawing, found := strings.Cut(b.String(), "<svg")
	if _, drawing, found = cutAfter(drawing, found); !found {
		return "", fmt.Errorf("report: figure %q: the canvas wrote no <svg>", label)
	}
	drawing = inks.Replace(fontNames.ReplaceAllString(strings.ReplaceAll(drawing, "\n\t", " "), ""))
	head := fmt.Sprintf(`<svg class="figure" viewBox="0 0 %g %g" role="img" aria-label="%s">`, width.Points(), height.Points(),
		template.HTMLEscapeString(visible(label, shortText)))
	return template.HTML(head + drawing), nil
}

// cutAfter drops the rest of an opening tag.
func cutAfter(text string, found bool) (before, after string, ok bool) {
	if !found {
		return "", "", false
	}
	return strings.Cut(text, ">")
}
