package propose

import (
	"math"

	"ridgerule/measure/fit"

	"gonum.org/v1/gonum/spatial/r3"
)

// How the arch ends upward and downward, and what closes it there.

// ending is how the arch ends upward or downward.
type ending struct {
	height  float64 // mm, median of where it ends freely
	free    float64 // share of the places where it ends freely: neither cut by the field nor joined to more bone
	compact float64 // thickness of the compact at the free end, mm, median of where no tooth stands
	bright  float64 // share of the places with enamel or metal on this side
}

// reach returns how far beyond the trail to look for what closes the arch, mm: not as far as the other jaw.
func (e ending) reach() float64 {
	if e.free > 0.8 {
		return math.Min(lookBeyond, e.height+12)
	}
	return lookBeyond
}

// widestRidge is what is still one ridge, mm.
const widestRidge = 20

// ends follows the ridge from the trail upward (sign 1) or downward (−1).
func (c *cells) ends(t *trail, sign, teeth float64) (e ending) {
	from, to := t.stretch()
	var heights, compacts []float64
	n := 0.0
	for i := from; i < to; i++ {
		if !t.met(i) {
			continue
		}
		n++
		h, compact, free, bright := c.end(t, i, sign, teeth)
		if bright {
			e.bright++
		}
		if free {
			heights = append(heights, h)
			if !bright {
				compacts = append(compacts, compact)
			}
		}
	}
	e.height, e.compact = fit.Quantile(heights, 0.5), fit.Quantile(compacts, 0.5)
	e.free, e.bright = float64(len(heights))/math.Max(1, n), e.bright/math.Max(1, n)
	return e
}

// end follows the ridge at ray i to its end.
func (c *cells) end(t *trail, i int, sign, teeth float64) (height, compact float64, free, bright bool) {
	const most = 45.0
	p, dir := t.point(i), t.rays[i].dir
	var column []float64
	for h := 1.0; h < most; h++ {
		q := r3.Add(p, r3.Scale(sign, t.up))
		low, high, ok := c.run(q, dir)
		if !ok {
			_, inside := c.index(q)
			for j := len(column) - 1; j >= 0 && column[j] > c.dense && compact < mostCompact; j-- {
				compact++
			}
			return h, compact, inside, bright
		}
		if high-low > widestRidge {
			return h, 0, false, bright
		}
		p = r3.Add(q, r3.Scale(math.Max(-1, math.Min(1, (low+high)/2)), dir))
		g := c.greyAt(p)
		column = append(column, g)
		bright = bright || g > teeth
	}
	return most, 0, false, bright
}

// run returns the ends of the stretch of bone along dir that holds p or lies within 3 mm of it, mm from p.
func (c *cells) run(p, dir r3.Vec) (low, high float64, ok bool) {
	bone := func(x float64) bool { return c.boneAt(r3.Add(p, r3.Scale(x, dir))) > 0.5 }
	at := 0.0
	for ; at <= 3; at++ {
		if bone(at) {
			break
		}
		if bone(-at) {
			at = -at
			break
		}
	}
	if at > 3 {
		return 0, 0, false
	}
	low, high = at, at
	for bone(low-1) && at-low < widestRidge+1 {
		low--
	}
	for bone(high+1) && high-at < widestRidge+1 {
		high++
	}
	return low, high, true
}

const (
	lookStep = 2.0 // mm
	lookFrom = 3.0 // mm from the trail's plane
)

// closing is what closes the arch above or below.
type closing struct {
	air  float64 // enclosed, cm³
	roof float64 // share of the inside under bone
	seen bool    // the field reaches far enough to tell
}

// beyond looks above (sign 1) or below (−1) the trail. Air counts that bone parts from the trail's plane, as a
// cavity's floor does and an open mouth does not.
func (c *cells) beyond(t *trail, sign float64, e ending) (out closing) {
	const step = lookStep
	reach := e.reach()
	ring := t.ring()
	low, high := boxOf(ring)
	inside, covered := 0.0, 0.0
	var all look
	for a := low[0] - 8; a <= high[0]+8; a += step {
		for b := math.Max(low[1], high[1]-45); b <= high[1]+4; b += step {
			in, off := within(ring, a, b)
			if !in && off > 8 {
				continue
			}
			l := c.lookAlong(t.plane, [2]float64{a, b}, sign, reach)
			all.asked, all.told, all.air = all.asked+l.asked, all.told+l.told, all.air+l.air
			if in && off > 9 {
				inside++
				if l.roof {
					covered++
				}
			}
		}
	}
	out.air = all.air * step * step * step / 1000
	out.roof = covered / math.Max(1, inside)
	out.seen = all.told >= 0.7*all.asked
	return out
}

// look is what lies above or below a place of a plane: places asked and in the field, of enclosed air, and whether
// bone is among them.
type look struct {
	asked, told, air float64
	roof             bool
}

// lookAlong looks from a place of the plane upward (sign 1) or downward (−1), as far as reach mm.
func (c *cells) lookAlong(p plane, at [2]float64, sign, reach float64) (l look) {
	floor := c.boneAt(p.place(at[0], at[1], 0)) > 0.5
	for h := lookFrom; h <= reach; h += lookStep {
		q := p.place(at[0], at[1], sign*h)
		g := c.greyAt(q)
		l.asked++
		if math.IsNaN(g) {
			continue
		}
		l.told++
		l.roof = l.roof || c.boneAt(q) > 0.5
		if g < c.air && (l.roof || floor) && c.enclosed(p, q) {
			l.air++
		}
	}
	return l
}

// enclosed reports whether bone lies within 35 mm of at in at least six of eight directions of the plane.
func (c *cells) enclosed(p plane, at r3.Vec) bool {
	hits := 0
	for i := range 8 {
		sin, cos := math.Sincos(float64(i) * math.Pi / 4)
		d := r3.Add(r3.Scale(sin, p.left), r3.Scale(cos, p.front))
		for r := 2.0; r <= 35; r += 1.5 {
			if c.boneAt(r3.Add(at, r3.Scale(r, d))) > 0.3 {
				hits++
				break
			}
		}
	}
	return hits >= 6
}

// ring returns the trail's places in its plane: the arch, whose two ends are joined.
func (t *trail) ring() (out [][2]float64) {
	from, to := t.stretch()
	for i := from; i < to; i++ {
		d := r3.Sub(t.point(i), t.plane.at)
		out = append(out, [2]float64{r3.Dot(d, t.left), r3.Dot(d, t.front)})
	}
	return out
}

func boxOf(ring [][2]float64) (low, high [2]float64) {
	low, high = [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for _, p := range ring {
		for i := range p {
			low[i], high[i] = math.Min(low[i], p[i]), math.Max(high[i], p[i])
		}
	}
	return low, high
}

// within reports whether (a, b) lies inside the ring, and how far from its nearest corner, mm.
func within(ring [][2]float64, a, b float64) (in bool, off float64) {
	off = math.Inf(1)
	for i, p := range ring {
		q := ring[(i+1)%len(ring)]
		off = math.Min(off, math.Hypot(p[0]-a, p[1]-b))
		if (p[1] > b) != (q[1] > b) && a < p[0]+(b-p[1])/(q[1]-p[1])*(q[0]-p[0]) {
			in = !in
		}
	}
	return in, off
}
