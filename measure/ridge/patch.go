package ridge

import (
	"fmt"
	"math"
	"slices"
	"sync"

	"gonum.org/v1/gonum/mat"

	"ridgerule/measure/reformat"
)

// ImageModel is what the whole series says about every edge in it, estimated from its own thick
// plates by [EstimateImage]. The zero value knows nothing.
type ImageModel struct {
	Blur, BlurSD     float64 // Gaussian sigma of the image, mm, and its spread from edge to edge
	Cortex, CortexSD float64 // grey value of cortical bone unblurred, and its spread
	Soft, SoftSD     float64 // grey value of the tissue on the bone, and its spread
	Marrow           float64 // grey value behind the plates, median
	Noise            float64 // SD of a voxel's grey value
	Edges            int     // how many edges it was learnt from; 0: the grey values are of the coarse pass

	correlation correlation // of the noise from voxel to voxel
	stations    int         // that showed bone
}

// known reports whether the tissue was learnt from enough edges to lean on. Our choice: two may agree
// in a mistake; three that agree leave a thin plate far better off than no knowledge does.
func (t ImageModel) known() bool { return t.Edges >= 3 }

// FWHM returns the full width at half maximum of the blur, in mm.
func (t ImageModel) FWHM() float64 { return 2.3548200450309493 * t.Blur }

// SurfacePatch is a fitted patch of the bone's outer surface, and of the inner surface of its plate where
// that was seen.
type SurfacePatch struct {
	at, in reformat.UV // origin and inward unit normal of the local frame
	reach  float64     // half-axis of the patch in the section, mm
	p      params
	cov    *mat.SymDense
	active []int
	plate  bool    // the inner surface was fitted
	noise  float64 // SD of the residuals, grey values
	count  int     // voxels
	marrow float64 // SD of the grey values behind the plate beyond noise

	fit  layerFit               // how it was fitted, until [SurfacePatch.judge]
	seen []reformat.VoxelSample // the voxels of its window, until [SurfacePatch.judge]
	lags lags                   // its residual autocorrelation, from voxel to voxel
	more *mat.SymDense          // covariance beyond that of independent voxels; nil: none
}

// How far along the normal a fit looks, mm, for voxels up to 0.45 mm; coarser grids need
// proportionally more room.
const (
	patchOutside = 2.2
	patchInside  = 4.5
	patchVoxel   = 0.45
)

// How many voxels a fit sees at most, and while it only looks for where the layers are: then twenty a
// parameter bring it within one more step of where all of them lead. Our choice.
const (
	maxSamples   = 3000
	roughSamples = 300
)

// effort is how much work a fit is worth.
type effort struct {
	samples int  // voxels it sees at most
	all     bool // before the series is known, every stack of layers is tried, not only where one leaves a misfit
	alone   bool // only the outer surface is asked for: an inner one that does not touch it is left out
}

var thorough = effort{samples: maxSamples, all: true}

// patch is the ellipse of surface that a fit sees, by its half-axes, mm: in the section, and along
// the arch.
type patch struct{ across, along float64 }

// patchOn returns the patch for this field. Along the arch a ridge hardly changes, so there it may be
// long and gather voxels against noise; in the section it is short, for what the model lacks of a
// curved outline grows with its fourth power. Coarser voxels need more of both. Bias and SD are in
// docs/accuracy.md.
func patchOn(f reformat.Field) patch {
	least, most := f.Voxel()
	voxel := math.Min(math.Cbrt(least*most*most), patchVoxel)
	s := fitScale(f)
	across := s * (0.5 + 0.75*voxel) * (1.2 - 0.2/s)
	return patch{across, across * math.Max(1, (0.5+3.5*voxel)/s)} // past 0.45 mm a round patch is long enough
}

// part returns the samples within a share of the patch's half-axes, in room, which may be their own.
func (p patch) part(share float64, all, room []reformat.VoxelSample) []reformat.VoxelSample {
	kept := room[:0]
	for _, g := range all {
		if x, t := g.X/p.across, g.T/p.along; x*x+t*t <= share*share {
			kept = append(kept, g)
		}
	}
	return kept
}

// fitScale returns how much larger than nominal a patch must be on this field (no unit).
func fitScale(f reformat.Field) float64 {
	least, most := f.Voxel()
	return math.Max(1, math.Sqrt(least*most)/patchVoxel)
}

// FitPatch fits the bone surface near section point at, where in is roughly the inward normal and
// depth how far the bone goes inward, to its opposite surface, mm. It returns [ErrNoEdge] (wrapped)
// where no such surface is: no rise of grey value, too few voxels in the field, a fit that wanders
// off.
func FitPatch(f reformat.Field, at, in reformat.UV, depth float64, t ImageModel) (*SurfacePatch, error) {
	return fitPatch(f, at, in, depth, t, thorough)
}

// fitPatch is [FitPatch] with this effort.
func fitPatch(f reformat.Field, at, in reformat.UV, depth float64, t ImageModel, how effort) (*SurfacePatch, error) {
	s := fitScale(f)
	in = unit(in)
	var w *SurfacePatch
	for range 4 {
		next, err := fitOnce(f, at, in, depth, s, t, how)
		if err != nil {
			return nil, err
		}
		w = next
		e, slope := w.p[pE], w.p[pSX]
		if math.Abs(e) < 0.04*s && math.Abs(slope) < 0.04 { // mm, 2°: so near the patch lies over its edge; our choice
			break
		}
		if math.Abs(e) > farOff*s {
			return nil, fmt.Errorf("%w: (%.2f, %.2f) mm: the nearest edge is %.2f mm away", ErrNoEdge, at.U, at.V, e)
		}
		at = add(at, scale(e, in))
		in = unit(sub(in, scale(slope, left(in))))
	}
	w.judge(f, t)
	return w, nil
}

// farOff is how far from where it was looked for an edge may be found, mm, for voxels up to 0.45 mm. Our
// choice: past the coarse outline's worst error.
const farOff = 1.5

// samplesRoom keeps the room of the samples about a patch: each round looks at some thousand anew.
var samplesRoom = sync.Pool{New: func() any { return new([2][]reformat.VoxelSample) }}

// fitOnce is one round of [FitPatch].
func fitOnce(f reformat.Field, at, in reformat.UV, depth, s float64, t ImageModel, how effort) (*SurfacePatch, error) {
	patch, room := patchOn(f), samplesRoom.Get().(*[2][]reformat.VoxelSample)
	defer samplesRoom.Put(room)
	room[0] = f.Near(room[0][:0], at, in, -patchOutside*s, patchInside*s, patch.along)
	all := patch.part(1, room[0], room[0])
	room[1] = patch.part(0.85, all, room[1])
	begin, ok := initialEstimate(room[1], depth, s, t) // its middle: a curved edge is less blurred there; only where the fit begins
	if !ok {
		return nil, fmt.Errorf("%w: (%.2f, %.2f) mm", ErrNoEdge, at.U, at.V)
	}
	begin.most = how.samples
	if how.alone {
		begin.leaveInner(s)
	}
	w := fitFrom(f, begin, all, at, in, t, nil)
	if !begin.mucosa && (w == nil || w.misfits(begin, t, how)) {
		// Thin soft tissue and the air behind it may look like one wide edge.
		if two := fitFrom(f, begin.withMucosa(t), all, at, in, t, w); two != nil && two.isMucosa(f, t) && (w == nil || w.gain(two) > mucosaGain(t)) {
			w = two
		}
	}
	if w == nil {
		return nil, fmt.Errorf("%w: (%.2f, %.2f) mm: the fit has no answer", ErrNoEdge, at.U, at.V)
	}
	return w, nil
}

// leastContrast is how many noise SDs a step must have to be a surface and not correlated noise.
// Our choice; the noisiest scans of the calibration have 8.
const leastContrast = 3.0

// fitFrom fits the layers of begin to the samples, a share of them first; it returns nil where there is
// no answer, and where that rough fit is not half-way to beating its rival, if it has one.
func fitFrom(f reformat.Field, begin *estimate, all []reformat.VoxelSample, at, in reformat.UV, t ImageModel, rival *SurfacePatch) *SurfacePatch {
	w := &SurfacePatch{at: at, in: in, reach: patchOn(f).across, plate: begin.plate, active: begin.active(), p: begin.p}
	samples := begin.choose(all, f.Strides())
	if len(samples) < 3*len(w.active) {
		return nil
	}
	step := math.Abs(begin.p[pG1] - begin.p[pG0])
	fit := layerFit{active: w.active, noise: math.Max(begin.noise, 0.02*step), priors: priors(begin, step, fitScale(f), t)}
	fit.borrow(len(samples))
	defer fit.giveBack()
	fit.samples = thin(slices.Clone(samples), f.Strides(), roughSamples)
	if _, ok := fit.solve(&w.p, roughly); !ok || rival != nil && rival.gain(w) < mucosaGain(t)/2 {
		return nil
	}
	fit.samples = samples
	fit.noise = math.Max(fit.residual(&w.p), 1e-3*step) // an image without noise must not divide by 0
	cov, ok := fit.solve(&w.p, settled)
	if rise := w.p[pG1] - w.p[pG0]; !ok || rise < 0.3*step || rise < leastContrast*fit.noise { // far less of a step than the profile has: the fit went elsewhere; our choice
		return nil
	}
	w.noise, w.count, w.cov = fit.noise, len(samples), cov
	fit.giveBack()
	w.fit, w.seen = fit, begin.window(all)
	return w
}

// priors returns what is known before the fit: bone surfaces are not wild, and what the series has
// taught about blur and cortex.
func priors(s *estimate, step, size float64, t ImageModel) []prior {
	k := []prior{
		{pCXX, 0, 0.35 / size}, {pCXT, 0, 0.15 / size}, {pCTT, 0, 0.15 / size}, {pTauX, 0, 0.3},
		{pCub, 0, 0.3 / (size * size)}, {pTauXX, 0, 0.3 / size},
		{pG0, s.p[pG0], 2 * step}, {pG1, s.p[pG1], 2 * step}, {pG2, s.p[pG2], 2 * step}, {pGA, s.p[pGA], 2 * step},
		{pTau, s.p[pTau], 3 * size}, {pGamma, s.p[pGamma], 2 * size}, // no say where the layer is not active
	}
	if t.known() {
		return append(k, prior{pSigma, t.Blur, t.BlurSD}, prior{pG1, t.Cortex, t.CortexSD}, prior{pG0, t.Soft, t.SoftSD})
	}
	return append(k, prior{pSigma, s.p[pSigma], s.p[pSigma]})
}

// The reach of an edge in a fit, in sigma of the blur: farther off only plateaus are seen, of which
// enough is learnt close by. What is left out does not depend on the order of the voxels.
const edgeReach = 5.5

// choose returns the samples the fit will see: those of the window that lie near an edge, and of very
// fine grids an even share.
func (o *estimate) choose(all []reformat.VoxelSample, strides [3]int) []reformat.VoxelSample {
	reach := edgeReach * math.Max(o.p[pSigma], 0.2) // mm; a first guess may be too sharp
	near := func(n, edge float64) bool { return math.Abs(n-edge) < reach }
	kept := make([]reformat.VoxelSample, 0, len(all))
	for _, g := range all {
		if g.N < o.low || g.N > o.high {
			continue
		}
		n := g.N - 0.5*(o.p[pCXX]*g.X*g.X)
		if near(n, o.p[pE]) || o.plate && near(n, o.p[pE]+o.p[pTau]) || o.mucosa && near(n, o.p[pE]-o.p[pGamma]) {
			kept = append(kept, g)
		}
	}
	return thin(kept, strides, o.most)
}

// Blur returns the fitted sigma, in mm.
func (w *SurfacePatch) Blur() float64 { return w.p[pSigma] }

// near reports whether p lies well within the patch.
func (w *SurfacePatch) near(p reformat.UV) bool { return norm(sub(p, w.at)) < 0.45*w.reach }

// outwardAt returns the outward unit normal of the outer surface near p, in the section.
func (w *SurfacePatch) outwardAt(p reformat.UV) reformat.UV {
	side := left(w.in)
	rel := sub(p, w.at)
	f := w.p.foot(dot(rel, w.in), dot(rel, side), 0)
	return unit(sub(scale(f.fx, side), scale(f.lean, w.in)))
}

// crossing is where a line meets a surface: the place, its standard uncertainty along the line
// from the fit alone, mm, and how it moves along the line with each fitted parameter.
type crossing struct {
	at reformat.UV
	sd float64
	by params

	square float64 // how squarely the line meets the surface: change of distance per mm along it, 0…1
}

// outer returns where the line p + s·d meets the outer surface, nearest the patch's origin.
func (w *SurfacePatch) outer(p, d reformat.UV) (crossing, bool) {
	return w.meet(p, d, func(float64) float64 { return 0 }, nil)
}

// inner returns where the line meets the inner surface of the plate; false when none was fitted.
func (w *SurfacePatch) inner(p, d reformat.UV) (crossing, bool) {
	if !w.plate {
		return crossing{}, false
	}
	return w.meet(p, d, w.p.depth, func(x float64, by *params) {
		by[pTau], by[pTauX], by[pTauXX] = -1, -x, -0.5*x*x
	})
}

// meet solves m(s) = depth(x) along the line by the secant method. extra adds the derivatives of
// the depth, by the parameters it depends on, to those of the surface.
func (w *SurfacePatch) meet(p, d reformat.UV, depth func(x float64) float64, extra func(x float64, by *params)) (crossing, bool) {
	side := left(w.in)
	rel := sub(p, w.at)
	n0, x0, dn, dx := dot(rel, w.in), dot(rel, side), dot(d, w.in), dot(d, side)
	miss := func(s float64) float64 {
		return w.p.distance(n0+s*dn, x0+s*dx, 0) - depth(x0+s*dx)
	}
	const h = 1e-5 // mm, of a derivative
	s, rate, move := -dot(rel, d), 0.0, math.Inf(1)
	for range 40 {
		rate = (miss(s+h) - miss(s-h)) / (2 * h)
		if math.Abs(rate) < 0.05 { // 3° off the surface: the line runs along it
			return crossing{}, false
		}
		move = -miss(s) / rate
		s += math.Max(-1, math.Min(1, move))
		if math.Abs(move) < 1e-10 { // mm: no number shows it
			break
		}
	}
	at := add(p, scale(s, d))
	if !(math.Abs(move) < 1e-6) || !(norm(sub(at, w.at)) < 4*w.reach) { // mm: it has come nowhere, as behind the centre of curvature
		return crossing{}, false
	}
	foot := w.p.foot(n0+s*dn, x0+s*dx, 0)
	surface := w.p.slopes(&foot)
	var by params
	copy(by[:], surface[:6])
	by[pCub] = surface[6]
	if extra != nil {
		extra(x0+s*dx, &by)
	}
	for i := range by {
		by[i] /= -rate
	}
	return crossing{at, w.spread(by), by, math.Min(1, math.Abs(rate))}, true
}

// spread returns the standard uncertainty of Σ by·θ over the fitted parameters, in mm.
func (w *SurfacePatch) spread(by params) float64 {
	n := len(w.active)
	j := mat.NewVecDense(n, nil)
	for i, at := range w.active {
		j.SetVec(i, by[at])
	}
	return math.Sqrt(math.Max(0, mat.Inner(j, w.cov, j)) + w.correlated(j))
}
