package report

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ridgerule/measure/reformat"
)

// written gathers the labels of a sheet and where its picture lies.
type written struct {
	labels  []label
	picture picture
}

func (w *written) grey(p picture) { w.picture = p }
func (w *written) line(stroke)    {}
func (w *written) write(t label)  { w.labels = append(w.labels, t) }

// coordinate returns the number of a label, false when it is none.
func coordinate(t label) (float64, bool) {
	n, err := strconv.ParseFloat(strings.Replace(t.Text, minus, "-", 1), 64)
	return n, err == nil
}

// A point is where the coordinates at the edges say: the one bright pixel of a picture, read off its sheet by the labels of
// 10 and 20 mm as a ruler is, has the coordinates that it was given. Half a pixel is what a pixel's place can be off.
func TestAxialCoordinatesAreThePatients(t *testing.T) {
	for _, c := range []struct{ x0, y0, step float64 }{{-31.7, -44.3, 0.4}, {5.1, 3.2, 0.25}, {-200.4, -90, 0.4}} {
		const width, height, col, row = 181, 162, 97, 51
		p := Picture{First: reformat.UV{U: c.x0, V: -c.y0}, Step: c.step, Width: width, Height: height, Grey: make([]float32, width*height)}
		p.Grey[row*width+col] = 1000
		d, err := NewAxials([]Picture{p}).Drawing(-4, p)
		require.NoError(t, err)
		var on written
		d.sheet.draw(&on)
		bright := spot{}
		for i, g := range on.picture.Image.Pix {
			if g == 255 {
				bright = spot{(float64(i%width) + 0.5) / width * on.picture.Width, (float64(i/width) + 0.5) / height * on.picture.Height}
			}
		}
		bright.X, bright.Y = bright.X+on.picture.At.X, bright.Y+on.picture.At.Y
		x, y := on.read(t, bright)
		assert.InDelta(t, c.x0+col*c.step, x, c.step/2, "x")
		assert.InDelta(t, c.y0+row*c.step, y, c.step/2, "y")
	}
}

// read returns the coordinates at a spot by the two labels of each axis that are furthest apart.
func (w *written) read(t *testing.T, at spot) (x, y float64) {
	t.Helper()
	type mark struct{ mm, place float64 }
	var across, down []mark
	for _, l := range w.labels {
		mm, is := coordinate(l)
		if !is {
			continue
		}
		if l.Anchor == middleOf {
			across = append(across, mark{mm, l.At.X})
		} else {
			down = append(down, mark{mm, l.At.Y - 0.35*small}) // the line is in the middle of the letters' height
		}
	}
	value := func(marks []mark, place float64) float64 {
		least, most := marks[0], marks[0]
		for _, m := range marks {
			if m.mm < least.mm {
				least = m
			}
			if m.mm > most.mm {
				most = m
			}
		}
		require.Less(t, least.place, most.place, "right is +x, down is +y")
		return least.mm + (place-least.place)/(most.place-least.place)*(most.mm-least.mm)
	}
	return value(across, at.X), value(down, at.Y)
}

// Each side has its letter on its own edge, and its words; a picture of nobody says so.
func TestAxialNamesThePatientsSides(t *testing.T) {
	p := Picture{Step: 0.5, Width: 100, Height: 80, Grey: make([]float32, 8000)}
	a := NewAxials(nil)
	a.Synthetic = true
	d, err := a.Drawing(12, p)
	require.NoError(t, err)
	var on written
	d.sheet.draw(&on)
	at := map[string]spot{}
	for _, l := range on.labels {
		at[l.Text] = l.At
	}
	middle := spot{on.picture.At.X + on.picture.Width/2, on.picture.At.Y + on.picture.Height/2}
	assert.Less(t, at["R"].X, middle.X-0.4*on.picture.Width)
	assert.Greater(t, at["L"].X, middle.X+0.4*on.picture.Width)
	assert.Less(t, at["A"].Y, middle.Y-0.3*on.picture.Height)
	assert.Greater(t, at["P"].Y, middle.Y+0.4*on.picture.Height)
	assert.Less(t, at["patient right"].X, at["patient left"].X)
	assert.Contains(t, at, "Axial section at z = 12.0 mm")
	assert.Contains(t, at, syntheticCaution)
}

func TestAxialRefusesNumbersThatDoNotFit(t *testing.T) {
	for _, p := range []Picture{{}, {Step: 1, Width: 4, Height: 4, Grey: make([]float32, 15)}, {Step: math.NaN(), Width: 1, Height: 1, Grey: make([]float32, 1)}} {
		_, err := NewAxials(nil).Drawing(0, p)
		assert.Error(t, err)
	}
}
