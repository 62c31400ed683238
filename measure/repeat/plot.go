package repeat

import (
	"bytes"
	"fmt"
	"image/color"
	"io"
	"math"
	"slices"
	"strings"
	"unicode"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"
)

// Black on white, no colour, lines told apart by their dashes: the plots are read off a photocopy.

var (
	black  = color.Gray{Y: 0}
	grey   = color.Gray{Y: 140}
	dashed = []vg.Length{vg.Points(5), vg.Points(3)}
	dotted = []vg.Length{vg.Points(1), vg.Points(3)}
)

const (
	dpi  = 200
	side = 110 * vg.Millimeter // of the identity plot, and the height of the other
	wide = 150 * vg.Millimeter
)

// WriteBlandAltman draws the difference of pair i against its mean, or its reference, in format "svg" or "png": the bias
// as a line, the limits of agreement dashed, zero dotted, and beside them bars for the intervals.
//
// It fails on another format, a pair that is not there or was not compared, and on w.
func (r *Result) WriteBlandAltman(w io.Writer, i int, format string) error {
	p, err := r.drawable(i)
	if err != nil {
		return err
	}
	below := fmt.Sprintf("Mean of %s and %s", tidy(p.First), tidy(p.Second))
	if p.known {
		below = tidy(p.Second)
	}
	c := r.canvas(below, tidy(p.First)+" − "+tidy(p.Second))
	d, m := p.points()
	first, last := slices.Min(m), slices.Max(m)
	room := math.Max(last-first, smallest(p))
	right := last + 0.05*room
	c.rule(first-0.05*room, right, 0, dotted, grey)
	lines := []struct {
		name string
		at   Number
		Interval
		dash []vg.Length
	}{
		{"upper limit", p.UpperLimit.Value, shown(p.UpperLimit), dashed},
		{"mean", p.Bias.Value, p.Bias.Interval, nil},
		{"lower limit", p.LowerLimit.Value, shown(p.LowerLimit), dashed},
	}
	for k, l := range lines {
		c.rule(first-0.05*room, right, float64(l.at), l.dash, black)
		c.bar(right+float64(1+k%2)*0.03*room, 0.006*room, l.Interval)
	}
	c.dots(m, d)
	c.X.Min, c.X.Max = first-0.05*room, right+0.36*room
	c.X.Tick.Marker = ticks{right} // the names of the lines stand beyond
	c.fit(p, d)
	at := decimals(float64(p.SD.Value))
	c.Title.Text = fmt.Sprintf("%s, %s; bars: %s confidence intervals", plural(p.Subjects, "subject"), p.Of, r.level())
	if float64(p.UpperLimit.Value-p.Bias.Value) > 0.06*(c.Y.Max-c.Y.Min) {
		for _, l := range lines {
			c.text(right+0.09*room, float64(l.at), l.name+" "+r.figure(l.at, at))
		}
	} else { // the lines lie too close to name
		c.Title.Text = fmt.Sprintf("mean %s, limits %s and %s; ", r.figure(p.Bias.Value, at), digits(p.LowerLimit.Value, at), digits(p.UpperLimit.Value, at)) + c.Title.Text
	}
	return c.write(w, wide, side, format)
}

// WriteIdentity draws the readings of pair i against each other with the line on which they agree, on
// equal axes, in format "svg" or "png". It fails as WriteBlandAltman does.
func (r *Result) WriteIdentity(w io.Writer, i int, format string) error {
	p, err := r.drawable(i)
	if err != nil {
		return err
	}
	c := r.canvas(tidy(p.First), tidy(p.Second))
	low := math.Min(slices.Min(p.x), slices.Min(p.y))
	high := math.Max(slices.Max(p.x), slices.Max(p.y))
	margin := 0.05 * math.Max(high-low, smallest(p))
	low, high = low-margin, high+margin
	c.add(plotter.XYs{{X: low, Y: low}, {X: high, Y: high}}, nil, black)
	c.dots(p.x, p.y)
	c.X.Min, c.X.Max, c.Y.Min, c.Y.Max = low, high, low, high
	c.Title.Text = fmt.Sprintf("%s, %s; line: equal readings", plural(p.Subjects, "subject"), p.Of)
	return c.write(w, side, side, format)
}

// drawable is pair i, if there are readings to draw.
func (r *Result) drawable(i int) (*Pair, error) {
	if i < 0 || i >= len(r.Pairs) {
		return nil, fmt.Errorf("repeat: pair %d: the result has pairs 0 to %d", i, len(r.Pairs)-1)
	}
	p := &r.Pairs[i]
	if p.Reason != "" || len(p.x) == 0 {
		return nil, fmt.Errorf("repeat: %s and %s have nothing to draw: %s", p.First, p.Second, p.Reason)
	}
	return p, nil
}

// shown is the exact interval of a limit, or the approximate one where there is no exact.
func shown(l Limit) Interval {
	if l.Exact.Low.Known() {
		return l.Exact
	}
	return l.Approx
}

// smallest is the least range of an axis, in the unit of the readings: equal readings still get one.
func smallest(p *Pair) float64 {
	if m := magnitude(p.x, p.y); m > 0 {
		return 1e-3 * m
	}
	return 1
}

// chart is a plot in the house's lines.
type chart struct{ *plot.Plot }

// canvas is an empty chart with its axes named, each with the unit.
func (r *Result) canvas(x, y string) chart {
	p := plot.New()
	if u := tidy(r.Unit); u != "" {
		x, y = x+" ("+u+")", y+" ("+u+")"
	}
	p.X.Label.Text, p.Y.Label.Text = x, y
	sans := font.Font{Typeface: "Liberation", Variant: "Sans"}
	for _, t := range []*draw.TextStyle{&p.X.Label.TextStyle, &p.Y.Label.TextStyle, &p.X.Tick.Label, &p.Y.Tick.Label, &p.Title.TextStyle} {
		t.Font = font.From(sans, 9)
	}
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.Width, a.Tick.Width, a.Tick.Length = vg.Points(0.5), vg.Points(0.5), vg.Points(4)
		a.Padding, a.Label.Padding = vg.Points(6), vg.Points(6)
		a.Tick.Marker = ticks{math.Inf(1)}
	}
	p.Title.Padding = vg.Points(8)
	return chart{p}
}

// ticks are the usual ones up to last, in the unit of the axis, written with a printer's minus and
// without the small unlabelled ones.
type ticks struct{ last float64 }

func (k ticks) Ticks(low, high float64) []plot.Tick {
	var out []plot.Tick
	for _, t := range (plot.DefaultTicks{}).Ticks(low, high) {
		if t.Label != "" && t.Value <= k.last {
			t.Label = strings.ReplaceAll(t.Label, "-", "−")
			out = append(out, t)
		}
	}
	return out
}

func (c chart) add(xy plotter.XYs, dash []vg.Length, shade color.Color) {
	c.Add(&plotter.Line{XYs: xy, LineStyle: draw.LineStyle{Color: shade, Width: vg.Points(0.8), Dashes: dash}})
}

// rule is a level line from x0 to x1.
func (c chart) rule(x0, x1, y float64, dash []vg.Length, shade color.Color) {
	c.add(plotter.XYs{{X: x0, Y: y}, {X: x1, Y: y}}, dash, shade)
}

// bar is an interval, drawn upright at x with a foot and a head as wide as twice half.
func (c chart) bar(x, half float64, i Interval) {
	if !i.Low.Known() || !i.High.Known() {
		return
	}
	low, high := float64(i.Low), float64(i.High)
	c.add(plotter.XYs{{X: x, Y: low}, {X: x, Y: high}}, nil, black)
	c.rule(x-half, x+half, low, nil, black)
	c.rule(x-half, x+half, high, nil, black)
}

func (c chart) dots(x, y []float64) {
	xy := make(plotter.XYs, len(x))
	for i := range x {
		xy[i].X, xy[i].Y = x[i], y[i]
	}
	c.Add(&plotter.Scatter{XYs: xy, GlyphStyle: draw.GlyphStyle{Color: black, Radius: vg.Points(2.5), Shape: draw.RingGlyph{}}})
}

// text stands right of x, in the middle of the height y.
func (c chart) text(x, y float64, s string) {
	style := c.X.Tick.Label
	style.XAlign, style.YAlign = draw.XLeft, draw.YCenter
	c.Add(&plotter.Labels{XYs: plotter.XYs{{X: x, Y: y}}, Labels: []string{s}, TextStyle: []draw.TextStyle{style}})
}

// fit makes the y axis hold zero, the differences and every interval.
func (c chart) fit(p *Pair, d []float64) {
	ys := append([]float64{0}, d...)
	for _, i := range []Interval{p.Bias.Interval, shown(p.LowerLimit), shown(p.UpperLimit)} {
		if i.Low.Known() && i.High.Known() {
			ys = append(ys, float64(i.Low), float64(i.High))
		}
	}
	low, high := slices.Min(ys), slices.Max(ys)
	margin := 0.04 * math.Max(high-low, smallest(p))
	c.Y.Min, c.Y.Max = low-margin, high+margin
}

func (c chart) write(w io.Writer, width, height vg.Length, format string) error {
	var out vg.CanvasWriterTo
	switch format {
	case "svg":
		out = vgsvg.New(width, height)
	case "png":
		out = vgimg.PngCanvas{Canvas: vgimg.NewWith(vgimg.UseWH(width, height), vgimg.UseDPI(dpi))}
	default:
		return fmt.Errorf("repeat: plot format %q: svg and png are known", format)
	}
	const border = 3 * vg.Millimeter
	c.Draw(draw.Crop(draw.New(out), border, -border, border, -border))
	if format == "svg" {
		return writeSVG(w, out)
	}
	_, err := out.WriteTo(w)
	return err
}

// writeSVG gives the text a family to fall back on where the font is not installed.
func writeSVG(w io.Writer, out io.WriterTo) error {
	var b bytes.Buffer
	if _, err := out.WriteTo(&b); err != nil {
		return err
	}
	_, err := w.Write(bytes.ReplaceAll(b.Bytes(), []byte("font-family:Liberation Sans;"), []byte("font-family:Liberation Sans,sans-serif;")))
	return err
}

// tidy makes a label fit a plot: no control characters, forty letters at most.
func tidy(s string) string {
	s = strings.Map(func(c rune) rune {
		if !unicode.IsPrint(c) {
			return -1
		}
		return c
	}, strings.ToValidUTF8(s, "?"))
	if letters := []rune(s); len(letters) > 40 {
		return string(letters[:39]) + "…"
	}
	return s
}
