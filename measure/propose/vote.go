package propose

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/plan"
	"ridgerule/measure/reformat"
	"ridgerule/measure/ridge"
)

// The jaw by what lies above and below the arch. Upper: enclosed air and a bony plate close the arch from
// above, and the teeth hang at its lower end. Lower: the arch stays an empty wall that ends freely below,
// with the thicker compact there, and its teeth stand at the upper end. Signs that speak for an image on its
// head speak for no jaw.

// ballot counts what speaks for each jaw.
type ballot struct {
	mandible, maxilla, upsideDown int
	why                           []string
}

func (b *ballot) add(n *int, format string, args ...any) {
	*n++
	b.why = append(b.why, fmt.Sprintf(format, args...))
}

// How much must be seen of a sign. Our choice, after the anatomy texts' usual sizes.
const (
	leastAir    = 1.5  // cm³ of enclosed air
	leastRoof   = 0.5  // share of the arch's inside that a bony plate covers
	leastWall   = 15.0 // mm of height through which the arch is a wall alone
	thickerBase = 0.7  // mm by which the base's compact is thicker than the crest's
	lookBeyond  = 25.0 // mm above and below the trail
	margin      = 2    // votes
	mostCompact = 6.0  // mm: more is a tooth, or a line that runs within a wall
)

// vote lets the image vote on the jaw that t belongs to; teeth is the grey value from which on something is denser than bone.
func (c *cells) vote(t *trail, teeth float64) ballot {
	var b ballot
	up, down := c.ends(t, 1, teeth), c.ends(t, -1, teeth)
	above, below := c.beyond(t, 1, up), c.beyond(t, -1, down)
	closedAbove := above.air >= leastAir || above.roof >= leastRoof
	closedBelow := below.air >= leastAir || below.roof >= leastRoof
	if above.air >= leastAir {
		b.add(&b.maxilla, "%.1f cm³ of enclosed air above the arch", above.air)
	}
	if above.roof >= leastRoof {
		b.add(&b.maxilla, "a bony plate closes %.0f %% of the arch from above", 100*above.roof)
	}
	if below.air >= leastAir {
		b.add(&b.upsideDown, "%.1f cm³ of enclosed air below the arch", below.air)
	}
	if below.roof >= leastRoof {
		b.add(&b.upsideDown, "a bony plate closes %.0f %% of the arch from below", 100*below.roof)
	}
	if !closedAbove && !closedBelow && up.free > 0.5 && down.free > 0.5 && up.height+down.height >= leastWall {
		b.add(&b.mandible, "a wall alone through %.0f mm of height, nothing inside", up.height+down.height)
	}
	if !closedAbove && up.free > 0.5 && above.seen {
		b.add(&b.mandible, "neither a bony plate nor enclosed air above the arch")
	}
	if up.free > 0.5 && down.free > 0.5 {
		switch d := down.compact - up.compact; {
		case d > thickerBase && !closedAbove:
			b.add(&b.mandible, "the compact of the lower end is %.1f mm thicker than that of the upper one", d)
		case d < -2*thickerBase && !closedAbove:
			b.add(&b.upsideDown, "the compact of the upper end is %.1f mm thicker than that of the lower one", -d)
		}
	}
	c.voteTeeth(&b, up, down)
	return b
}

// voteTeeth adds where the teeth stand.
func (c *cells) voteTeeth(b *ballot, up, down ending) {
	const some, much = 0.1, 2.0
	switch {
	case up.bright > some && up.bright > much*down.bright:
		b.add(&b.mandible, "teeth at the upper end of the arch")
	case down.bright > some && down.bright > much*up.bright:
		b.add(&b.maxilla, "teeth at the lower end of the arch")
	}
}

// jaw returns the jaw that has the votes; "" when it is too narrow.
func (b ballot) jaw() plan.Jaw {
	switch {
	case b.upsideDown > 0:
		return ""
	case b.mandible >= b.maxilla+margin:
		return plan.Mandible
	case b.maxilla >= b.mandible+margin:
		return plan.Maxilla
	}
	return ""
}

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
	e.height, e.compact = median(heights), median(compacts)
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

// closing is what closes the arch above or below.
type closing struct {
	air  float64 // enclosed, cm³
	roof float64 // share of the inside under bone
	seen bool    // the field reaches far enough to tell
}

// beyond looks above (sign 1) or below (−1) the trail. Air counts that bone parts from the trail's plane, as a
// cavity's floor does and an open mouth does not.
func (c *cells) beyond(t *trail, sign float64, e ending) (out closing) {
	const step, start = 2.0, 3.0
	reach := e.reach()
	ring := t.ring()
	low, high := boxOf(ring)
	inside, covered, told, asked := 0.0, 0.0, 0.0, 0.0
	for a := low[0] - 8; a <= high[0]+8; a += step {
		for b := math.Max(low[1], high[1]-45); b <= high[1]+4; b += step {
			in, off := within(ring, a, b)
			if !in && off > 8 {
				continue
			}
			roof, floor := false, c.boneAt(t.place(a, b, 0)) > 0.5
			for h := start; h <= reach; h += step {
				p := t.place(a, b, sign*h)
				g := c.greyAt(p)
				asked++
				if math.IsNaN(g) {
					continue
				}
				told++
				roof = roof || c.boneAt(p) > 0.5
				if g < c.air && (roof || floor) && c.enclosed(t.plane, p) {
					out.air += step * step * step / 1000
				}
			}
			if in && off > 9 {
				inside++
				if roof {
					covered++
				}
			}
		}
	}
	out.roof = covered / math.Max(1, inside)
	out.seen = told >= 0.7*asked
	return out
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

// choose decides on the jaw and returns the trail that belongs to it.
func (w *work) choose(bands []trail) (*trail, error) {
	p := w.Proposal
	if len(bands) == 0 {
		return nil, &Refusal{ErrArch, "the field shows no row of bone that runs like a jaw", "mark the arch by hand"}
	}
	votes := make([]ballot, len(bands))
	of := map[plan.Jaw]int{}
	rival := false
	for i := range bands {
		votes[i] = w.cells.vote(&bands[i], denser(learn(w.v, &bands[i])))
		j := votes[i].jaw()
		if k, ok := of[j]; !ok || bands[i].mean > bands[k].mean {
			of[j] = i
		}
	}
	open, undecided := of[""]
	delete(of, "")
	if p.Jaw != "" {
		return &bands[w.named(of, bands)], nil
	}
	for j, i := range of {
		p.Jaw, p.Voted, p.Votes = j, true, votes[i].why
		rival = undecided && bands[open].mean > asGood*bands[i].mean
	}
	switch {
	case len(of) == 2:
		p.Jaw = ""
		return nil, &Refusal{ErrJaw, "both jaws are in the field", askJaw}
	case rival:
		return nil, &Refusal{ErrJaw, "two rows of bone run like a jaw, one over the other: both jaws may be in the field", askJaw}
	case len(of) == 1:
		return &bands[of[p.Jaw]], nil
	}
	why := "the image cannot tell"
	for _, v := range votes {
		if len(v.why) > 0 {
			why += fmt.Sprintf(" (lower %d, upper %d: %s)", v.mandible, v.maxilla, joined(v.why))
		}
		if v.upsideDown > 0 {
			why += "; it looks upside down for its header"
		}
	}
	return nil, &Refusal{ErrJaw, why, askJaw}
}

// asGood is the share of the chosen trail's score from which another one may be a jaw too. Our choice.
const asGood = 0.85

// named returns the band of the jaw that the user named: the one that votes for it; else the best one that does
// not vote for the other.
func (w *work) named(of map[plan.Jaw]int, bands []trail) int {
	if i, ok := of[w.Jaw]; ok {
		return i
	}
	best := -1
	for i, t := range bands {
		taken := false
		for _, k := range of {
			taken = taken || k == i
		}
		if !taken && (best < 0 || t.mean > bands[best].mean) {
			best = i
		}
	}
	return max(best, 0)
}

// learn returns what the bone along a trail teaches about the series.
func learn(v *volume.Volume, t *trail) ridge.Tissue {
	points := t.points()
	if len(points) < 4 {
		return ridge.Tissue{}
	}
	curve, err := reformat.NewCurve(points, t.up)
	if err != nil {
		return ridge.Tissue{}
	}
	return learnAlong(v, curve)
}

// learnStep is the distance between the places that teach, mm.
const learnStep = 6.0

func learnAlong(v *volume.Volume, curve *reformat.Curve) ridge.Tissue {
	var stations []ridge.Station
	for s := 2.0; s < curve.Length(); s += learnStep {
		stations = append(stations, ridge.NewStation(reformat.NewField(v, curve.Frame(s))))
	}
	return ridge.Learn(stations)
}

// overBone is by how much enamel and metal exceed compact bone, in steps from soft tissue to that bone.
const overBone = 1.35

// denser returns the grey value from which on something is denser than compact bone; +Inf: not learnt.
func denser(t ridge.Tissue) float64 {
	if t.Edges == 0 || !(t.Cortex > t.Soft) {
		return math.Inf(1)
	}
	return t.Soft + overBone*(t.Cortex-t.Soft)
}

const askJaw = "say which one: --jaw mandible or --jaw maxilla"

func joined(s []string) string {
	out := ""
	for i, x := range s {
		if i > 0 {
			out += "; "
		}
		out += x
	}
	return out
}
