package align

import (
	"math"

	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/fit"
)

// The body in the image: a flat-ended cone of one grey, wider and longer by what it blooms, blurred by a Gaussian. With s the
// share of the metal at a voxel's centre, Φ the normal distribution's function, d how far that lies outside the sides (r of
// them there) and e how far beyond the ends,
//
//	s = Φ(−(d + blur²/2r)/blur) · Φ(−e/blur)
//	grey = metal·s + outside·(1 − s) + rise·(t·Φ(t/blur) + blur·φ(t/blur))
//
// t is d or e, whichever face the voxel belongs to: what lies outside is a straight line across the face, blurred with it, another
// one in each patch of the surface. blur²/2r is how far a blurred edge of a cylinder moves toward its axis. Voxels are asked at
// their centres: half-way between two that a scan has cut off, or of which one is, no grey is true.

// The unknowns of the body, from where it is thought to be.
const (
	placedU     = iota // mm, its middle across the axis
	placedW            // mm
	placedAlong        // mm, along it
	placedLeanU        // rad, of its axis
	placedLeanW        // rad
	placedBloom        // mm, by how much its sides lie farther out
	placedEnds         // mm, by how much each of its ends does
	placedTaper        // mm/mm, of its radius, beyond what is known
	placedBlur         // mm
	placedMetal        // its grey: what a scan would show that cuts nothing off
	placedUnknowns
)

// placedSteps are small changes of the unknowns, for differences.
var placedSteps = [placedUnknowns]float64{1e-3, 1e-3, 1e-3, 1e-3, 1e-3, 1e-3, 1e-3, 1e-3, 1e-3, 1}

// riseKnown is how much what lies outside may rise, standard, grey values per mm: from soft tissue to cortex, some 1000, within two
// millimetres. Our choice: half and double leave the error of synthetic implants as it is.
const riseKnown = 500.0

// face is a side or an end of the body.
type face int

const (
	bodySide face = iota
	coronalEnd
	apicalEnd
)

// patch is a part of the surface.
type patch struct {
	face         face
	sector, slab int
}

// voxelSample is a voxel near the surface.
type voxelSample struct {
	p      r3.Vec // its centre, mm
	grey   float64
	face   face
	patch  int
	weight float64
}

// bodyFit is a body on its way onto its voxels, as [fit.Descend] asks for it.
type bodyFit struct {
	want      Implant
	middle    r3.Vec // about which the unknowns are taken, mm
	axis      r3.Vec
	u, w      r3.Vec // across the axis
	at, trial [placedUnknowns]float64
	samples   []voxelSample
	patches   map[patch]int
	outside   [][2]float64 // of each patch: the grey at the surface, and its rise, 1/mm
}

func normalShare(x float64) float64 { return math.Erfc(-x/math.Sqrt2) / 2 }

// expects returns what the model says of a place: the share of the metal, and what one grey outside, and a rise of one a mm, come to.
func (b *bodyFit) expects(p r3.Vec, on face, x *[placedUnknowns]float64) (share float64, outside [2]float64) {
	axis := r3.Unit(r3.Add(b.axis, r3.Add(r3.Scale(x[placedLeanU], b.u), r3.Scale(x[placedLeanW], b.w))))
	middle := r3.Add(b.middle, r3.Add(r3.Add(r3.Scale(x[placedU], b.u), r3.Scale(x[placedW], b.w)), r3.Scale(x[placedAlong], b.axis)))
	q := r3.Sub(p, middle)
	z := r3.Dot(q, axis)
	r, slope := b.radius(z, x)
	blur := x[placedBlur]
	side := (r3.Norm(across(q, axis))-r)/math.Sqrt(1+slope*slope) + blur*blur/2/max(0.5, r)
	end := math.Abs(z) - b.want.Length/2 - x[placedEnds]
	share = normalShare(-side/blur) * normalShare(-end/blur)
	t := side
	if on != bodySide {
		t = end
	}
	return share, [2]float64{1 - share, t*normalShare(t/blur) + blur*math.Exp(-t*t/2/(blur*blur))/math.Sqrt(2*math.Pi)}
}

// radius returns that of the sides z mm below the middle, mm, and its slope.
func (b *bodyFit) radius(z float64, x *[placedUnknowns]float64) (r, slope float64) {
	slope = (b.want.Apex-b.want.Diameter)/2/b.want.Length + x[placedTaper]
	return (b.want.Apex+b.want.Diameter)/4 + slope*z + x[placedBloom], slope
}

// rests returns what the image says beyond the model, in standard deviations: a number for each voxel, and one for the rise of
// each patch. What lies outside is fitted to the voxels of its patch, whatever the unknowns.
func (b *bodyFit) rests(x *[placedUnknowns]float64) []float64 {
	type sums struct{ aa, ag, gg, ay, gy float64 }
	at, all := make([][2]float64, len(b.samples)), make([]sums, len(b.patches))
	out := make([]float64, len(b.samples)+len(b.patches))
	for i := range b.samples {
		s := &b.samples[i]
		share, outside := b.expects(s.p, s.face, x)
		at[i], out[i] = outside, s.grey-x[placedMetal]*share
		a, g, k := outside[0], outside[1], &all[s.patch]
		k.aa, k.ag, k.gg = k.aa+s.weight*a*a, k.ag+s.weight*a*g, k.gg+s.weight*g*g
		k.ay, k.gy = k.ay+s.weight*a*out[i], k.gy+s.weight*g*out[i]
	}
	b.outside = make([][2]float64, len(all))
	for n, k := range all {
		k.gg += 1 / (riseKnown * riseKnown)
		k.aa += 1e-8 // a grey of ten thousand: a patch deep in metal has none
		det := k.aa*k.gg - k.ag*k.ag
		b.outside[n] = [2]float64{(k.ay*k.gg - k.gy*k.ag) / det, (k.gy*k.aa - k.ay*k.ag) / det}
		out[len(b.samples)+n] = -b.outside[n][1] / riseKnown
	}
	for i := range b.samples {
		o := b.outside[b.samples[i].patch]
		out[i] = math.Sqrt(b.samples[i].weight) * (out[i] - o[0]*at[i][0] - o[1]*at[i][1])
	}
	return out
}

// slopes returns the rests and, a row an unknown, what the model gains by each.
func (b *bodyFit) slopes() blas64.General {
	rests := b.rests(&b.at)
	out := blas64.General{Rows: placedUnknowns + 1, Cols: len(rests), Stride: len(rests)}
	for q, step := range placedSteps {
		x := b.at
		x[q] -= step
		below := b.rests(&x)
		x[q] += 2 * step
		for i, above := range b.rests(&x) {
			below[i] = (below[i] - above) / (2 * step)
		}
		out.Data = append(out.Data, below...)
	}
	out.Data = append(out.Data, rests...)
	return out
}

// weigh gives each voxel the weight of what is known of it: noise everywhere, and where what lies outside is seen its scatter too;
// one far off the rest counts less (Huber).
func (b *bodyFit) weigh() {
	rests := b.rests(&b.at)[:len(b.samples)]
	shares := make([]float64, len(rests))
	var metal, tissue []float64
	for i, s := range b.samples {
		rests[i] /= math.Sqrt(s.weight)
		shares[i], _ = b.expects(s.p, s.face, &b.at)
		switch {
		case shares[i] > 0.5:
			metal = append(metal, math.Abs(rests[i]))
		case shares[i] < 0.25:
			tissue = append(tissue, math.Abs(rests[i]))
		}
	}
	noise, both := greySpread(metal), greySpread(tissue)
	scatter := max(0, both*both-noise*noise)
	for i := range b.samples {
		known := noise*noise + square(1-shares[i])*scatter
		_, huber := fit.Huber(rests[i]/math.Sqrt(known), 2.5)
		b.samples[i].weight = huber / known
	}
}

// greySpread returns the standard deviation that the median of sizes tells, at least a grey value.
func greySpread(sizes []float64) float64 {
	if len(sizes) == 0 {
		return 1
	}
	return max(1, fit.MADToSD*fit.Quantile(sizes, 0.5))
}

func square(x float64) float64 { return x * x }

// Move is part of [fit.Problem].
func (b *bodyFit) Move(d []float64) bool {
	b.trial = b.at
	for q := range d {
		b.trial[q] += d[q]
	}
	b.trial[placedBlur] = max(0.08, min(1.5, b.trial[placedBlur]))
	return b.trial[placedBloom] > -1 && b.trial[placedBloom] < 3
}

// Look is part of [fit.Problem].
func (b *bodyFit) Look() float64 { return sumOfSquares(b.rests(&b.trial)) }

// Take is part of [fit.Problem].
func (b *bodyFit) Take() { b.at = b.trial }

// Equations is part of [fit.Problem].
func (b *bodyFit) Equations() *fit.Equations {
	rows := b.slopes()
	e := fit.NewEquations(placedUnknowns, sumOfSquares(rows.Data[placedUnknowns*rows.Stride:]))
	e.Add(rows)
	return e
}

func sumOfSquares(list []float64) (sum float64) {
	for _, x := range list {
		sum += x * x
	}
	return sum
}

// recentre takes the unknowns about where the body now is.
func (b *bodyFit) recentre() {
	x := &b.at
	b.middle = r3.Add(b.middle, r3.Add(r3.Add(r3.Scale(x[placedU], b.u), r3.Scale(x[placedW], b.w)), r3.Scale(x[placedAlong], b.axis)))
	b.axis = r3.Unit(r3.Add(b.axis, r3.Add(r3.Scale(x[placedLeanU], b.u), r3.Scale(x[placedLeanW], b.w))))
	b.u, b.w = frameOf(b.axis)
	clear(x[:placedBloom])
}
