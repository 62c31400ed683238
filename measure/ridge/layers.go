package ridge

// The model of a bone surface seen through a scanner. Along the inward normal the tissue is a
// stack of layers of constant grey value, seen through a Gaussian blur of standard deviation σ:
//
//	g = G0 + (G1−G0)·Φ(z) + (G2−G1)·Φ(z−τ(x)/σ) + (Ga−G0)·Φ(−z−γ/σ),   z = (m − σ²H)/σ
//
// with G0 the soft tissue outside, G1 the cortical plate of thickness τ(x) = τ + τx·x + ½·τxx·x²,
// G2 the marrow behind it
// and, where the soft tissue is thin, Ga the air beyond its thickness γ. m is the distance from
// the surface F = 0 near the point,
//
//	F = w − ½(cxx·(x² + w²) + 2·cxt·x·t + ctt·t²) − ⅙·c3·x³,   w = n − e − sx·x − st·t,   m = 2F / (|∇F₀| + |∇F|)
//
// (n inward, x along the section, t along the arch), which is exact for a plane and, with c3 = 0,
// for a cylinder along the arch, the shape a ridge is nearest to; c3 follows the change of
// curvature from a crest to its shoulder. A blurred edge of mean curvature H
// shows its half level σ²H nearer to the centre of curvature; the model takes that back, with the
// curvature of each of its surfaces.
//
// Source for the two-edged model: Treece GM, Gee AH, Mayhew PM, Poole KES. Med Image Anal
// 2010;14:276–290 (from memory). Curvature shift: σ²/2R for a tube, σ²/R for a ball, computed
// independently in reference values used by layers_test.go.

import (
	"math"

	"ridgerule/measure/reformat"
)

// The parameters of the model, in the order of its vectors.
const (
	pE = iota
	pSX
	pST
	pCXX
	pCXT
	pCTT
	pG0
	pG1
	pG2
	pTau
	pSigma
	pTauX
	pGA
	pGamma
	pCub
	pTauXX
	nParams
)

type params [nParams]float64

// bell is a table of the normal distribution, fine enough that a second-order step between its
// entries is exact to 1e-9.
type bell struct{ cum, dens float64 }

const (
	bellStep  = 1.0 / 128
	bellReach = 4.5 // beyond it the distribution is within 4e-6 of its end: a hundredth of a grey value
)

var bells = func() []bell {
	table := make([]bell, int(2*bellReach/bellStep)+2)
	for i := range table {
		z := float64(i)*bellStep - bellReach
		table[i] = bell{0.5 * math.Erfc(-z/math.Sqrt2), math.Exp(-z*z/2) / math.Sqrt(2*math.Pi)}
	}
	return table
}()

// normal returns the normal distribution's cumulative and density at z (no unit).
func normal(z float64) (cum, dens float64) {
	if z <= -bellReach {
		return 0, 0
	}
	return normalFrom(z)
}

// normalFrom is normal for a z within the table or above it.
func normalFrom(z float64) (cum, dens float64) {
	if z >= bellReach {
		return 1, 0
	}
	at := (z + bellReach) * (1 / bellStep)
	i := int(at + 0.5)
	d := (at - float64(i)) * bellStep
	b, z0 := &bells[i], float64(i)*bellStep-bellReach
	return b.cum + b.dens*d*(1-0.5*z0*d), b.dens * (1 - z0*d + 0.5*(z0*z0-1)*d*d)
}

// distance returns how deep the place (n, x, t) lies behind the outer surface, in mm.
func (p *params) distance(n, x, t float64) float64 {
	return p.foot(n, x, t).m
}

// foot is a place as the outer surface sees it: its depth behind the surface, m, in mm, and what
// the derivatives of m are made of, in the letters of the model.
type foot struct{ m, x, t, w, lean, fx, ft, g0, g, k float64 }

func (p *params) foot(n, x, t float64) foot {
	f := foot{x: x, t: t, g0: p.steep()}
	f.under(p, n)
	return f
}

// steep returns |∇F₀|, no unit.
func (p *params) steep() float64 { return math.Sqrt(1 + p[pSX]*p[pSX] + p[pST]*p[pST]) }

// under completes the foot of the place (n, x, t), of which x and t are there, and g0.
func (o *foot) under(p *params, n float64) {
	c, sx, st, x, t := p[pCXX], p[pSX], p[pST], o.x, o.t
	w := n - p[pE] - sx*x - st*t
	lean := 1 - c*w
	fx, ft := sx*lean+c*x+p[pCXT]*t+0.5*p[pCub]*x*x, st*lean+p[pCXT]*x+p[pCTT]*t
	g := math.Sqrt(lean*lean + fx*fx + ft*ft)
	k := 2 / (o.g0 + g)
	f := w - 0.5*(c*(x*x+w*w)+2*p[pCXT]*x*t+p[pCTT]*t*t) - p[pCub]*x*x*x*(1./6)
	o.m, o.w, o.lean, o.fx, o.ft, o.g, o.k = k*f, w, lean, fx, ft, g, k
}

// slopes returns the derivatives of the depth m at a foot by the surface's parameters pE…pCTT and,
// last, pCub.
func (p *params) slopes(f *foot) [7]float64 {
	c, x, t, w, lean, fx, ft := p[pCXX], f.x, f.t, f.w, f.lean, f.fx, f.ft
	k, q := f.k, 0.5*f.k*f.m // m = k·F, and k feels the parameters through both gradients
	u, q0 := lean+fx*p[pSX]+ft*p[pST], q/f.g0
	q /= f.g
	return [7]float64{
		-k*lean - q*c*u,
		-k*lean*x - q*(c*x*u+fx*lean) - q0*p[pSX],
		-k*lean*t - q*(c*t*u+ft*lean) - q0*p[pST],
		-0.5*k*(x*x+w*w) - q*(fx*x-w*u),
		-k*x*t - q*(fx*t+ft*x),
		-0.5*k*t*t - q*ft*t,
		-k*x*x*x*(1./6) - 0.5*q*fx*x*x,
	}
}

// depth returns how far the plate's inner surface lies behind the outer one at x, in mm.
func (p *params) depth(x float64) float64 { return p[pTau] + x*(p[pTauX]+0.5*p[pTauXX]*x) }

// bend is the mean curvature of a surface, 1/mm, and its derivatives by the outer surface's two
// curvatures and by its own depth.
type bend struct{ h, byXX, byTT, byDepth float64 }

// curvature returns the mean curvature of the surface depth mm behind the outer one.
func (p *params) curvature(depth float64) (b bend) {
	for i, c := range [2]float64{p[pCXX], p[pCTT]} {
		room, inside := 1-c*depth, 1.0
		if room < 0.3 { // near the centre of curvature and past it: held, so that the fit comes back; no wall ends there
			room, inside = 0.3, 0
		}
		b.h += 0.5 * c / room
		by := 0.5 / room * (1 + inside*c*depth/room)
		if i == 0 {
			b.byXX = by
		} else {
			b.byTT = by
		}
		b.byDepth += inside * 0.5 * c * c / (room * room)
	}
	return b
}

// deep is the depth beyond which a layer's own curvature no longer matters: no voxel sees it, mm.
const deep = 4.0

// bends are the model's three surfaces, and what else is the same for every grain.
type bends struct {
	outer, inner, mucosa bend

	steep     float64    // |∇F₀|
	inv, blur float64    // 1/σ, 1/mm, and σ², mm²
	moved     [3]float64 // σ²H of the three surfaces, mm
}

func (p *params) bends() *bends {
	at := func(depth float64) bend {
		b := p.curvature(math.Max(-deep, math.Min(deep, depth)))
		if math.Abs(depth) > deep {
			b.byDepth = 0
		}
		return b
	}
	h := &bends{outer: at(0), inner: at(p[pTau]), mucosa: at(-p[pGamma]), steep: p.steep(), inv: 1 / p[pSigma], blur: p[pSigma] * p[pSigma]}
	h.inner.h += 0.5 * p[pTauXX]
	h.moved = [3]float64{h.blur * h.outer.h, h.blur * h.inner.h, h.blur * h.mucosa.h}
	return h
}

// grey returns the grey value at a voxel, given the surfaces' curvatures.
func (p *params) grey(g reformat.VoxelSample, h *bends) float64 {
	var s sight
	s.see(p, g, h)
	return s.value
}

// sight is a voxel as the model sees it: its foot, how far it lies from the three edges, in σ, the normal distribution
// there, and its grey value. Where no edge is near, that depends on one parameter alone, with derivative 1: level, −1
// elsewhere.
type sight struct {
	foot
	z0, z1, za, c0, d0, c1, d1, ca, da float64
	value                              float64
	level                              int
}

func (s *sight) see(p *params, g reformat.VoxelSample, h *bends) {
	s.x, s.t, s.g0 = g.X, g.T, h.steep
	s.under(p, g.N)
	s.z0 = (s.m - h.moved[0]) * h.inv
	s.z1 = (s.m - p.depth(g.X) - h.moved[1]) * h.inv
	s.za = -(s.m + p[pGamma] - h.moved[2]) * h.inv
	s.c0, s.d0 = normal(s.z0)
	s.c1, s.d1 = normal(s.z1)
	s.ca, s.da = normal(s.za)
	if s.d0 == 0 && s.d1 == 0 && s.da == 0 {
		s.level = plateau(s.c0, s.c1, s.ca)
		s.value = p[s.level]
		return
	}
	s.level = -1
	s.value = p[pG0] + (p[pG1]-p[pG0])*s.c0 + (p[pG2]-p[pG1])*s.c1 + (p[pGA]-p[pG0])*s.ca
}

// slopesOf fills in the derivatives of the grey value by every parameter, for a voxel near an edge.
func (p *params) slopesOf(s *sight, h *bends, grad *params) {
	sigma, inv, blur := p[pSigma], h.inv, h.blur
	by := p.slopes(&s.foot)
	w0, w1, wa := (p[pG1]-p[pG0])*s.d0*inv, (p[pG2]-p[pG1])*s.d1*inv, (p[pGA]-p[pG0])*s.da*inv
	rise := w0 + w1 - wa
	for i, d := range by[:6] {
		grad[i] = rise * d
	}
	grad[pCub] = rise * by[6]
	grad[pCXX] -= blur * (w0*h.outer.byXX + w1*h.inner.byXX - wa*h.mucosa.byXX)
	grad[pCTT] -= blur * (w0*h.outer.byTT + w1*h.inner.byTT - wa*h.mucosa.byTT)
	grad[pG0] = 1 - s.c0 - s.ca
	grad[pG1] = s.c0 - s.c1
	grad[pG2] = s.c1
	grad[pTau] = -w1 * (1 + blur*h.inner.byDepth)
	grad[pTauX] = -w1 * s.x
	grad[pTauXX] = -0.5 * w1 * (s.x*s.x + blur)
	grad[pSigma] = -(w0*(s.z0+2*sigma*h.outer.h) + w1*(s.z1+2*sigma*h.inner.h) + wa*(s.za-2*sigma*h.mucosa.h))
	grad[pGA] = s.ca
	grad[pGamma] = -wa * (1 + blur*h.mucosa.byDepth)
}

// derivatives returns the derivatives of the grey value at a voxel by every parameter.
func (p *params) derivatives(g reformat.VoxelSample, h *bends) (grad params) {
	var s sight
	if s.see(p, g, h); s.level >= 0 {
		grad[s.level] = 1
		return grad
	}
	p.slopesOf(&s, h, &grad)
	return grad
}

// plateau returns the layer a voxel lies in when every edge is far.
func plateau(c0, c1, ca float64) int {
	switch {
	case ca == 1:
		return pGA
	case c0 == 0:
		return pG0
	case c1 == 0:
		return pG1
	}
	return pG2
}

// within holds the parameters to what a surface can be.
func (p *params) within() {
	clamp := func(i int, lo, hi float64) { p[i] = math.Max(lo, math.Min(hi, p[i])) }
	clamp(pSigma, 0.02, 2.5)
	clamp(pTau, 0.02, beyondReach) // mm, as sigma: a tenth of the finest voxels
	clamp(pTauX, -1, 1)
	clamp(pTauXX, -2, 2)
	clamp(pCub, -4, 4)
	clamp(pGamma, 0.02, beyondReach)
	clamp(pSX, -1.5, 1.5) // 56° from where the fit began: it has lost its surface
	clamp(pST, -1.5, 1.5)
	for _, i := range []int{pCXX, pCXT, pCTT} {
		clamp(i, -2, 2)
	}
}
