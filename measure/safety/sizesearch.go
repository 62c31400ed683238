package safety

import (
	"cmp"
	"math"
	"slices"

	"ridgerule/measure/solid"
	"ridgerule/measure/uncertainty"
)

// sizeSearch seeks the best pose of each size among poses.
type sizeSearch struct {
	scene *Scene
	poses PoseRange
	bone  Bone
	rules Rules
	opts  Options

	judged []judged
	scale  float64 // relative standard uncertainty of the scale, without unit
}

// judged is a structure that has a margin.
type judged struct {
	shape  *solid.Shape
	margin float64 // mm
	u2     float64 // u² of everything but the scale, mm²
}

func (f *sizeSearch) prepare() {
	u := uncertainty.Budget(f.opts.Terms).Std() // of the terms that are the same for every distance
	f.scale = uncertainty.Rectangular(f.opts.ScaleHalf)
	for i, sh := range f.scene.shapes {
		t := &f.scene.structures[i]
		if rule, ok := f.rules.For(t); ok && !t.PlannedRemoval {
			f.judged = append(f.judged, judged{sh, rule.Margin, u*u + t.SD*t.SD})
		}
	}
}

// nearFirst puts the structures that leave the least at a pose first: they cut the search in the
// others short.
func (f *sizeSearch) nearFirst(size Size) {
	body, err := f.poses.implant(size, Pose{}).Shape()
	if err != nil {
		return
	}
	left := map[*solid.Shape]float64{}
	for i := range f.judged {
		left[f.judged[i].shape] = f.judged[i].reserve(body, math.Inf(1), math.Inf(-1), f.scale)
	}
	slices.SortStableFunc(f.judged, func(a, b judged) int { return cmp.Compare(left[a.shape], left[b.shape]) })
}

// score returns the smallest reserve − U of a pose, mm, or anything ≤ floor when it is no
// more; bone that is not known counts as −∞. Where bodies meet, the distance is
// [solid.Shape.Estimate]'s.
func (f *sizeSearch) score(size Size, p Pose, floor float64) float64 {
	im := f.poses.implant(size, p)
	body, err := im.Shape()
	if err != nil {
		return math.Inf(-1)
	}
	worst := f.atExit(im)
	if worst <= floor {
		return worst
	}
	worst = min(worst, f.inBone(im, floor))
	for i := range f.judged {
		if worst <= floor {
			return worst
		}
		worst = min(worst, f.judged[i].reserve(body, worst, floor, f.scale))
	}
	return worst
}

// atExit returns reserve − U of the place where the axis leaves its planned tooth, mm; without a window anywhere is well.
func (f *sizeSearch) atExit(im Implant) float64 {
	if f.poses.Exit == nil {
		return math.Inf(1)
	}
	reserve, u, _ := f.poses.Exit.Reserve(im)
	if r := reserve - uncertainty.Coverage*u; r == r {
		return r
	}
	return math.Inf(-1)
}

// inBone returns reserve − U of the bone, mm, or anything ≤ floor when it is no more.
func (f *sizeSearch) inBone(im Implant, floor float64) float64 {
	if f.bone == nil {
		return math.Inf(1)
	}
	reserve, u, _ := f.bone.Reserve(im, floor)
	if r := reserve - uncertainty.Coverage*u; r == r {
		return r
	}
	return math.Inf(-1)
}

// reserve returns reserve − U of the structure, mm; anything ≥ stop when it is no less, and
// anything ≤ floor when it is no more.
func (j *judged) reserve(body *solid.Shape, stop, floor, scale float64) float64 {
	// reserve − U ≥ d·(1 − k·scale) − k·u − margin, so beyond this distance nothing is decided
	reach := math.Inf(1)
	if left := 1 - uncertainty.Coverage*scale; left > 0 {
		reach = (max(stop, 0) + j.margin + uncertainty.Coverage*math.Sqrt(j.u2)) / left
	}
	enough := floor + j.margin + uncertainty.Coverage*math.Sqrt(j.u2) // nearer, the reserve is no more than floor
	d := body.Estimate(j.shape, enough, reach)
	return d - uncertainty.Coverage*math.Sqrt(j.u2+d*d*scale*scale) - j.margin
}

// best seeks the pose of the largest score: a coarse grid over the limits, then a pattern search
// from the best of it, from the second best and from the last size's pose. A question to the
// bone is costly, so the first step that gains is taken.
//
// Method: generalised pattern search with a fixed set of directions (Torczon V. SIAM J Optim
// 1997;7:1–25; from memory). The score has creases where two limits meet; directions beside
// the four axes keep the search from stopping on one.
func (f *sizeSearch) best(size Size, last *Pose) Pose {
	lo, hi := f.poses.corners()
	top := []scored{f.scored(size, clamped(coords(Pose{}), lo, hi), math.Inf(-1))}
	offer := func(x [4]float64) {
		floor := math.Inf(-1)
		if len(top) > 1 {
			floor = top[1].score
		}
		switch s := f.scored(size, x, floor); {
		case s.x == top[0].x:
		case s.score > top[0].score:
			top = []scored{s, top[0]}
		case len(top) == 1 || s.score > top[1].score:
			top = []scored{top[0], s}
		}
	}
	grid(lo, hi, offer)
	if last != nil {
		offer(clamped(coords(*last), lo, hi))
	}
	best := top[0]
	for _, s := range top {
		if s = f.climb(size, s, lo, hi); s.score > best.score {
			best = s
		}
	}
	return poseOf(best.x)
}

// scored is a pose with its score, mm.
type scored struct {
	x     [4]float64
	score float64
}

func (f *sizeSearch) scored(size Size, x [4]float64, floor float64) scored {
	return scored{x, f.score(size, poseOf(x), floor)}
}

// climb moves a pose uphill within the limits, with steps from a quarter of their width down to
// 1/128.
func (f *sizeSearch) climb(size Size, s scored, lo, hi [4]float64) scored {
	for step := 1.0 / 4; step >= 1.0/128; {
		if next, ok := f.uphill(size, s, step, lo, hi); ok {
			s = next
			continue
		}
		step /= 2
	}
	return s
}

// uphill returns the first pose one step away that scores at least 1e-4 mm better.
func (f *sizeSearch) uphill(size Size, s scored, step float64, lo, hi [4]float64) (scored, bool) {
	for _, d := range directions {
		x := s.x
		for k := range x {
			x[k] += d[k] * step * (hi[k] - lo[k])
		}
		if x = clamped(x, lo, hi); x == s.x {
			continue
		}
		if t := f.scored(size, x, s.score+1e-4); t.score > s.score+1e-4 {
			return t, true
		}
	}
	return s, false
}

// directions are the axes both ways (lateral, depth, lean in the section, lean along the arch)
// and the diagonals that keep the apex or the platform in place while the other moves.
var directions = [][4]float64{
	{1}, {-1}, {0, 0, 1}, {0, 0, -1}, {1, 0, -1}, {-1, 0, 1}, {0, 1}, {0, -1}, {0, 0, 0, 1}, {0, 0, 0, -1},
	{1, 0, 1}, {-1, 0, -1}, {0, 1, 1}, {0, 1, -1}, {0, 1, 0, 1}, {0, 1, 0, -1}, {0, 0, 1, 1}, {0, 0, -1, -1}, {0, 0, 1, -1}, {0, 0, -1, 1},
}

// grid visits five lateral shifts and three leans in the section, the rest in the middle.
func grid(lo, hi [4]float64, visit func([4]float64)) {
	for i := range 5 {
		for j := range 3 {
			x := lo
			for k, f := range [4]float64{float64(i) / 4, 0.5, float64(j) / 2, 0.5} {
				x[k] += f * (hi[k] - lo[k])
			}
			visit(x)
		}
	}
}

func (s PoseRange) corners() (lo, hi [4]float64) {
	for i, l := range [4][2]float64{s.Lateral, s.Depth, s.InSection, s.MesioDistal} {
		lo[i], hi[i] = l[0], l[1]
	}
	return lo, hi
}

func coords(p Pose) [4]float64 { return [4]float64{p.Lateral, p.Depth, p.InSection, p.MesioDistal} }
func poseOf(x [4]float64) Pose { return Pose{x[0], x[1], x[2], x[3]} }

func clamped(x, lo, hi [4]float64) [4]float64 {
	for i := range x {
		x[i] = min(max(x[i], lo[i]), hi[i])
	}
	return x
}
