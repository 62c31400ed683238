package trace

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// section is the picture in a plane across the path, a mean over a thin slab.
type section struct {
	at   r3.Vec // where the path meets the plane; (x, y) = (0, 0)
	u, w r3.Vec // unit vectors of x and y
	px   []pixel
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
func newSection(s *sampler, at, tangent r3.Vec) *section {
	c := &section{at: at}
	c.u, c.w = across(tangent)
	for j := -pixels; j <= pixels; j++ {
		for i := -pixels; i <= pixels; i++ {
			if i*i+j*j > pixels*pixels {
				continue
			}
			p := pixel{x: pixelStep * float64(i), y: pixelStep * float64(j), i: i, j: j}
			for k := -1; k <= 1; k++ {
				p.grey += s.at(r3.Add(c.point(p.x, p.y), r3.Scale(float64(k)*apartMM/3, tangent))) / 3
			}
			if !math.IsNaN(p.grey) {
				c.px = append(c.px, p)
			}
		}
	}
	return c
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
