package trace

import (
	"math"
	"slices"
	"sort"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/fit"
)

// crossing is what is seen across a piece of path. All its planes have the same two directions, those
// across the piece's chord: a path moved aside crosses them at one place.
type crossing struct {
	piece  int      // of the path
	points []r3.Vec // of the path, evenly
	u, w   r3.Vec   // unit vectors of the planes
	slabs  []sheet
	depth  []float64 // of each place of the middle plane, mm
	why    string    // why it cannot be tested
	noise  float64   // of marrow averaged along the piece, as a share of the step to cortex
	peaks  []peak    // best first
}

const (
	leastDepth  = 1.0 // mm below the bone's surface that a canal's centre lies at least
	levelDepth  = 0.3 // mm; deep enough to be bone, shallow enough to be cortex too
	leastPlaces = 60  // cells deep enough, 10 mm²; less is too little to compare with
)

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

// point returns the patient position of (x, y) in the plane through the middle of slab k, mm.
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
	if combined(c.slabs, 0, slabs, 0, 0).blank(3) {
		c.why = "the field ends within 3 mm"
		return
	}
	deep := 0
	c.depth = c.depths(depth)
	for _, d := range c.depth {
		if d >= leastDepth {
			deep++
		}
	}
	if deep < leastPlaces {
		c.why = "too little bone is known around the path here"
	}
}

// depths returns how deep each place of the middle plane lies, mm: asked at every second cell, linear
// between, because a depth changes by no more than the way.
func (c *crossing) depths(depth func(r3.Vec) float64) []float64 {
	const n = reach + 2 // nodes two cells apart, from one cell beyond the map to one beyond it
	node := make([]float64, n*n)
	for i := range node {
		node[i] = math.NaN()
		if depth != nil {
			node[i] = depth(c.point(cell*float64(2*(i%n)-reach-1), cell*float64(2*(i/n)-reach-1), slabs/2))
		}
	}
	out := make([]float64, mapSide*mapSide)
	for i := range out {
		x, y := i%mapSide+1, i/mapSide+1
		out[i] = (node[y/2*n+x/2] + node[y/2*n+(x+1)/2] + node[(y+1)/2*n+x/2] + node[(y+1)/2*n+(x+1)/2]) / 4
	}
	return out
}

// levels are the greys of this bone.
type levels struct {
	marrow, cortex float64
	bright         float64 // 95th percentile: cortex, however little of it there is
}

func (g levels) step() float64 { return g.cortex - g.marrow }

// levelsOf returns the greys around all pieces: the bone's greys are divided in two where the parts
// differ most between them (Otsu). Marrow is the lower quarter of the darker part, because blur fills
// narrow marrow; cortex is the middle of the brighter.
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
			if x := float64(mean[inHalf(ofMap(i))]); d >= levelDepth && x == x {
				g = append(g, x)
			}
		}
	}
	if len(g) < leastPlaces {
		return levels{}
	}
	sort.Float64s(g)
	at := otsu(g)
	return levels{g[at/4], g[(at+len(g))/2], g[len(g)*19/20]}
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

// search finds the peaks and the noise they stand in.
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
	c.noise = min(c.unevenness(g)/g.step(), mostNoise)
	for _, p := range newTubeMap(c.slabs, g, c.depth).peaks(g) {
		if p.steady(c.slabs, g) && c.inBone(p, o.Depth) {
			c.peaks = append(c.peaks, p)
		}
	}
	c.slabs = nil
}

// unevenness returns how far marrow averaged along the piece strays, its texture included, in grey
// values: a robust standard deviation, from differences between slabs 4 mm apart. What runs along
// the path, plates and canals, cancels.
func (c *crossing) unevenness(g levels) float64 {
	var parts [slabs]sheet
	for k := range parts {
		parts[k] = combined(c.slabs, k, k+1, 0, 0)
	}
	var d []float64
	for i, depth := range c.depth {
		at := inHalf(ofMap(i))
		for k := range slabs - 2 {
			a, b := float64(parts[k][at]), float64(parts[k+2][at])
			if depth >= leastDepth && (a+b)/2 < g.marrow+g.step()/2 {
				d = append(d, math.Abs(a-b))
			}
		}
	}
	if len(d) == 0 {
		return 0
	}
	return fit.MADToSD * fit.Quantile(d, 0.5) / math.Sqrt(2*slabs)
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

// metalShare is from how many steps above marrow a voxel is metal: enamel is brighter than marrow by about
// two steps to a tooth's cortex, metal by more than three or as much as the scanner can say. Our
// choice; lower ones mute the neighbourhood of crowns.
const metalShare = 2.6

// metalNear reports whether metal stands within 15 mm of the piece in its axial planes.
func (c *crossing) metalNear(v *volume.Volume, level float64, g levels) bool {
	const near, pitch, least = 15.0, 0.5, 4 // mm, mm, and a square millimetre
	if level == 0 {
		level = g.marrow + metalShare*(g.bright-g.marrow)
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

// usualScore returns how canal-like places are that are no canal: the 90th percentile, over all pieces,
// of the peaks that lie apart from their piece's best.
func usualScore(cs []*crossing) float64 {
	const apart = 2.5 // mm; nearer ones are the same tube's
	var s []float64
	for _, c := range cs {
		for _, p := range c.peaks {
			if math.Hypot(p.x-c.peaks[0].x, p.y-c.peaks[0].y) > apart {
				s = append(s, p.score)
			}
		}
	}
	if len(s) == 0 {
		return leastUsual
	}
	slices.Sort(s)
	return max(leastUsual, s[len(s)*9/10])
}

// Thresholds on scores, which are shares of the step from marrow to cortex. Calibrated on synthetic jaws,
// see docs/trace.md: lower ones alarm at large marrow spaces, higher ones miss canals that are
// hardly darker than marrow.
const (
	leastSeen  = 0.06 // least score of a canal that is seen
	leastRival = 0.1  // least score of a tube that speaks against a mark
	leastUsual = 0.03 // no marrow is taken to be smoother
	mostNoise  = 0.08 // more does not come from marrow, but from narrow plates that turn along the piece

	seenOverNoise  = 2   // times the noise
	rivalOverNoise = 3   // the same for a rival
	overUsual      = 1.5 // times what is usual in this bone
	rivalOverMark  = 2.5 // times the score at the mark
)

// answer says what the peaks mean for the mark.
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
	p.Usual, p.Noise, p.Answer = usual, c.noise, NotShown
	switch {
	case p.There >= max(leastRival, rivalOverNoise*c.noise, overUsual*usual, rivalOverMark*p.Here):
		p.Answer = Elsewhere
	case p.Here >= max(leastSeen, seenOverNoise*c.noise, overUsual*usual):
		p.Answer = Seen
	}
}
