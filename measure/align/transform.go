package align

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/uncertainty"
)

// ErrTransform is the fault of numbers that are no rigid transform, or of two that do not follow each other.
var ErrTransform = errors.New("align: no rigid transform")

// Transform is a rigid transform between two named frames:
//
//	p = Rotation·x + Translation
//
// takes x, a point of frame From, to p, the same point in frame To. The zero Transform is none: begin with [Identity] or
// [Rigid].
type Transform struct {
	From, To    string        // names of the frames; "" is a frame nobody named
	Rotation    [3][3]float64 // row by row; orthonormal, determinant +1
	Translation r3.Vec        // mm
	Spread      *Spread       // its uncertainty; nil: not known, which is not "none"
}

// Parameters of [Spread.Cov], in its order.
const (
	turnX  = 0 // rotation about the axes of frame To through the centre, rad
	shiftX = 3 // translation along them, mm
	size   = 6 // how much longer lengths of frame To are than those of From, relative
	params = 7
)

// Spread is the uncertainty of a transform: the covariance of a small motion that is left over after it,
//
//	δ(p) = ω×(p − Centre) + τ + σ·(p − Centre)
//
// with ω a rotation vector (rad), τ a translation (mm) and σ a relative difference in size (no unit). Only by σ may the
// two frames differ that no rigid transform can mend, as when two devices have their voxels slightly wrong.
type Spread struct {
	Centre r3.Vec                  // in frame To, mm
	Cov    [params][params]float64 // rows and columns: ω in rad, τ in mm, σ; in axes of frame To
}

// Identity returns the transform of a frame into itself: no motion, known exactly.
func Identity(frame string) Transform {
	t := Rigid(frame, frame, r3.Vec{}, r3.Vec{})
	t.Spread = &Spread{}
	return t
}

// Rigid returns the transform that turns a point about the origin by the rotation vector turn (its axis times its angle,
// rad) and then moves it by shift (mm). Its uncertainty is not known.
func Rigid(from, to string, turn, shift r3.Vec) Transform {
	t := Transform{From: from, To: to, Rotation: [3][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}, Translation: shift}
	if angle := r3.Norm(turn); angle > 0 {
		r := r3.NewRotation(angle, turn)
		for i, e := range []r3.Vec{{X: 1}, {Y: 1}, {Z: 1}} {
			v := r.Rotate(e)
			t.Rotation[0][i], t.Rotation[1][i], t.Rotation[2][i] = v.X, v.Y, v.Z
		}
	}
	return t
}

// Apply returns where point x of frame From lies in frame To, mm.
func (t Transform) Apply(x r3.Vec) r3.Vec { return r3.Add(t.Turn(x), t.Translation) }

// Turn returns direction v of frame From in frame To; lengths stay as they are.
func (t Transform) Turn(v r3.Vec) r3.Vec {
	r := &t.Rotation
	return r3.Vec{
		X: r[0][0]*v.X + r[0][1]*v.Y + r[0][2]*v.Z,
		Y: r[1][0]*v.X + r[1][1]*v.Y + r[1][2]*v.Z,
		Z: r[2][0]*v.X + r[2][1]*v.Y + r[2][2]*v.Z,
	}
}

// Angle returns by how much the transform turns, in degrees.
func (t Transform) Angle() float64 {
	r := &t.Rotation
	sin := r3.Norm(r3.Vec{X: r[2][1] - r[1][2], Y: r[0][2] - r[2][0], Z: r[1][0] - r[0][1]}) / 2
	return math.Atan2(sin, (r[0][0]+r[1][1]+r[2][2]-1)/2) * 180 / math.Pi
}

// Inverse returns the transform from To back to From, with the same uncertainty seen from there.
func (t Transform) Inverse() Transform {
	back := Transform{From: t.To, To: t.From}
	for i := range 3 {
		for j := range 3 {
			back.Rotation[i][j] = t.Rotation[j][i]
		}
	}
	back.Translation = r3.Scale(-1, back.Turn(t.Translation))
	if t.Spread != nil { // δ turned round has the signs of all parameters changed: their covariance stays
		s := t.Spread.moved(back)
		back.Spread = &s
	}
	return back
}

// Then returns the transform that first does t and then next. Both uncertainties are taken as independent; where one is
// not known, neither is the whole's. It returns [ErrTransform] where next does not begin in the frame in which t ends.
func (t Transform) Then(next Transform) (Transform, error) {
	if t.To != next.From {
		return Transform{}, fmt.Errorf("%w: one ends in frame %q, the next begins in %q", ErrTransform, t.To, next.From)
	}
	both := Transform{From: t.From, To: next.To, Translation: next.Apply(t.Translation)}
	for i := range 3 {
		for j := range 3 {
			for k := range 3 {
				both.Rotation[i][j] += next.Rotation[i][k] * t.Rotation[k][j]
			}
		}
	}
	if t.Spread != nil && next.Spread != nil {
		s := t.Spread.moved(next).about(next.Spread.Centre)
		for i := range params {
			for j := range params {
				s.Cov[i][j] += next.Spread.Cov[i][j]
			}
		}
		both.Spread = &s
	}
	return both, nil
}

// Std returns the standard uncertainty of where a point lands: of its place along the unit vector dir at p, both in frame
// To, in mm. It is NaN where the uncertainty is not known.
func (t Transform) Std(p, dir r3.Vec) float64 {
	if t.Spread == nil {
		return math.NaN()
	}
	return t.Spread.along(p, dir)
}

// Std3 returns the root of the summed variances along the three axes at p in frame To, mm: the standard uncertainty of
// where a point lands in space. It is NaN where the uncertainty is not known.
func (t Transform) Std3(p r3.Vec) float64 {
	x, y, z := t.Std(p, r3.Vec{X: 1}), t.Std(p, r3.Vec{Y: 1}), t.Std(p, r3.Vec{Z: 1})
	return math.Sqrt(x*x + y*y + z*z)
}

// Term returns the term that a length along the unit vector dir at p, both in frame To, carries when it crosses from one
// frame to the other, in mm. known is false, and the length then has no uncertainty that may be printed, where the
// transform's is not known.
func (t Transform) Term(p, dir r3.Vec) (term uncertainty.Term, known bool) {
	if t.Spread == nil {
		return uncertainty.Term{}, false
	}
	return uncertainty.Term{Name: "alignment at this place", Std: t.Spread.along(p, dir)}, true
}

// AngleTerm returns the term that an angle between a direction of one frame and one of the other carries, about the unit
// vector axis of frame To about which it is measured, in degrees. known is as of [Transform.Term].
func (t Transform) AngleTerm(axis r3.Vec) (term uncertainty.Term, known bool) {
	if t.Spread == nil {
		return uncertainty.Term{}, false
	}
	var row [params]float64
	row[turnX], row[turnX+1], row[turnX+2] = axis.X, axis.Y, axis.Z
	return uncertainty.Term{Name: "alignment's rotation", Std: t.Spread.of(row) * 180 / math.Pi}, true
}

// along is [Transform.Std] of a known spread: dir·δ(p) = ω·(r×dir) + τ·dir + σ·(r·dir), r = p − Centre.
func (s *Spread) along(p, dir r3.Vec) float64 {
	r := r3.Sub(p, s.Centre)
	w := r3.Cross(r, dir)
	return s.of([params]float64{w.X, w.Y, w.Z, dir.X, dir.Y, dir.Z, r3.Dot(r, dir)})
}

// of returns the standard uncertainty of row·parameters.
func (s *Spread) of(row [params]float64) float64 {
	sum := 0.0
	for i := range params {
		for j := range params {
			sum += row[i] * s.Cov[i][j] * row[j]
		}
	}
	return math.Sqrt(max(0, sum))
}

// about returns the same uncertainty told about another centre: τ' = τ + ω×d + σ·d, d from the old centre to the new.
func (s Spread) about(centre r3.Vec) Spread {
	d := r3.Sub(centre, s.Centre)
	var a [params][params]float64
	for i := range params {
		a[i][i] = 1
	}
	for j, e := range []r3.Vec{{X: 1}, {Y: 1}, {Z: 1}} {
		v := r3.Cross(e, d)
		a[shiftX][j], a[shiftX+1][j], a[shiftX+2][j] = v.X, v.Y, v.Z
	}
	a[shiftX][size], a[shiftX+1][size], a[shiftX+2][size] = d.X, d.Y, d.Z
	return Spread{Centre: centre, Cov: sandwich(a, s.Cov)}
}

// moved returns the same uncertainty seen from frame t.To; s is given in frame t.From.
func (s Spread) moved(t Transform) Spread {
	var a [params][params]float64
	for i := range 3 {
		for j := range 3 {
			a[turnX+i][turnX+j], a[shiftX+i][shiftX+j] = t.Rotation[i][j], t.Rotation[i][j]
		}
	}
	a[size][size] = 1
	return Spread{Centre: t.Apply(s.Centre), Cov: sandwich(a, s.Cov)}
}

// sandwich returns a·c·aᵀ.
func sandwich(a, c [params][params]float64) (out [params][params]float64) {
	for i := range params {
		for j := range params {
			for k := range params {
				for l := range params {
					out[i][j] += a[i][k] * c[k][l] * a[j][l]
				}
			}
		}
	}
	return out
}

// Check returns [ErrTransform] where the rotation is none, a number is not finite, or the covariance is none.
func (t Transform) Check() error {
	rot := mat.NewDense(3, 3, nil)
	for i := range 3 {
		rot.SetRow(i, t.Rotation[i][:])
	}
	var product mat.Dense
	product.Mul(rot, rot.T())
	for i := range 3 {
		for j := range 3 {
			want := 0.0
			if i == j {
				want = 1
			}
			if !(math.Abs(product.At(i, j)-want) < 1e-6) { // also where it is no number; rounded files have 1e-9
				return fmt.Errorf("%w: its rotation is not orthonormal: rows %d and %d have product %.6f, want %g", ErrTransform, i+1, j+1, product.At(i, j), want)
			}
		}
	}
	if d := mat.Det(rot); d < 0 {
		return fmt.Errorf("%w: it mirrors (determinant %.3f)", ErrTransform, d)
	}
	if n := r3.Norm(t.Translation); math.IsNaN(n) || math.IsInf(n, 0) {
		return fmt.Errorf("%w: its translation is %v", ErrTransform, t.Translation)
	}
	return t.Spread.check()
}

// check is [Transform.Check] of the covariance.
func (s *Spread) check() error {
	if s == nil {
		return nil
	}
	for i := range params {
		for j := range params {
			a, b := s.Cov[i][j], s.Cov[j][i]
			bound := math.Sqrt(s.Cov[i][i]*s.Cov[j][j]) * (1 + 1e-9)
			if !(math.Abs(a-b) <= 1e-9*bound) || !(math.Abs(a) <= bound) || math.IsInf(a, 0) {
				return fmt.Errorf("%w: entry %d, %d of its covariance is %g, against %g and %g", ErrTransform, i+1, j+1, a, s.Cov[i][i], s.Cov[j][j])
			}
		}
	}
	if n := r3.Norm(s.Centre); math.IsNaN(n) || math.IsInf(n, 0) {
		return fmt.Errorf("%w: the centre of its uncertainty is %v", ErrTransform, s.Centre)
	}
	return nil
}

// transformJSON is a transform as files show it.
type transformJSON struct {
	From        string        `json:"from"`
	To          string        `json:"to"`
	Rotation    [3][3]float64 `json:"rotation"`
	Translation [3]float64    `json:"translation_mm"`
	Spread      *spreadJSON   `json:"uncertainty"` // null: not known
}

type spreadJSON struct {
	Centre     [3]float64              `json:"centre_mm"`
	Parameters [params]string          `json:"parameters"`
	Cov        [params][params]float64 `json:"covariance"`
}

var parameterNames = [params]string{"turn_x_rad", "turn_y_rad", "turn_z_rad", "shift_x_mm", "shift_y_mm", "shift_z_mm", "size"}

// MarshalJSON writes the transform: names of both frames, rotation row by row, translation in mm, covariance with the
// names and units of its parameters.
func (t Transform) MarshalJSON() ([]byte, error) {
	out := transformJSON{From: t.From, To: t.To, Rotation: t.Rotation, Translation: [3]float64{t.Translation.X, t.Translation.Y, t.Translation.Z}}
	if s := t.Spread; s != nil {
		out.Spread = &spreadJSON{[3]float64{s.Centre.X, s.Centre.Y, s.Centre.Z}, parameterNames, s.Cov}
	}
	return json.Marshal(out)
}

// UnmarshalJSON reads what [Transform.MarshalJSON] wrote. It returns [ErrTransform] where the numbers are no rigid
// transform.
func (t *Transform) UnmarshalJSON(data []byte) error {
	var in transformJSON
	if err := json.Unmarshal(data, &in); err != nil {
		return err
	}
	vec := func(a [3]float64) r3.Vec { return r3.Vec{X: a[0], Y: a[1], Z: a[2]} }
	out := Transform{From: in.From, To: in.To, Rotation: in.Rotation, Translation: vec(in.Translation)}
	if s := in.Spread; s != nil {
		if s.Parameters != parameterNames {
			return fmt.Errorf("%w: the parameters of its covariance are %v, want %v", ErrTransform, s.Parameters, parameterNames)
		}
		out.Spread = &Spread{vec(s.Centre), s.Cov}
	}
	if err := out.Check(); err != nil {
		return err
	}
	*t = out
	return nil
}

// SizeStd returns how far the two frames' lengths may differ, standard and relative (no unit); NaN where that is not known.
func (t Transform) SizeStd() float64 {
	if t.Spread == nil {
		return math.NaN()
	}
	return math.Sqrt(t.Spread.Cov[size][size])
}
