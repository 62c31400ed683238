package align

import (
	"fmt"
	"math"
	"slices"

	"ridgerule/measure/fit"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// edge is where a ray left the metal.
type edge struct {
	z, angle float64 // mm from the body's middle along the axis; rad about it
	r        float64 // mm from the axis
}

// fitted is a straight, tapering tube through edges:
//
//	r = radius + taper·z + (x + leanX·z)·cos(angle) + (y + leanY·z)·sin(angle)
type fitted struct {
	radius, taper, x, y, leanX, leanY float64
	std                               [6]float64 // of each, in this order
	used                              int
}

// refine lays new rays from the present axis and moves it onto the middle of what they meet.
func (f *finder) refine() error {
	u, w := frameOf(f.axis)
	slope := (f.want.Apex - f.want.Diameter) / 2 / f.want.Length
	var edges []edge
	for z := f.top + 0.15*(f.bottom-f.top); z <= f.top+0.85*(f.bottom-f.top); z += depthStep {
		for n := range sideRays {
			angle := 2 * math.Pi * float64(n) / sideRays
			dir := r3.Add(r3.Scale(math.Cos(angle), u), r3.Scale(math.Sin(angle), w))
			if r, ok := f.leaves(r3.Add(f.middle, r3.Scale(z, f.axis)), dir, f.radius+slope*z); ok {
				edges = append(edges, edge{z, angle, r})
			}
		}
	}
	fit, err := fitTube(edges)
	if err != nil {
		return err
	}
	f.sides = fit
	f.radius = fit.radius
	f.axis = r3.Unit(r3.Add(f.axis, r3.Add(r3.Scale(fit.leanX, u), r3.Scale(fit.leanY, w))))
	f.middle = r3.Add(f.middle, r3.Add(r3.Scale(fit.x, u), r3.Scale(fit.y, w)))
	return f.findEnds()
}

// findEnds finds both ends along rays within the body, and moves the middle half-way between.
func (f *finder) findEnds() error {
	u, w := frameOf(f.axis)
	var at [2][]float64
	for _, share := range []float64{0, 0.25, 0.5} {
		for n := range 12 {
			angle := 2 * math.Pi * float64(n) / 12
			off := r3.Add(r3.Scale(share*f.radius*math.Cos(angle), u), r3.Scale(share*f.radius*math.Sin(angle), w))
			for i, dir := range []r3.Vec{r3.Scale(-1, f.axis), f.axis} {
				expected := [2]float64{-f.top, f.bottom}[i]
				if r, ok := f.leaves(r3.Add(f.middle, off), dir, expected); ok {
					at[i] = append(at[i], r)
				}
			}
			if share == 0 {
				break
			}
		}
	}
	for i, list := range at {
		if len(list) < 8 {
			return fmt.Errorf("%w: the %s end of the bright body is not seen", ErrNoImplant, [2]string{"coronal", "apical"}[i])
		}
		slices.Sort(list)
		f.ends[i] = (list[len(list)*84/100] - list[len(list)*16/100]) / 2 / math.Sqrt(float64(len(list))/3) // neighbours share voxels
	}
	top, bottom := at[0][len(at[0])/2], at[1][len(at[1])/2]
	shift := (bottom - top) / 2
	f.middle = r3.Add(f.middle, r3.Scale(shift, f.axis))
	f.top, f.bottom = -(top+bottom)/2, (top+bottom)/2
	return nil
}

// leaves returns how far from p along dir the grey falls to half-way between metal and what lies just outside, where it falls
// most steeply near where that is expected; both in mm. ok is false where the ray leaves the field or meets no such place. What
// lies just outside may be a thin plate and something else behind it: it is asked within half a millimetre only.
func (f *finder) leaves(p, dir r3.Vec, expected float64) (r float64, ok bool) {
	from := max(0, expected-rayReach)
	n := int((expected + rayReach + rayBeside[1] - from) / rayStep)
	greys := make([]float64, n)
	for i := range greys {
		greys[i] = f.grey(r3.Add(p, r3.Scale(from+float64(i)*rayStep, dir)))
	}
	const half = 3 // steps either way over which the fall is taken
	near, far := int(rayBeside[0]/rayStep), int(rayBeside[1]/rayStep)
	steepest, fall := -1, metalLeast/4.0
	for i := half; i+far < n; i++ {
		if d := greys[i-half] - greys[i+half]; d > fall {
			steepest, fall = i, d
		}
	}
	if steepest < 0 {
		return 0, false
	}
	outside := 0.0
	for _, g := range greys[steepest+near : steepest+far] {
		outside += g / float64(far-near)
	}
	level := (f.metal + outside) / 2
	for off := range near { // the crossing nearest to the steepest place
		for _, i := range [2]int{steepest + off, steepest - off} {
			if i > 0 && greys[i-1] > level && greys[i] <= level {
				return from + rayStep*(float64(i-1)+(greys[i-1]-level)/(greys[i-1]-greys[i])), true
			}
		}
	}
	return 0, false
}

// fitTube fits a tube to edges: least squares, those left out that lie beyond three spreads. Its uncertainty takes one in two
// of the edges as independent: rays lie closer than voxels.
func fitTube(edges []edge) (fitted, error) {
	var out fitted
	kept := slices.Clone(edges)
	for range 4 {
		if len(kept) < 60 {
			return out, fmt.Errorf("%w: only %d places of its sides are seen", ErrNoImplant, len(kept))
		}
		a, b := mat.NewDense(len(kept), 6, nil), mat.NewVecDense(len(kept), nil)
		for i, e := range kept {
			c, s := math.Cos(e.angle), math.Sin(e.angle)
			a.SetRow(i, []float64{1, e.z, c, s, e.z * c, e.z * s})
			b.SetVec(i, e.r)
		}
		var x, rest mat.VecDense
		if err := x.SolveVec(a, b); err != nil {
			return out, fmt.Errorf("%w: its sides are seen from one direction only", ErrNoImplant)
		}
		rest.MulVec(a, &x)
		rest.SubVec(b, &rest)
		var sizes []float64
		for i := range kept {
			sizes = append(sizes, math.Abs(rest.AtVec(i)))
		}
		spread := fit.MADToSD * fit.Quantile(sizes, 0.5)
		out = fitted{x.AtVec(0), x.AtVec(1), x.AtVec(2), x.AtVec(3), x.AtVec(4), x.AtVec(5), stds(a, max(spread, 0.01)), len(kept)}
		var better []edge
		for i, e := range kept {
			if sizes[i] <= 3*max(spread, 0.02) {
				better = append(better, e)
			}
		}
		kept = better
	}
	return out, nil
}

// stds returns the standard uncertainties of the six parameters for edges known to sd mm.
func stds(a *mat.Dense, sd float64) (out [6]float64) {
	var normal, inverse mat.Dense
	normal.Mul(a.T(), a)
	if inverse.Inverse(&normal) != nil {
		for i := range out {
			out[i] = math.Inf(1)
		}
		return out
	}
	for i := range out {
		out[i] = math.Sqrt2 * sd * math.Sqrt(inverse.At(i, i))
	}
	return out
}

// result says what was found, and how well.
func (f *finder) result() (FoundImplant, error) {
	long := f.bottom - f.top
	out := FoundImplant{Implant: Implant{Axis: f.axis, Diameter: f.want.Diameter, Apex: f.want.Apex, Length: f.want.Length}}
	out.Bloom = f.radius - (f.want.Diameter+f.want.Apex)/4
	out.Ends = (long - f.want.Length) / 2
	out.Platform = r3.Sub(f.middle, r3.Scale(f.want.Length/2, f.axis))
	// Half of what the two blooms differ by may lie at one end alone.
	odd := math.Abs(out.Ends - out.Bloom)
	out.Along = math.Sqrt(square(odd/math.Sqrt(3)) + square(math.Hypot(f.ends[0], f.ends[1])/2) + square(sampled*f.voxel))
	out.Across = math.Hypot(max(f.sides.std[2], f.sides.std[3]), sampled*f.voxel)
	out.Lean = math.Hypot(max(f.sides.std[4], f.sides.std[5]), 2*sampled*f.voxel/f.want.Length) * 180 / math.Pi
	if odd > 0.5 {
		out.Cautions = append(out.Cautions, fmt.Sprintf("the body found is %.1f mm long and %.1f mm wide where one of %.1f × %.1f mm was planned: another size, or metal on its platform; depths and apices are less sure", long, 2*f.radius, f.want.Length, f.want.Diameter))
	}
	return out, nil
}

// sampled is how far what all rays share is off by the grid of voxels, standard, of a voxel; our choice, of the size of what
// the synthetic implants show (docs/alignment.md); an end of the axis, at half the length, may be off by as much.
const sampled = 0.03

func square(x float64) float64 { return x * x }
