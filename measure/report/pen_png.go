package report

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"io"
	"math"
	"sync"

	"golang.org/x/image/draw"
	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goitalic"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
)

// typefaces are the letters of every medium: chosen because 0 and O, 1, l and I differ.
var typefaces = map[weight][]byte{regular: goregular.TTF, bold: gobold.TTF, italic: goitalic.TTF}

// pngPen paints a sheet into an image, perMM pixels a mm of paper.
type pngPen struct {
	to    *image.RGBA
	perMM float64
	faces map[face]font.Face
	fail  error

	raster vector.Rasterizer // its room serves every stroke
}

type face struct {
	weight weight
	size   float64
}

// PNG writes the drawing at this many pixels a mm of paper, with its physical size: in the
// patient where the sheet is to scale, else on the paper.
func (s *sheet) PNG(w io.Writer, perMM float64) error {
	img, err := s.paint(perMM)
	if err != nil {
		return err
	}
	physical := perMM
	if s.Scale > 0 {
		physical = perMM * s.Scale
	}
	return writePNG(w, img, physical)
}

// paint draws the sheet in grey, perMM pixels a mm of paper.
func (s *sheet) paint(perMM float64) (*image.Gray, error) {
	img := image.NewRGBA(image.Rect(0, 0, pixels(s.Width*perMM), pixels(s.Height*perMM)))
	draw.Draw(img, img.Bounds(), image.NewUniform(colourOf(paper)), image.Point{}, draw.Src)
	p := &pngPen{to: img, perMM: perMM, faces: map[face]font.Face{}}
	s.draw(p)
	return greyOf(img), p.fail
}

func pixels(x float64) int { return max(1, int(math.Round(x))) }

// quick packs pictures a little larger in a third of the time: half of a report's time was packing.
var quick = png.Encoder{CompressionLevel: png.BestSpeed, BufferPool: &pngRoom{}}

// pngRoom keeps the room of packed pictures for the next ones.
type pngRoom struct{ sync.Pool }

// Get is [png.EncoderBufferPool]'s.
func (r *pngRoom) Get() *png.EncoderBuffer {
	b, _ := r.Pool.Get().(*png.EncoderBuffer)
	return b
}

// Put is [png.EncoderBufferPool]'s.
func (r *pngRoom) Put(b *png.EncoderBuffer) { r.Pool.Put(b) }

// writePNG encodes img with a pHYs chunk that says how many pixels a mm has.
//
// Source: PNG specification (W3C, third edition), 11.3.4.3.
func writePNG(w io.Writer, img image.Image, perMM float64) error {
	var buf bytes.Buffer
	if err := quick.Encode(&buf, img); err != nil {
		return err
	}
	perMetre := uint32(math.Round(perMM * 1000))
	body := binary.BigEndian.AppendUint32(nil, perMetre)
	body = binary.BigEndian.AppendUint32(body, perMetre)
	return insert(w, buf.Bytes(), "pHYs", append(body, 1)) // 1: the unit is the metre
}

// greyOf returns the image in 8-bit grey, a third of the bytes. Weights: ITU-R BT.601.
func greyOf(src *image.RGBA) *image.Gray {
	out := image.NewGray(src.Rect)
	for i := range out.Pix {
		p := src.Pix[4*i:]
		out.Pix[i] = uint8((299*int(p[0]) + 587*int(p[1]) + 114*int(p[2]) + 500) / 1000)
	}
	return out
}

func colourOf(c ink) color.RGBA {
	var r, g, b uint8
	_, _ = fmt.Sscanf(string(c), "#%02x%02x%02x", &r, &g, &b)
	return color.RGBA{r, g, b, 255}
}

func (p *pngPen) grey(m picture) {
	at := func(s spot) image.Point { return image.Pt(pixels(s.X*p.perMM), pixels(s.Y*p.perMM)) }
	box := image.Rectangle{at(m.At), at(spot{m.At.X + m.Width, m.At.Y + m.Height})}
	draw.BiLinear.Scale(p.to, box, m.Image, m.Image.Bounds(), draw.Src, nil)
}

func (p *pngPen) line(l stroke) {
	if len(l.Points) == 0 {
		return
	}
	if l.Fill != none {
		p.fill([][]spot{l.Points}, l.Fill)
	}
	points := l.Points
	if l.Closed {
		points = append(append([]spot{}, points...), points[0])
	}
	pieces := [][]spot{points}
	if len(l.Dash) > 0 {
		pieces = dashes(points, l.Dash)
	}
	if l.Casing > 0 {
		p.stroke(pieces, l.Width+2*l.Casing, black)
	}
	if l.Ink != none && l.Width > 0 {
		p.stroke(pieces, l.Width, l.Ink)
	}
}

// stroke fills the lines' bodies: a rectangle a segment and a disc a joint, all turning the same
// way so that overlaps add instead of cancelling.
func (p *pngPen) stroke(pieces [][]spot, width float64, colour ink) {
	var shapes [][]spot
	for _, points := range pieces {
		for i := 1; i < len(points); i++ {
			a, b := points[i-1], points[i]
			d := apart(a, b)
			if d == 0 {
				continue
			}
			nx, ny := -(b.Y-a.Y)/d*width/2, (b.X-a.X)/d*width/2
			shapes = append(shapes, []spot{{a.X - nx, a.Y - ny}, {b.X - nx, b.Y - ny}, {b.X + nx, b.Y + ny}, {a.X + nx, a.Y + ny}})
			if i > 1 {
				shapes = append(shapes, disc(a, width/2))
			}
		}
	}
	p.fill(shapes, colour)
}

// fill paints shapes; only their own part of the image is rasterised.
func (p *pngPen) fill(shapes [][]spot, colour ink) {
	area := p.area(shapes)
	if area.Empty() {
		return
	}
	r := &p.raster
	r.Reset(area.Dx(), area.Dy())
	for _, shape := range shapes {
		for i, q := range shape {
			x, y := float32(q.X*p.perMM-float64(area.Min.X)), float32(q.Y*p.perMM-float64(area.Min.Y))
			if i == 0 {
				r.MoveTo(x, y)
				continue
			}
			r.LineTo(x, y)
		}
		r.ClosePath()
	}
	r.Draw(p.to, area, image.NewUniform(colourOf(colour)), image.Point{})
}

// area returns the pixels that shapes may touch.
func (p *pngPen) area(shapes [][]spot) image.Rectangle {
	low, high := spot{math.Inf(1), math.Inf(1)}, spot{math.Inf(-1), math.Inf(-1)}
	for _, shape := range shapes {
		for _, q := range shape {
			low = spot{math.Min(low.X, q.X), math.Min(low.Y, q.Y)}
			high = spot{math.Max(high.X, q.X), math.Max(high.Y, q.Y)}
		}
	}
	if !(low.X < high.X) || !(low.Y < high.Y) {
		return image.Rectangle{}
	}
	floor := func(x float64) int { return int(math.Floor(math.Max(-1e6, math.Min(1e6, x*p.perMM)))) }
	return image.Rect(floor(low.X), floor(low.Y), floor(high.X)+1, floor(high.Y)+1).Intersect(p.to.Bounds())
}

var parsed = sync.OnceValues(func() (map[weight]*opentype.Font, error) {
	out := map[weight]*opentype.Font{}
	for w, data := range typefaces {
		f, err := opentype.Parse(data)
		if err != nil {
			return nil, err
		}
		out[w] = f
	}
	return out, nil
})

func (p *pngPen) face(t label) font.Face {
	key := face{t.Weight, t.Size}
	if f, known := p.faces[key]; known {
		return f
	}
	fonts, err := parsed()
	if err == nil {
		var f font.Face
		f, err = opentype.NewFace(fonts[t.Weight], &opentype.FaceOptions{Size: t.Size * p.perMM, DPI: 72, Hinting: font.HintingNone})
		if err == nil {
			p.faces[key] = f
			return f
		}
	}
	if p.fail == nil {
		p.fail = err
	}
	return nil
}

func (p *pngPen) write(t label) {
	f := p.face(t)
	if f == nil {
		return
	}
	text := drawable(t.Text)
	x := t.At.X * p.perMM
	switch width := float64(font.MeasureString(f, text)) / 64; t.Anchor {
	case middleOf:
		x -= width / 2
	case end:
		x -= width
	}
	if t.Halo {
		edge := t.Size * 0.14 * p.perMM
		for _, q := range disc(spot{x, t.At.Y * p.perMM}, edge) {
			p.put(f, q, text, black)
		}
	}
	p.put(f, spot{x, t.At.Y * p.perMM}, text, t.Ink)
}

func (p *pngPen) put(f font.Face, at spot, text string, colour ink) {
	d := font.Drawer{Dst: p.to, Src: image.NewUniform(colourOf(colour)), Face: f,
		Dot: fixed.Point26_6{X: fixed.Int26_6(at.X * 64), Y: fixed.Int26_6(at.Y * 64)}}
	d.DrawString(text)
}
