package report

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure"
	"ridgerule/measure/reformat"
)

// strokes is a pen that notes lines and labels.
type strokes struct {
	collector
	lines []stroke
}

func (s *strokes) line(l stroke) { s.lines = append(s.lines, l) }

// crowded is an arch of sites 7 mm apart with names of 16 characters, and four structures beside each other.
func crowded() *measure.Result {
	r := &measure.Result{Occlusal: r3.Vec{Z: 1}, Synthetic: true}
	for x := -28.0; x <= 28; x++ {
		r.Arch.Curve = append(r.Arch.Curve, r3.Vec{X: x, Y: x*x/25 - 20})
	}
	for i, x := range []float64{-24, -21, -16, -6, 6, 16, 21, 24} {
		along := r3.Unit(r3.Vec{X: 1, Y: 2 * x / 25})
		s := measure.SiteResult{ID: fmt.Sprintf("site WWWW %06d", i)}
		s.Frame = reformat.Frame{Origin: r3.Vec{X: x, Y: x*x/25 - 20}, U: r3.Vec{X: along.Y, Y: -along.X}, V: r3.Vec{Z: 1}, T: along}
		s.Implant = &measure.Implant{Platform: s.Frame.Origin, Axis: r3.Vec{Z: -1}, Diameter: 4, Length: 10}
		r.Sites = append(r.Sites, s)
	}
	var canal []r3.Vec
	for t := 0.0; t <= 30; t++ {
		canal = append(canal, r3.Vec{X: 22 + t/8, Y: 30 - t, Z: -10})
	}
	last := canal[len(canal)-1]
	r.Structures = []measure.Structure{
		{Name: "left canal", Path: canal, Radii: every(canal, 1.5)},
		{Name: "left mental foramen", Path: []r3.Vec{last}, Radii: []float64{1.5}},
		{Name: "left anterior loop", Path: []r3.Vec{r3.Add(last, r3.Vec{X: -1, Y: -3})}, Radii: []float64{1}},
		{Name: "incisive canal of the left side", Path: []r3.Vec{last, r3.Add(last, r3.Vec{X: -9, Y: -9})}, Radii: []float64{1, 0.6}},
	}
	return r
}

func every(path []r3.Vec, radius float64) []float64 {
	return each(path, func(r3.Vec) float64 { return radius })
}

func TestNamesOnTheArchStandApartAndWhole(t *testing.T) {
	s := archSheet(crowded(), archRoom, tiny)
	var pen strokes
	s.draw(&pen)
	sheet := box2{spot{0, 0}, spot{s.Width, s.Height}}
	for i, a := range pen.labels {
		room := boxOf(a)
		require.True(t, room.low.X >= sheet.low.X && room.high.X <= sheet.high.X && room.low.Y >= sheet.low.Y && room.high.Y <= sheet.high.Y, "%q is cut", a.Text)
		for _, b := range pen.labels[:i] {
			require.False(t, room.overlaps(boxOf(b)), "%q and %q collide", a.Text, b.Text)
		}
	}
	for _, l := range pen.lines {
		for _, p := range l.Points {
			require.True(t, p.X >= 0 && p.X <= s.Width && p.Y >= 0 && p.Y <= s.Height, "a line leaves the sheet at %v", p)
		}
	}
}

// Over the unrolled picture too: in rows where one has no room, each with a hair to its line.
func TestNamesOverThePanoramicStandApartAndWhole(t *testing.T) {
	r := crowded()
	for i := range r.Sites {
		r.Sites[i].Frame.Arc = []float64{0.5, 4, 11, 19, 26, 33, 38, 39.5}[i]
	}
	p := Picture{Step: 0.2, Width: 200, Height: 100, Grey: make([]float32, 20000)}
	s := panoramicSheet(r, p, window{0, 1}, panoramicRoom)
	var pen collector
	s.draw(&pen)
	seen := 0
	for i, a := range pen.labels {
		room := boxOf(a)
		require.True(t, room.low.X >= 0 && room.high.X <= s.Width && room.low.Y >= 0 && room.high.Y <= s.Height, "%q is cut", a.Text)
		if a.Size == idSize {
			seen++
		}
		for _, b := range pen.labels[:i] {
			require.False(t, room.overlaps(boxOf(b)), "%q and %q collide", a.Text, b.Text)
		}
	}
	require.Equal(t, 8, seen)
}

// A canal of 31 points is drawn as one body: one outline, every point of which is a radius from the canal's middle line.
func TestCanalIsOneTube(t *testing.T) {
	r := crowded()
	r.Structures = r.Structures[:1]
	s := archSheet(r, archRoom, tiny)
	var pen strokes
	s.draw(&pen)
	var outlines []stroke
	for _, l := range pen.lines {
		if l.Ink == soft && len(l.Dash) == 0 && len(l.Points) > 40 {
			outlines = append(outlines, l)
		}
	}
	require.Len(t, outlines, 1)
	var middle []spot
	for _, l := range pen.lines {
		if l.Ink == hair && len(l.Dash) > 0 {
			middle = l.Points
		}
	}
	require.Len(t, middle, 31)
	for _, p := range outlines[0].Points {
		least := math.Inf(1)
		for i := 1; i < len(middle); i++ {
			for f := 0.0; f <= 1; f += 0.01 {
				least = math.Min(least, apart(p, between(middle[i-1], middle[i], f)))
			}
		}
		require.InDelta(t, 1.5*s.Scale, least, 0.03, "linear between the corners of a grid of 0.2 mm")
	}
}
