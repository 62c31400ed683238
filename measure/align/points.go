package align

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// Points brought onto points: the rotation and translation that leave the least squares between pairs.
//
// Source: Arun KS, Huang TS, Blostein SD. IEEE Trans Pattern Anal Mach Intell 1987;9:698–700; Kabsch W. Acta Cryst A
// 1976;32:922–923 (both from memory; numpy's SVD gives the same, see points_numpy_test.go).

// ErrPoints is the fault of points that fix no rigid transform: too few, nearly on a line, or mirrored.
var ErrPoints = errors.New("align: the points fix no rigid transform")

// leastOffLine is how far, as a root mean square, the points must lie off the straight line through them, mm. About that
// line alone the fit is free to turn: with an error of 0.05 mm a coordinate and three points 1 mm off it, the turn is
// uncertain by 0.05/√3 rad, 1.7°. Our choice; a smaller one lets the turn about the line grow in proportion.
const leastOffLine = 1.0

// PointFit is the best rigid fit of some points to others.
type PointFit struct {
	Transform           // from the first points' frame to the second's
	Residuals  []r3.Vec // second point less the first brought onto it, in the second's frame, mm
	RMS        float64  // root of the mean squared length of the residuals, mm; it is not the fit's error
	MirrorRMS  float64  // the same of the best fit that also mirrors, mm
	ScaleFound float64  // lengths of the second frame over those of the first, as the points have it; never applied; no unit
	ScaleStd   float64  // its standard uncertainty from the residuals, no unit; NaN: too few points to tell
}

// FitPoints returns the rigid transform that brings the points from as near to the points to, pair by pair, as least
// squares can; both in mm. It returns [ErrPoints] for fewer than three pairs, for points that lie nearly on one line, and
// for a number that is not finite.
//
// The transform's [Spread] follows from the residuals and takes the errors of all coordinates as equal and independent.
// Three points have 3 degrees of freedom left: their spread is itself known to a factor of two only.
func FitPoints(from, to []r3.Vec) (PointFit, error) {
	if len(from) != len(to) {
		panic(fmt.Sprintf("align: %d points are to be fitted to %d", len(from), len(to)))
	}
	if err := checkPoints(from); err != nil {
		return PointFit{}, err
	}
	if err := checkPoints(to); err != nil {
		return PointFit{}, err
	}
	a, b := centroid(from), centroid(to)
	u, v := crossCovariance(from, to, a, b)
	rotation, mirror := product(v, u, 1), product(v, u, -1)
	if determinant(rotation) < 0 {
		rotation, mirror = mirror, rotation
	}
	f := PointFit{Transform: Transform{Rotation: rotation}}
	f.Translation = r3.Sub(b, f.Turn(a))
	f.Residuals, f.RMS = f.residuals(from, to)
	other := Transform{Rotation: mirror}
	other.Translation = r3.Sub(b, other.Turn(a))
	_, f.MirrorRMS = other.residuals(from, to)
	f.scale(from, to, a, b)
	if dof := float64(3*len(from) - 6); dof > 0 {
		f.Spread = spreadOf(f.Transform, from, b, f.RMS*math.Sqrt(float64(len(from))/dof))
	}
	return f, nil
}

// checkPoints returns [ErrPoints] for points to which nothing can be fitted.
func checkPoints(points []r3.Vec) error {
	if len(points) < 3 {
		return fmt.Errorf("%w: %d pairs of points, at least 3 are needed, not on one line: add more", ErrPoints, len(points))
	}
	for i, p := range points {
		if n := r3.Norm(p); math.IsNaN(n) || math.IsInf(n, 0) {
			return fmt.Errorf("%w: point %d is (%g, %g, %g)", ErrPoints, i+1, p.X, p.Y, p.Z)
		}
	}
	if off := offLine(points); off < leastOffLine {
		return fmt.Errorf("%w: they lie nearly on one line (%.2f mm off it, root mean square; at least %g mm is needed)", ErrPoints, off, leastOffLine)
	}
	return nil
}

// offLine returns how far the points lie off the straight line that fits them best, root mean square, mm: the root of
// the sum of the two smaller principal variances.
func offLine(points []r3.Vec) float64 {
	c := centroid(points)
	m := mat.NewDense(len(points), 3, nil)
	for i, p := range points {
		d := r3.Sub(p, c)
		m.SetRow(i, []float64{d.X, d.Y, d.Z})
	}
	var svd mat.SVD
	if !svd.Factorize(m, mat.SVDNone) {
		return 0
	}
	s := svd.Values(nil)
	sum := 0.0
	for _, x := range s[1:] {
		sum += x * x
	}
	return math.Sqrt(sum / float64(len(points)))
}

// crossCovariance returns U and V of the singular value decomposition of Σ (from − a)(to − b)ᵀ = U·S·Vᵀ.
func crossCovariance(from, to []r3.Vec, a, b r3.Vec) (u, v *mat.Dense) {
	h := mat.NewDense(3, 3, nil)
	for i := range from {
		p, q := coordinates(r3.Sub(from[i], a)), coordinates(r3.Sub(to[i], b))
		for r := range 3 {
			for c := range 3 {
				h.Set(r, c, h.At(r, c)+p[r]*q[c])
			}
		}
	}
	var svd mat.SVD
	if !svd.Factorize(h, mat.SVDFull) {
		panic("align: the singular values of a finite 3×3 matrix were not found")
	}
	u, v = new(mat.Dense), new(mat.Dense)
	svd.UTo(u)
	svd.VTo(v)
	return u, v
}

// product returns V·diag(1, 1, d)·Uᵀ.
func product(v, u *mat.Dense, d float64) (out [3][3]float64) {
	for i := range 3 {
		for j := range 3 {
			out[i][j] = v.At(i, 0)*u.At(j, 0) + v.At(i, 1)*u.At(j, 1) + d*v.At(i, 2)*u.At(j, 2)
		}
	}
	return out
}

func determinant(m [3][3]float64) float64 {
	row := func(i int) r3.Vec { return r3.Vec{X: m[i][0], Y: m[i][1], Z: m[i][2]} }
	return r3.Dot(row(0), r3.Cross(row(1), row(2)))
}

// residuals returns what is left between to and from moved by t, and the root of its mean square, mm.
func (t Transform) residuals(from, to []r3.Vec) ([]r3.Vec, float64) {
	out := make([]r3.Vec, len(from))
	sum := 0.0
	for i := range from {
		out[i] = r3.Sub(to[i], t.Apply(from[i]))
		sum += r3.Norm2(out[i])
	}
	return out, math.Sqrt(sum / float64(len(from)))
}

// scale fits a seventh parameter as a check:
//
//	s = Σ q·(R p) / Σ |p|²,   p and q from their centroids a and b
func (f *PointFit) scale(from, to []r3.Vec, a, b r3.Vec) {
	num, den := 0.0, 0.0
	for i := range from {
		p := f.Turn(r3.Sub(from[i], a))
		num += r3.Dot(r3.Sub(to[i], b), p)
		den += r3.Norm2(p)
	}
	f.ScaleFound, f.ScaleStd = num/den, math.NaN()
	if dof := 3*len(from) - 7; dof > 0 {
		rest := 0.0
		for i := range from {
			p := f.Turn(r3.Sub(from[i], a))
			rest += r3.Norm2(r3.Sub(r3.Sub(to[i], b), r3.Scale(f.ScaleFound, p)))
		}
		f.ScaleStd = math.Sqrt(rest / float64(dof) / den)
	}
}

// spreadOf returns the uncertainty of a fit to points each of whose coordinates has the standard uncertainty sd (mm):
// about the centroid the translation has sd²/n, the rotation sd²·(Σ (|p|²·I − p·pᵀ))⁻¹, and the two do not correlate.
//
// Source: Fitzpatrick JM, West JB. IEEE Trans Med Imaging 2001;20:917–927 (the same result by principal axes).
func spreadOf(t Transform, from []r3.Vec, centre r3.Vec, sd float64) *Spread {
	inertia := mat.NewSymDense(3, nil)
	for _, x := range from {
		p := coordinates(r3.Sub(t.Apply(x), centre))
		for i := range 3 {
			for j := i; j < 3; j++ {
				inertia.SetSym(i, j, inertia.At(i, j)-p[i]*p[j])
			}
			inertia.SetSym(i, i, inertia.At(i, i)+p[0]*p[0]+p[1]*p[1]+p[2]*p[2])
		}
	}
	var inverse mat.Dense
	if err := inverse.Inverse(inertia); err != nil {
		return nil // not known: nothing else is safe
	}
	s := &Spread{Centre: centre}
	for i := range 3 {
		for j := range 3 {
			s.Cov[turnX+i][turnX+j] = sd * sd * inverse.At(i, j)
		}
		s.Cov[shiftX+i][shiftX+i] = sd * sd / float64(len(from))
	}
	return s
}

func centroid(points []r3.Vec) (c r3.Vec) {
	for _, p := range points {
		c = r3.Add(c, p)
	}
	return r3.Scale(1/float64(len(points)), c)
}

func coordinates(p r3.Vec) [3]float64 { return [3]float64{p.X, p.Y, p.Z} }

// angleBetween returns the angle between two directions in degrees, exact near 0 and 180 too.
func angleBetween(a, b r3.Vec) float64 {
	return math.Atan2(r3.Norm(r3.Cross(a, b)), r3.Dot(a, b)) * 180 / math.Pi
}
