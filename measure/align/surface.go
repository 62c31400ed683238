package align

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/solid"
)

// A surface brought into the frame of a scan: first by pairs of points that a person marked, then by the edges that the
// scan has along the surface's normals. The surface may be open (teeth as a scanner sees them) or closed (a set-up of
// teeth), and parts of it may have no counterpart in the scan: planned teeth, mucosa, what metal hides.

// SurfaceOptions say how a surface is aligned. The zero value is ready to use.
type SurfaceOptions struct {
	From, To  string  // names of the surface's and the scan's frame
	Points    int     // places on the surface that are asked; 0 means 3,000: our choice, for time; the spread of the fit goes with its root
	ScaleHalf float64 // relative half-width of the scan's scale error, no unit; 0: exact
	SurfaceSD float64 // standard uncertainty of the surface itself over its whole length, mm; 0 means 0.05: how well scanners of surfaces record an arch in vitro (0.03 to 0.1 mm, docs/restoration.md)
	Seed      uint64  // of the places
}

// SurfaceFit is a surface brought into a scan's frame.
type SurfaceFit struct {
	Transform           // surface → scan, with its uncertainty
	Start      PointFit // of the marked pairs
	Rest       float64  // spread of the scan's edges about the surface, mm: it is not the fit's error
	Asked      int      // places on the surface inside the scan's field
	Used       int      // of them with an edge of the scan within usedWithin
	Offset     float64  // of the scan's edges outside the surface, mean, mm: taken out of the fit
	Moved      float64  // how far the fit moved the surface from where the marked pairs had it, root mean square, mm
	Blocks     int      // pieces of the surface from which the uncertainty follows
	Cautions   []string
	iterations int
}

// What decides whether a surface fits. All our choice; each was set once, on phantoms, and is held on others (docs/restoration.md).
const (
	surfacePoints  = 3000
	coarseSurface  = 700 // places asked from each start: it need only find the right valley
	surfaceSD      = 0.05
	worstMarks     = 3.0  // mm: marked pairs that fit no better mark different places
	usedWithin     = 0.5  // mm: an edge farther off is another edge, or a part without counterpart
	leastUsed      = 300  // edges: each of six parameters then rests on fifty
	leastEdgeShare = 0.35 // of the places: a set-up may have two planned teeth for each that stands. A wrong place or a mirrored surface has some 0.1 to 0.25
	mostRest       = 0.25 // mm: edges of a right place scatter by 0.03 to 0.1
	mostMoved      = 4.0  // mm: farther from the marks than marking errs
	anotherPlace   = 0.3  // mm: two ends of the search so far apart are two places
	nearlyAsGood   = 1.15 // a second place whose misfit is less than so many times the best's makes the answer doubtful
	leastBlocks    = 8    // pieces from which a spread can be told
	blockSize      = 4.0  // mm: half a tooth; what blur, a filling or the form has wrong is alike within it
	offsetPriorSD  = 0.1  // mm: how far the edge rule, blur and the scanner may set all edges off the surface together
	farSearch      = 2.0  // mm along the normal from the marks' place
	nearSearch     = 1.0  // mm in the last rounds
	surfaceRounds  = 25
	settledSurface = 2e-4 // mm
)

// Surface brings the surface s into the frame of the scan v. marksFrom and marksTo are at least three pairs of places that
// a person marked, on the surface and in the scan (patient LPS, mm).
//
// It returns [ErrPoints] where the marks fix no transform or are mirrored, an error wrapping [ErrRefused] where too little of
// the surface has an edge in the scan, another place fits nearly as well or the fit leaves the marks, and ctx's error when ctx ends first.
func Surface(ctx context.Context, v *volume.Volume, s *solid.Sheet, marksFrom, marksTo []r3.Vec, o SurfaceOptions) (*SurfaceFit, error) {
	if o.Points == 0 {
		o.Points = surfacePoints
	}
	if o.SurfaceSD == 0 {
		o.SurfaceSD = surfaceSD
	}
	start, err := startOf(marksFrom, marksTo)
	if err != nil {
		return nil, err
	}
	all := placesOn(s, o.Points, o.Seed)
	few := all[:min(len(all), coarseSurface)]
	var ends []surfaceState
	for _, t := range startsAround(start.Transform, centreOf(few)) {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		ends = append(ends, settle(v, few, surfaceState{Transform: t}, farSearch, nearSearch, 10))
	}
	slices.SortStableFunc(ends, func(a, b surfaceState) int { return int(math.Copysign(1, a.cost-b.cost)) })
	best := settle(v, all, ends[0], nearSearch, nearSearch, surfaceRounds)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	fit := &SurfaceFit{Transform: best.Transform, Start: start, Asked: best.asked, Used: best.used, Rest: best.rest, Offset: best.offset, iterations: best.rounds}
	fit.From, fit.To = o.From, o.To
	fit.Moved = apartOver(few, start.Transform, best.Transform)
	if err := fit.refuse(few, ends); err != nil {
		return nil, err
	}
	fit.budget(best, o)
	fit.warn(o)
	return fit, nil
}

// startOf fits the marked pairs.
func startOf(from, to []r3.Vec) (PointFit, error) {
	if len(from) != len(to) {
		return PointFit{}, fmt.Errorf("%w: %d places on the surface and %d in the scan: mark pairs", ErrPoints, len(from), len(to))
	}
	f, err := FitPoints(from, to)
	switch {
	case err != nil:
		return f, err
	case len(from) > 3 && f.MirrorRMS < f.RMS/2 && f.RMS > 1: // three points are as good as their mirror image
		return f, fmt.Errorf("%w: the marked pairs fit better as mirror images (%.2f mm left instead of %.2f mm): the surface is mirrored, or pairs are exchanged", ErrPoints, f.MirrorRMS, f.RMS)
	case f.RMS > worstMarks && (f.ScaleFound > 2 || f.ScaleFound < 0.5): // no jaw is twice as large as its model
		return f, fmt.Errorf("%w: the marked places lie %.3g times as far apart in the scan as on the surface: it is not in millimetres; export it in mm and mark it again", ErrPoints, f.ScaleFound)
	case f.RMS > worstMarks:
		return f, fmt.Errorf("%w: the marked pairs lie %.1f mm off each other by their best fit, at most %g mm is marking: mark the same places on both, in the same order", ErrPoints, f.RMS, worstMarks)
	}
	return f, nil
}

// startsAround returns the transform and others about it, turned by 4° or moved by 1 mm: marks three centimetres apart, off
// by 1 mm, are so far off.
func startsAround(t Transform, centre r3.Vec) []Transform {
	out := []Transform{t}
	for k := range 3 {
		e := [3]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}}[k]
		for _, sign := range []float64{-1, 1} {
			out = append(out, nudged(t, t.Apply(centre), r3.Scale(sign*4*math.Pi/180, e), r3.Scale(sign, [3]r3.Vec{{Y: 1}, {Z: 1}, {X: 1}}[k])))
		}
	}
	return out
}

// nudged returns the transform followed by a turn (rotation vector, rad) about a centre and a shift (mm), both in its
// second frame.
func nudged(t Transform, centre, turn, shift r3.Vec) Transform {
	m := Rigid(t.To, t.To, turn, r3.Vec{})
	m.Translation = r3.Add(shift, r3.Sub(centre, m.Turn(centre)))
	out, err := t.Then(m)
	if err != nil {
		panic("align: " + err.Error())
	}
	return out
}

// spotOn is a place on the surface.
type spotOn struct{ at, normal r3.Vec } // mm; unit, outward

// placesOn returns n places spread evenly over the surface's area, in random order.
func placesOn(s *solid.Sheet, n int, seed uint64) []spotOn {
	sums := make([]float64, len(s.Triangles)+1)
	for i := range s.Triangles {
		_, area := s.Normal(i)
		sums[i+1] = sums[i] + area
	}
	r := rand.New(rand.NewPCG(seed, 77))
	out := make([]spotOn, 0, n)
	for k := range n { // one in each n-th of the area
		x := (float64(k) + r.Float64()) / float64(n) * sums[len(sums)-1]
		i := min(max(0, sortedAt(sums, x)), len(s.Triangles)-1)
		a, b := r.Float64(), r.Float64()
		if a+b > 1 {
			a, b = 1-a, 1-b
		}
		t := s.Triangle(i)
		normal, area := s.Normal(i)
		if area > 0 {
			out = append(out, spotOn{r3.Add(t[0], r3.Add(r3.Scale(a, r3.Sub(t[1], t[0])), r3.Scale(b, r3.Sub(t[2], t[0])))), normal})
		}
	}
	r.Shuffle(len(out), func(i, j int) { out[i], out[j] = out[j], out[i] })
	return out
}

// sortedAt returns the last place in the ascending list whose value is at most x.
func sortedAt(list []float64, x float64) int {
	i, _ := slices.BinarySearch(list, x)
	return i - 1
}

func centreOf(list []spotOn) r3.Vec {
	var c r3.Vec
	for _, p := range list {
		c = r3.Add(c, p.at)
	}
	return r3.Scale(1/float64(len(list)), c)
}

// apartOver returns how far apart two transforms put the places, root mean square, mm.
func apartOver(list []spotOn, a, b Transform) float64 {
	sum := 0.0
	for _, p := range list {
		sum += r3.Norm2(r3.Sub(a.Apply(p.at), b.Apply(p.at)))
	}
	return math.Sqrt(sum / float64(len(list)))
}

// refuse returns an error wrapping [ErrRefused] where the fit must not be believed.
func (f *SurfaceFit) refuse(few []spotOn, ends []surfaceState) error {
	share := float64(f.Used) / float64(max(1, f.Asked))
	remedy := "make sure that surface and scan are of one patient and one jaw, in millimetres, not mirrored, its facets facing outward, and mark the pairs again"
	switch {
	case f.Asked < leastUsed:
		return &Refusal{fmt.Sprintf("%d places of the surface lie in the scan's field, at least %d are needed", f.Asked, leastUsed), remedy}
	case f.Used < leastUsed || share < leastEdgeShare:
		return &Refusal{fmt.Sprintf("%.0f %% of the surface (%d of %d places) has an edge of the scan within %g mm, at least %.0f %% is needed", 100*share, f.Used, f.Asked, usedWithin, 100*leastEdgeShare), remedy}
	case f.Rest > mostRest:
		return &Refusal{fmt.Sprintf("the scan's edges scatter by %.2f mm about the surface, at most %g mm is a fit", f.Rest, mostRest), remedy}
	case f.Moved > mostMoved:
		return &Refusal{fmt.Sprintf("the fit moved the surface by %.1f mm from where the marked pairs have it, at most %g mm is marking", f.Moved, mostMoved), remedy}
	}
	for _, e := range ends[1:] {
		if e.cost < nearlyAsGood*ends[0].cost && apartOver(few, e.Transform, ends[0].Transform) > anotherPlace {
			return &Refusal{fmt.Sprintf("another place, %.1f mm away, fits nearly as well: the surface says too little about where it lies", apartOver(few, e.Transform, ends[0].Transform)),
				"use a surface with more teeth, on both sides of the jaw"}
		}
	}
	return nil
}

// warn says what the numbers do not say.
func (f *SurfaceFit) warn(o SurfaceOptions) {
	say := func(format string, args ...any) { f.Cautions = append(f.Cautions, fmt.Sprintf(format, args...)) }
	if f.Spread == nil {
		say("the surface has %d pieces of %g mm with edges, at least %d are needed to tell how uncertain the alignment is: it is not known", f.Blocks, blockSize, leastBlocks)
	}
	if f.Moved > 2 {
		say("the fit moved the surface by %.1f mm from where the marked pairs have it: look at the pairs", f.Moved)
	}
	if math.Abs(f.Offset) > 2*offsetPriorSD {
		say("the scan's edges lie %.2f mm outside the surface on average: it may have been hollowed, thickened or scaled", f.Offset)
	}
	if f.Used < f.Asked/2 {
		say("%d of %d places of the surface have no edge in the scan: planned teeth and mucosa have none", f.Asked-f.Used, f.Asked)
	}
}
