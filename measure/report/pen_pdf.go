package report

import (
	"bytes"
	"fmt"
	"image"
	"image/draw"
	"image/png"

	"codeberg.org/go-pdf/fpdf"
)

// pdfPen draws a sheet on a PDF page, its upper left corner at at.
type pdfPen struct {
	to *fpdf.Fpdf
	at spot
	by map[int]bool // widths of the document's pictures, pixels
}

const pdfFamily = "Go"

var pdfStyles = map[weight]string{regular: "", bold: "B", italic: "I"}

func (p *pdfPen) x(q spot) float64 { return p.at.X + q.X }
func (p *pdfPen) y(q spot) float64 { return p.at.Y + q.Y }

func (p *pdfPen) grey(m picture) {
	wide := m.Image.Rect.Dx()
	for p.by[wide] {
		wide++
	}
	p.by[wide] = true
	var data bytes.Buffer
	if err := png.Encode(&data, widened(m.Image, wide)); err != nil {
		p.to.SetError(err)
		return
	}
	name := fmt.Sprintf("picture%d", wide)
	p.to.RegisterImageOptionsReader(name, fpdf.ImageOptions{ImageType: "PNG"}, &data)
	if shown := m.Image.Rect.Dx(); wide > shown {
		p.to.ClipRect(p.x(m.At), p.y(m.At), m.Width, m.Height, false)
		defer p.to.ClipEnd()
		m.Width *= float64(wide) / float64(shown)
	}
	p.to.ImageOptions(name, p.x(m.At), p.y(m.At), m.Width, m.Height, false, fpdf.ImageOptions{ImageType: "PNG"}, 0, "")
}

// widened returns the picture with columns added at its right, which the pen does not show: the library puts pictures in
// the order of their widths, and those of one width in another order each time.
func widened(img *image.Gray, wide int) *image.Gray {
	if img.Rect.Dx() == wide {
		return img
	}
	out := image.NewGray(image.Rect(0, 0, wide, img.Rect.Dy()))
	draw.Draw(out, img.Rect, img, img.Rect.Min, draw.Src)
	return out
}

func (p *pdfPen) line(l stroke) {
	if len(l.Points) == 0 {
		return
	}
	if l.Fill != none {
		p.path(l, none, l.Fill, 0)
	}
	if l.Casing > 0 {
		p.path(l, black, none, l.Width+2*l.Casing)
	}
	if l.Ink != none && l.Width > 0 {
		p.path(l, l.Ink, none, l.Width)
	}
}

func (p *pdfPen) path(l stroke, edge, fill ink, width float64) {
	how := "D"
	if fill != none {
		c := colourOf(fill)
		p.to.SetFillColor(int(c.R), int(c.G), int(c.B))
		how = "F"
	}
	if edge != none {
		c := colourOf(edge)
		p.to.SetDrawColor(int(c.R), int(c.G), int(c.B))
		p.to.SetLineWidth(width)
	}
	if len(l.Dash) > 0 && edge != none {
		p.to.SetDashPattern(l.Dash, 0)
		defer p.to.SetDashPattern([]float64{}, 0)
	}
	p.to.MoveTo(p.x(l.Points[0]), p.y(l.Points[0]))
	for _, q := range l.Points[1:] {
		p.to.LineTo(p.x(q), p.y(q))
	}
	if l.Closed {
		p.to.ClosePath()
	}
	p.to.DrawPath(how)
}

func (p *pdfPen) write(t label) {
	p.to.SetFont(pdfFamily, pdfStyles[t.Weight], t.Size*72/25.4)
	text := drawable(t.Text)
	x, y := p.x(t.At), p.y(t.At)
	switch width := p.to.GetStringWidth(text); t.Anchor {
	case middleOf:
		x -= width / 2
	case end:
		x -= width
	}
	if t.Halo {
		c := colourOf(black)
		p.to.SetTextColor(int(c.R), int(c.G), int(c.B))
		for _, q := range disc(spot{x, y}, t.Size*0.12)[:] {
			p.to.Text(q.X, q.Y, text)
		}
	}
	c := colourOf(t.Ink)
	p.to.SetTextColor(int(c.R), int(c.G), int(c.B))
	p.to.Text(x, y, text)
}
