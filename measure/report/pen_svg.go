package report

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"html"
	"strconv"
	"strings"
)

// svgPen writes a sheet as SVG. Every text is escaped; nothing points outside the file.
type svgPen struct {
	out  strings.Builder
	fail error
}

const svgFont = "Go, Helvetica Neue, Helvetica, Arial, sans-serif"

// SVG returns the drawing as one SVG element, sized in mm.
func (s *sheet) SVG() (string, error) {
	p := &svgPen{}
	fmt.Fprintf(&p.out, `<svg xmlns="http://www.w3.org/2000/svg" role="img" width="%smm" height="%smm" viewBox="0 0 %s %s" font-family="%s">`,
		dot(s.Width), dot(s.Height), dot(s.Width), dot(s.Height), svgFont)
	fmt.Fprintf(&p.out, "<title>%s</title><desc>%s</desc>", escape(s.Title), escape(s.About))
	s.draw(p)
	p.out.WriteString("</svg>")
	return p.out.String(), p.fail
}

// dot writes mm with at most three decimals.
func dot(x float64) string {
	text := strings.TrimRight(strconv.FormatFloat(x, 'f', 3, 64), "0")
	text = strings.TrimSuffix(text, ".")
	if text == "-0" || text == "" {
		return "0"
	}
	return text
}

// escape makes text safe inside elements and attributes of SVG, which is XML: control characters
// that XML forbids become spaces.
func escape(text string) string {
	return html.EscapeString(printable(text))
}

func printable(text string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r >= 0x7f && r < 0xa0 || r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069 || r == 0xfffe || r == 0xffff {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(text, "\uFFFD"))
}

func (p *svgPen) grey(m picture) {
	var data bytes.Buffer
	if err := quick.Encode(&data, m.Image); err != nil && p.fail == nil {
		p.fail = err
	}
	fmt.Fprintf(&p.out, `<image x="%s" y="%s" width="%s" height="%s" preserveAspectRatio="none" href="data:image/png;base64,%s"/>`,
		dot(m.At.X), dot(m.At.Y), dot(m.Width), dot(m.Height), base64.StdEncoding.EncodeToString(data.Bytes()))
}

func (p *svgPen) line(l stroke) {
	if len(l.Points) == 0 {
		return
	}
	path := svgPath(l.Points, l.Closed)
	if l.Casing > 0 {
		p.path(path, none, black, l.Width+2*l.Casing, l.Dash)
	}
	p.path(path, l.Fill, l.Ink, l.Width, l.Dash)
}

func (p *svgPen) path(d string, fill, colour ink, width float64, dash []float64) {
	fmt.Fprintf(&p.out, `<path d="%s" fill="%s"`, d, orNone(fill))
	if colour != none && width > 0 {
		fmt.Fprintf(&p.out, ` stroke="%s" stroke-width="%s" stroke-linejoin="round"`, colour, dot(width))
		if len(dash) > 0 {
			each := make([]string, len(dash))
			for i, x := range dash {
				each[i] = dot(x)
			}
			fmt.Fprintf(&p.out, ` stroke-dasharray="%s"`, strings.Join(each, " "))
		}
	}
	p.out.WriteString("/>")
}

func orNone(c ink) string {
	if c == none {
		return "none"
	}
	return string(c)
}

func svgPath(points []spot, closed bool) string {
	var b strings.Builder
	for i, q := range points {
		letter := "L"
		if i == 0 {
			letter = "M"
		}
		b.WriteString(letter + dot(q.X) + " " + dot(q.Y))
	}
	if closed {
		b.WriteString("Z")
	}
	return b.String()
}

func (p *svgPen) write(t label) {
	fmt.Fprintf(&p.out, `<text x="%s" y="%s" font-size="%s" fill="%s"`, dot(t.At.X), dot(t.At.Y), dot(t.Size), t.Ink)
	switch t.Weight {
	case bold:
		p.out.WriteString(` font-weight="700"`)
	case italic:
		p.out.WriteString(` font-style="italic"`)
	}
	switch t.Anchor {
	case middleOf:
		p.out.WriteString(` text-anchor="middle"`)
	case end:
		p.out.WriteString(` text-anchor="end"`)
	}
	if t.Halo {
		fmt.Fprintf(&p.out, ` stroke="%s" stroke-width="%s" stroke-linejoin="round" paint-order="stroke"`, black, dot(t.Size*0.28))
	}
	if text := printable(t.Text); text == drawable(text) { // as wide in any typeface as it was laid out
		fmt.Fprintf(&p.out, ` textLength="%s" lengthAdjust="spacingAndGlyphs"`, dot(textWidth(text, t.Size, t.Weight)))
	}
	fmt.Fprintf(&p.out, ">%s</text>", escape(t.Text))
}
