package trace

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// crossing is what is seen across a piece of path: all its planes have the same two directions,
// those across the piece's chord, so that a path moved aside crosses at one place of them.
type crossing struct {
	piece  int
	points []r3.Vec // of the path, evenly
	u, w   r3.Vec
	slabs  []sheet
	depth  []float64 // of each place of the middle plane, mm
	why    string
	peaks  []peak // best first
}

func newCrossing(points []r3.Vec, piece int) *crossing {
	c := &crossing{piece: piece, points: points}
	chord := r3.Sub(points[len(points)-1], points[0])
	if r3.Norm(chord) < leastLength/2 {
		c.why = "the path turns back on itself here"
		return c
	}
	c.u, c.w = across(r3.Unit(chord))
	return c
}

// point returns the patient position of (x, y) in the plane through part k of the slabs, mm.
func (c *crossing) point(x, y float64, k int) r3.Vec {
	p := c.points[((2*k+1)*len(c.points))/(2*slabs)]
	return r3.Add(p, r3.Add(r3.Scale(x, c.u), r3.Scale(y, c.w)))
}

// sample fills the slabs and the depths.
func (c *crossing) sample(v *volume.Volume, depth func(r3.Vec) float64) {
	if c.why != "" {
		return
	}
	n := len(c.points)
	for k := range slabs {
		c.slabs = append(c.slabs, slab(v, c.points[k*n/slabs:(k+1)*n/slabs], c.u, c.w))
	}
	known := 0
	c.depth = make([]float64, mapSide*mapSide)
	for i := range c.depth {
		d := math.NaN()
		if depth != nil {
			d = depth(c.point(cell*float64(i%mapSide-reach), cell*float64(i/mapSide-reach), slabs/2))
		}
		if c.depth[i] = d; d >= leastDepth {
			known++
		}
	}
	if known < leastPlaces {
		c.why = "too little bone is known around the path here"
	}
}

const (
	leastDepth  = 1.0 // mm below the bone's surface that a canal's centre lies at least
	levelDepth  = 0.3 // mm; deep enough to be bone, shallow enough to be cortex too
	leastPlaces = 60  // cells deep enough, 10 mm²; less is too little to compare with
)

// levels are the greys of this bone.
type levels struct{ marrow, cortex float64 }

func (g levels) step() float64 { return g.cortex - g.marrow }

// levelsOf returns the greys of marrow and cortex around all pieces: the bone's greys divided in
// two where the two parts differ most between them (Otsu); marrow is the lower quarter of the
// darker part, because in a narrow ridge blur fills the marrow; cortex is the middle of the brighter.
//
// Source: Otsu N. IEEE Trans Syst Man Cybern 1979;9:62–66. doi:10.1109/TSMC.1979.4310076 (from memory).
func levelsOf(cs []*crossing) levels {
	var g []float64
	for _, c := range cs {
		if c.why != "" {
			continue
		}
		mean := combined(c.slabs, 0, slabs, 0, 0)
		for i, d := range c.depth {
			if x := float64(mean[inHalf(i%mapSide-reach, i/mapSide-reach)]); d >= levelDepth && x == x {
				g = append(g, x)
			}
		}
	}
	if len(g) < leastPlaces {
		return levels{}
	}
	sort.Float64s(g)
	at := otsu(g)
	return levels{g[at/4], g[(at+len(g))/2]}
}

// otsu returns how many of the sorted values belong to the lower of two classes.
func otsu(sorted []float64) int {
	total, sum, best, at := 0.0, 0.0, -1.0, 1
	for _, x := range sorted {
		total += x
	}
	for i, x := range sorted[:len(sorted)-1] {
		sum += x
		n, m := float64(i+1), float64(len(sorted)-i-1)
		d := sum/n - (total-sum)/m
		if between := n * m * d * d; between > best {
			best, at = between, i+1
		}
	}
	return at
}

// search fills the peaks.
func (c *crossing) search(v *volume.Volume, o LookOptions, g levels) {
	if c.why == "" && !(g.step() > 0) {
		c.why = "the bone's grey values do not differ"
	}
	if c.why == "" && c.metalNear(v, o.Metal, g) {
		c.why = "metal stands within 15 mm at this height"
	}
	if c.why != "" {
		return
	}
	limit := float32(g.marrow + wallShare*g.step())
	if combined(c.slabs, 0, slabs, 0, 0).blank() {
		c.why = "the field ends within 3 mm"
		return
	}
	for _, p := range newTubeMap(c.slabs, limit, c.depth).peaks() {
		if p.steady(c.slabs, limit) && c.inBone(p, o.Depth) {
			p.score /= g.step()
			c.peaks = append(c.peaks, p)
		}
	}
	c.slabs = nil
}

// inBone reports whether the tube stays in the bone from end to end of the piece.
func (c *crossing) inBone(p peak, depth func(r3.Vec) float64) bool {
	for k := range slabs {
		by := cell * float64(k-slabs/2)
		if d := depth(c.point(p.x+by*float64(p.drift[0]), p.y+by*float64(p.drift[1]), k)); !(d >= leastDepth/2) {
			return false
		}
	}
	return true
}

// metalNear reports whether metal stands within 15 mm of the piece in its axial planes.
func (c *crossing) metalNear(v *volume.Volume, level float64, g levels) bool {
	const near, pitch, least = 15.0, 0.5, 4 // mm, mm, and a square millimetre
	if level == 0 {
		level = g.marrow + metalShare*g.step()
	}
	side := int(2*near/pitch) + 1
	var plane []float32
	for k := range slabs {
		corner := r3.Sub(c.point(0, 0, k), r3.Vec{X: near, Y: near})
		plane = v.Sample(plane, volume.Plane{Origin: corner, StepX: r3.Vec{X: pitch}, StepY: r3.Vec{Y: pitch}, Width: side, Height: side})
		n := 0
		for i, x := range plane {
			if float64(x) > level && math.Hypot(pitch*float64(i%side)-near, pitch*float64(i/side)-near) <= near {
				n++
			}
		}
		if n >= least {
			return true
		}
	}
	return false
}

const (
	wallShare  = 0.25 // of the step from marrow to cortex that a way out counts at most
	metalShare = 2.2  // steps above marrow: enamel is brighter by 1.5 to 2, metal by 2.5 and more
)

// usualScore returns how canal-like the best places are that are no canal: the 90th percentile, over all
// pieces, of the peaks farther than apart mm from their piece's best.
func usualScore(cs []*crossing) float64 {
	const apart = 2.5 // mm
	var s []float64
	for _, c := range cs {
		for _, p := range c.peaks {
			if math.Hypot(p.x-c.peaks[0].x, p.y-c.peaks[0].y) > apart {
				s = append(s, p.score)
			}
		}
	}
	if len(s) == 0 {
		return 0
	}
	sort.Float64s(s)
	return s[len(s)*9/10]
}

// Thresholds on scores, which are shares of the step from marrow to cortex. Calibrated on synthetic
// jaws, see docs/trace.md: lower ones alarm where marrow has large dark spaces, higher ones miss
// canals that are hardly darker than the marrow.
const (
	leastSeen   = 0.09 // least score of a canal that is seen
	leastRival  = 0.12 // least score of a tube that speaks against a mark
	leastUsual  = 0.03 // marrow is taken to be no smoother than that
	seenOver    = 1.5  // times the usual best place, for a canal that is seen
	rivalOver   = 2.5  // times the usual best place, for a tube that speaks against a mark
	rivalToMark = 2.5  // by which it must be more canal-like than the mark
)

// answer says what the peaks mean for the mark. Positions are those of the piece's middle plane.
func (c *crossing) answer(usual, tolerance float64, p *Piece) {
	if p.Why = c.why; p.Why != "" {
		return
	}
	for _, k := range c.peaks {
		switch d := math.Hypot(k.x, k.y); {
		case d <= tolerance:
			p.Here = max(p.Here, k.score)
		case d <= farthestAway && k.score > p.There:
			p.There, p.Away, p.Rival = k.score, d, c.point(k.x, k.y, slabs/2)
		}
	}
	p.Usual, p.Answer = max(usual, leastUsual), NotShown
	switch {
	case p.There >= max(leastRival, rivalOver*p.Usual, rivalToMark*p.Here):
		p.Answer = Elsewhere
	case p.Here >= max(leastSeen, seenOver*p.Usual):
		p.Answer = Seen
	}
}
