package trace

import (
	"math"
	"slices"
	"sort"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// section is the picture in a plane across the path, a mean over a thin slab.
type section struct {
	at   r3.Vec  // where the path meets the plane; (x, y) = (0, 0)
	u, w r3.Vec  // unit vectors of x and y
	px   []pixel // nearest to the path first
}

type pixel struct {
	x, y float64 // mm
	i, j int     // x and y in pixels
	grey float64
}

const (
	pixelStep = 0.25 // mm
	pixels    = 16   // each way from the path: 4 mm, a wide canal and its wall
	apartMM   = 0.5  // distance between sections along the path, mm
)

// newSection samples the plane across tangent through at; pixels without grey value are left out.
func newSection(v *volume.Volume, at, tangent r3.Vec) *section {
	const side, planes = 2*pixels + 1, 3
	c := &section{at: at}
	c.u, c.w = across(tangent)
	p := volume.Plane{StepX: r3.Scale(pixelStep, c.u), StepY: r3.Scale(pixelStep, c.w), Width: side, Height: side}
	var sum [side * side]float32
	var raster []float32
	for k := range planes {
		corner := c.point(-pixels*pixelStep, -pixels*pixelStep)
		p.Origin = r3.Add(corner, r3.Scale(apartMM*offset(k, planes), tangent))
		raster = v.Sample(raster, p)
		for i, g := range raster {
			sum[i] += g / planes
		}
	}
	for _, p := range innerFirst() {
		p.grey = float64(sum[(p.j+pixels)*side+p.i+pixels])
		if p.grey == p.grey {
			c.px = append(c.px, p)
		}
	}
	return c
}

// innerFirst returns the pixels of a full section, the nearest to the path first.
var innerFirst = sync.OnceValue(func() []pixel {
	var px []pixel
	for j := -pixels; j <= pixels; j++ {
		for i := -pixels; i <= pixels; i++ {
			if i*i+j*j <= pixels*pixels {
				px = append(px, pixel{x: pixelStep * float64(i), y: pixelStep * float64(j), i: i, j: j})
			}
		}
	}
	slices.SortStableFunc(px, func(a, b pixel) int { return a.i*a.i + a.j*a.j - b.i*b.i - b.j*b.j })
	return px
})

// within returns how many pixels, the innermost first, lie within mm of the path.
func (c *section) within(mm float64) int {
	r := mm / pixelStep
	return sort.Search(len(c.px), func(k int) bool {
		p := c.px[k]
		return float64(p.i*p.i+p.j*p.j) > r*r
	})
}

// point returns the patient position of (x, y), mm.
func (c *section) point(x, y float64) r3.Vec {
	return r3.Add(c.at, r3.Add(r3.Scale(x, c.u), r3.Scale(y, c.w)))
}

// mean returns mean and standard deviation of the pixels between lo and hi mm from the path,
// in grey values; NaN where there are none.
func (c *section) mean(lo, hi float64) (mean, sd float64) {
	var n, sum, sq float64
	for _, p := range c.px {
		if rho := math.Hypot(p.x, p.y); rho >= lo && rho < hi {
			n, sum, sq = n+1, sum+p.grey, sq+p.grey*p.grey
		}
	}
	mean = sum / n
	return mean, math.Sqrt(max(sq/n-mean*mean, 0))
}
