package align

import (
	"math"
	"slices"
	"sync"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/fit"
)

// surfaceState is one place of the search.
type surfaceState struct {
	Transform
	cost        float64 // mean misfit of the places asked, each at most 1; no unit
	offset      float64 // of the edges outside the surface, mm
	rest        float64 // spread of the edges that are used, mm
	asked, used int
	rounds      int
	rows        []surfaceRow // of the last round
	centre      r3.Vec       // about which the rows turn, scan's frame, mm
}

// surfaceRow is one edge: how far it lies outside the surface, what a turn and a shift of the surface do to that, and its weight.
type surfaceRow struct {
	rest, weight float64
	row          [surfaceParams]float64
	at           r3.Vec // on the surface, scan's frame, mm
}

// surfaceParams are turn, shift, and the offset of all edges.
const surfaceParams = 7

// settle improves the state until it no longer moves, or so many rounds; the search along the normals narrows from far to
// near, mm.
func settle(v *volume.Volume, list []spotOn, s surfaceState, far, near float64, rounds int) surfaceState {
	for k := range rounds {
		reach := near
		if k < rounds/3 {
			reach = far
		}
		s.look(v, list, reach)
		moved := s.step()
		s.rounds++
		if moved < settledSurface && reach == near {
			break
		}
	}
	s.look(v, list, near)
	return s
}

// look finds the edges at the present place and weights them.
func (s *surfaceState) look(v *volume.Volume, list []spotOn, reach float64) {
	edges := edgesAt(v, list, s.Transform, reach)
	s.centre = r3.Vec{}
	s.asked, s.used, s.rows = 0, 0, s.rows[:0]
	contrast := medianContrast(edges)
	var all []float64
	for _, e := range edges {
		if e.inField {
			s.asked++
		}
		if e.found && e.contrast >= contrast/3 { // a third: enamel against air and against soft tissue differ by less
			all = append(all, math.Abs(e.off-s.offset))
		}
	}
	if len(all) == 0 {
		s.cost, s.rest = 1, math.Inf(1)
		return
	}
	scale := min(max(0.03, fit.MADToSD*fit.Quantile(all, 0.5)), reach/2) // mm: below 0.03 all edges count in full
	s.weigh(edges, contrast/3, scale*tukey)
}

// weigh gives each edge Tukey's weight.
func (s *surfaceState) weigh(edges []surfaceEdge, least, limit float64) {
	lost, square, n := 0.0, 0.0, 0.0
	var sum r3.Vec
	for _, e := range edges {
		switch {
		case !e.inField:
			continue
		case !e.found || e.contrast < least:
			lost++
			continue
		}
		d := e.off - s.offset
		if math.Abs(d) < usedWithin {
			s.used++
		}
		x := min(1, d*d/(limit*limit))
		lost += 1 - math.Pow(1-x, 3)
		if w := (1 - x) * (1 - x); w > 0 {
			s.rows = append(s.rows, surfaceRow{rest: d, weight: w, at: e.at, row: [surfaceParams]float64{3: e.normal.X, 4: e.normal.Y, 5: e.normal.Z, 6: 1}})
			square, n, sum = square+w*d*d, n+w, r3.Add(sum, e.at)
		}
	}
	s.cost, s.rest = lost/float64(max(1, s.asked)), math.Sqrt(square/max(n, 1))
	s.centre = r3.Scale(1/float64(max(1, len(s.rows))), sum)
	for i := range s.rows {
		r := &s.rows[i]
		normal := r3.Vec{X: r.row[3], Y: r.row[4], Z: r.row[5]}
		turn := r3.Cross(r3.Sub(r.at, s.centre), normal)
		r.row[0], r.row[1], r.row[2] = turn.X, turn.Y, turn.Z
	}
}

// normal returns the weighted normal equations of the rows that keep holds, and their right side; the offset has its prior.
func (s *surfaceState) normal(keep func(r3.Vec) bool) (*mat.SymDense, *mat.VecDense) {
	a, b := mat.NewSymDense(surfaceParams, nil), mat.NewVecDense(surfaceParams, nil)
	for _, r := range s.rows {
		if !keep(r.at) {
			continue
		}
		for i := range surfaceParams {
			for j := i; j < surfaceParams; j++ {
				a.SetSym(i, j, a.At(i, j)+r.weight*r.row[i]*r.row[j])
			}
			b.SetVec(i, b.AtVec(i)+r.weight*r.row[i]*r.rest)
		}
	}
	return a, b
}

func everywhere(r3.Vec) bool { return true }

// step moves the surface once, by Gauss and Newton, and returns how far, mm.
func (s *surfaceState) step() float64 {
	if len(s.rows) < 2*surfaceParams {
		return 0
	}
	a, b := s.normal(everywhere)
	prior := math.Pow(max(s.rest, 0.03)/offsetPriorSD, 2)
	a.SetSym(6, 6, a.At(6, 6)+prior)
	b.SetVec(6, b.AtVec(6)-prior*s.offset)
	var d mat.VecDense
	if err := d.SolveVec(a, b); err != nil {
		return 0
	}
	turn := r3.Vec{X: d.AtVec(0), Y: d.AtVec(1), Z: d.AtVec(2)}
	shift := r3.Vec{X: d.AtVec(3), Y: d.AtVec(4), Z: d.AtVec(5)}
	if n := r3.Norm(turn); n > 0.1 { // 6°: a longer step is no small one
		turn = r3.Scale(0.1/n, turn)
	}
	if n := r3.Norm(shift); n > 1.5 {
		shift = r3.Scale(1.5/n, shift)
	}
	s.Transform = nudged(s.Transform, s.centre, turn, shift)
	s.offset += d.AtVec(6)
	const arm = 20.0 // mm: half the breadth of an arch
	return arm*r3.Norm(turn) + r3.Norm(shift)
}

// surfaceEdge is what the scan shows along the normal of a place.
type surfaceEdge struct {
	at, normal     r3.Vec  // of the surface in the scan's frame, mm; unit
	off            float64 // of the edge outside the surface, mm
	contrast       float64 // grey values inside less outside
	found, inField bool
}

const (
	profileStep = 0.1  // mm: a third of a fine voxel, so that the edge's place does not hang on where the steps fall
	smoothSD    = 0.2  // mm: of the Gaussian along the profile: a scan's own blur is 0.15 to 0.35
	sideways    = 0.25 // mm: of the four neighbours whose mean a profile is; wider blurs a cusp
	plateau     = 0.6  // mm: where inside and outside are read, three of smoothSD off the edge
)

// edgesAt asks the scan at each place, shared out to two workers.
func edgesAt(v *volume.Volume, list []spotOn, t Transform, reach float64) []surfaceEdge {
	out := make([]surfaceEdge, len(list))
	var wait sync.WaitGroup
	const workers = 2
	for w := range workers {
		wait.Go(func() {
			probe := v.Probe()
			f := newEdgeFinder(reach)
			for i := w; i < len(list); i += workers {
				out[i] = f.edge(&probe, t.Apply(list[i].at), t.Turn(list[i].normal))
			}
		})
	}
	wait.Wait()
	return out
}

// edgeFinder finds the steepest fall of a profile.
type edgeFinder struct {
	half   int       // steps on either side that are searched
	margin int       // further steps that smoothing needs
	kernel []float64 // derivative of the Gaussian
	grey   []float64
	fall   []float64
}

func newEdgeFinder(reach float64) *edgeFinder {
	f := &edgeFinder{half: int(math.Round(reach / profileStep)), margin: int(math.Round(max(3*smoothSD, plateau) / profileStep))}
	for k := -f.margin; k <= f.margin; k++ {
		x := float64(k) * profileStep / smoothSD
		f.kernel = append(f.kernel, x*math.Exp(-x*x/2))
	}
	n := 2*(f.half+f.margin) + 1
	f.grey, f.fall = make([]float64, n), make([]float64, n)
	return f
}

// edge looks along the normal n of the place p, scan's frame.
func (f *edgeFinder) edge(v *volume.Probe, p, n r3.Vec) surfaceEdge {
	e := surfaceEdge{at: p, normal: n, inField: true}
	x, y := frameOf(n)
	x, y = r3.Scale(sideways, x), r3.Scale(sideways, y)
	for k := range f.grey {
		q := r3.Add(p, r3.Scale(float64(k-f.half-f.margin)*profileStep, n))
		f.grey[k] = (v.At(q) + v.At(r3.Add(q, x)) + v.At(r3.Sub(q, x)) + v.At(r3.Add(q, y)) + v.At(r3.Sub(q, y))) / 5
		if f.grey[k] != f.grey[k] {
			e.inField = false
			return e
		}
	}
	best := -1
	for k := f.margin; k < len(f.grey)-f.margin; k++ {
		sum := 0.0
		for i, w := range f.kernel {
			sum -= w * f.grey[k+i-f.margin]
		}
		f.fall[k] = sum
		if best < 0 || sum > f.fall[best] {
			best = k
		}
	}
	if best <= f.margin || best >= len(f.grey)-f.margin-1 || f.fall[best] <= 0 {
		return e // steepest at the end of the search: the edge lies beyond
	}
	a, b, c := f.fall[best-1], f.fall[best], f.fall[best+1]
	e.off = (float64(best-f.half-f.margin) + 0.5*(a-c)/(a-2*b+c)) * profileStep
	far := int(math.Round(plateau / profileStep))
	e.contrast, e.found = f.grey[best-far]-f.grey[best+far], true
	return e
}

// medianContrast returns the median contrast of the edges found, grey values.
func medianContrast(edges []surfaceEdge) float64 {
	var all []float64
	for _, e := range edges {
		if e.found {
			all = append(all, e.contrast)
		}
	}
	return fit.Quantile(all, 0.5)
}

// budget works out the uncertainty of the fit: what it moves by where a piece of the surface is left out (jackknife), the
// edges' common offset, the surface itself, and the scan's scale.
//
// Source: Efron B, Stein C. Ann Stat 1981;9:586–596 (the jackknife; from memory).
func (f *SurfaceFit) budget(s surfaceState, o SurfaceOptions) {
	pieces := map[[3]int]bool{}
	piece := func(p r3.Vec) [3]int {
		return [3]int{int(math.Floor(p.X / blockSize)), int(math.Floor(p.Y / blockSize)), int(math.Floor(p.Z / blockSize))}
	}
	for _, r := range s.rows {
		pieces[piece(r.at)] = true
	}
	f.Blocks = len(pieces)
	if f.Blocks < leastBlocks {
		return
	}
	whole, right := s.normal(everywhere)
	prior := math.Pow(max(s.rest, 0.03)/offsetPriorSD, 2)
	keys := make([][3]int, 0, len(pieces))
	for k := range pieces {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b [3]int) int { return slices.Compare(a[:], b[:]) })
	spread := &Spread{Centre: s.centre}
	for _, k := range keys {
		a, b := s.normal(func(p r3.Vec) bool { return piece(p) == k })
		rest := mat.NewSymDense(surfaceParams, nil)
		for i := range surfaceParams {
			for j := i; j < surfaceParams; j++ {
				rest.SetSym(i, j, whole.At(i, j)-a.At(i, j))
			}
		}
		rest.SetSym(6, 6, rest.At(6, 6)+prior)
		var left mat.VecDense
		left.SubVec(right, b)
		left.SetVec(6, left.AtVec(6)-prior*s.offset)
		var d mat.VecDense
		if err := d.SolveVec(rest, &left); err != nil {
			return // a piece without which nothing is fixed: the uncertainty is not known
		}
		for i := range 6 {
			for j := range 6 {
				spread.Cov[i][j] += d.AtVec(i) * d.AtVec(j) * float64(len(keys)-1) / float64(len(keys))
			}
		}
	}
	f.system(spread, s, o)
	f.Spread = spread
}

// edgeRuleSD is what a curved edge's place is wrong by alike on all crowns, mm: blur moves the steepest fall of a convex edge
// inward by blur²/2·curvature, 0.01 to 0.03 mm on crowns, and a surface open below sees it from one side only. On
// phantoms the shift along the teeth was 0.022 to 0.030 mm.
const edgeRuleSD = 0.02

// system adds what is wrong alike all over: the edge rule, the surface's own form, as a shift and as a turn over its length,
// and the scan's scale.
func (f *SurfaceFit) system(spread *Spread, s surfaceState, o SurfaceOptions) {
	square := 0.0
	for _, r := range s.rows {
		square += r3.Norm2(r3.Sub(r.at, s.centre))
	}
	arm := math.Sqrt(square / float64(max(1, len(s.rows)))) // root mean square distance from the centre, mm
	for i := range 3 {
		spread.Cov[turnX+i][turnX+i] += math.Pow(o.SurfaceSD/max(arm, 1), 2)
		spread.Cov[shiftX+i][shiftX+i] += o.SurfaceSD*o.SurfaceSD/3 + edgeRuleSD*edgeRuleSD
	}
	spread.Cov[size][size] = o.ScaleHalf * o.ScaleHalf / 3
}
