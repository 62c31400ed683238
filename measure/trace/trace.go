// Package trace follows a canal through a volume between marked points.
//
// A volume and two or more marks inside the canal flow in; a [Path] flows out: the canal's
// centre-line, its radius, the uncertainty of both and how far the picture can be trusted at
// each point. The way there, one file a step:
//
//	box.go       a small isotropic lattice around each pair of marks, whatever the volume's grid
//	tube.go      how much each node looks like the inside of this canal (gauss.go, hessian.go)
//	march.go     the arrival time of a front that runs fast inside tubes (fast marching)
//	descend.go   the way back down the arrival times: the minimal path
//	recentre.go  rounds of: planes across the path (section.go), a canal fitted in each (fit.go,
//	             disc.go), how firm each fit is (precision.go), the line through them (smooth.go)
//	path.go      the even path (curve.go), its confidence, and the structure written for a plan
//	unlikely.go  what is unlike a canal about the path
//
// [Look] goes the other way: a marked path flows in, and for each piece of it ([Piece]) whether
// the picture shows a canal there, none, or one beside it (look.go, look_piece.go, look_map.go).
//
// Frames:
//
//	r3.Vec   (x, y, z)  patient, LPS; mm
//	node     (a, b, c)  box lattice, a runs from the first mark to the second; lattice steps
//	(x, y)              plane across the path, from the path; mm
//
// A trace is a proposal. Marrow can look like a canal; a person confirms it.
package trace

import (
	"context"
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/fit"
)

// Errors of this package; test for them with [errors.Is].
var (
	ErrMarks   = errors.New("trace: unusable marks")
	ErrOutside = errors.New("trace: outside the field")
	ErrBlank   = errors.New("trace: no grey value")
	ErrNoPath  = errors.New("trace: no path")
)

// MarkError tells which mark cannot be used and why. It unwraps to one of the errors above.
type MarkError struct {
	Mark   int    // position in the list of marks, from 0
	At     r3.Vec // where the mark is, patient LPS, mm
	Err    error
	Remedy string // what the user can do
}

// Error names the mark by its place in the list, counted from 1 as a reader counts.
func (e *MarkError) Error() string {
	return fmt.Sprintf("%v: mark %d at (%.2f, %.2f, %.2f) mm: %s",
		e.Err, e.Mark+1, e.At.X, e.At.Y, e.At.Z, e.Remedy)
}

// Unwrap returns the sentinel.
func (e *MarkError) Unwrap() error { return e.Err }

// Options are the choices of [Follow]; the zero value is ready to use.
type Options struct {
	Spacing float64 // distance between points of the path, mm; 0 means 1
	MarkSD  float64 // how well the marks are placed, 1-sigma, mm; 0 means 0.5
	Reach   float64 // how far the canal may bow away from the line between two marks, mm; 0 means a quarter of their distance, at least 10
	Low     float64 // confidence below which a stretch is named in Path.Low; 0 means 0.6
	Least   float64 // confidence below which a stretch of 3 mm makes the path unlikely; 0 means 0.3

	AllowUnlikely bool // return an unlikely path, see [ErrUnlikely], with what is unlikely in Path.Unlikely
}

func (o Options) withDefaults() Options {
	def := func(x *float64, d float64) {
		if *x == 0 {
			*x = d
		}
	}
	def(&o.Spacing, 1)
	def(&o.MarkSD, 0.5)
	def(&o.Low, 0.6)
	def(&o.Least, 0.3)
	return o
}

func (o Options) check() error {
	for _, f := range []struct {
		name      string
		x, lo, hi float64
	}{
		{"spacing", o.Spacing, 0.1, 10}, {"mark sd", o.MarkSD, 0.01, 5},
		{"reach", o.Reach, 0, 40}, {"low confidence", o.Low, 0, 1},
		{"least confidence", o.Least, 0, 1},
	} {
		if !(f.x >= f.lo && f.x <= f.hi) {
			return fmt.Errorf("trace: %s %g is not within %g to %g", f.name, f.x, f.lo, f.hi)
		}
	}
	return nil
}

const (
	nearest  = 1.0   // mm; two marks closer than this are one mark
	farthest = 150.0 // mm; no canal of a jaw is longer, and memory grows with it
)

// Follow returns the path of the canal that runs through the marks, in their order: the
// minimal path over a tube measure at the canal's scale between each mark and the next,
// re-centred on the canal in planes across it. Marks are patient positions (LPS, mm) inside
// the canal; being 1 mm off its centre does no harm.
//
// A mark that is not finite, repeats its neighbour, or lies outside the field or on a blank
// voxel comes back as a [*MarkError]. Where blank voxels or the field's edge leave no way from
// a mark to the next, the error wraps [ErrNoPath]. A path that is unlike a canal (longer than 1.6 times
// the marks' distance, turning back between two of them, or not shown by the picture over 3 mm)
// is refused with an error wrapping [ErrUnlikely], unless o.AllowUnlikely.
//
// Source: Sethian JA. Proc Natl Acad Sci 1996;93:1591–1595. doi:10.1073/pnas.93.4.1591
// Source: Cohen LD, Kimmel R. Int J Comput Vis 1997;24:57–78. doi:10.1023/A:1007922224810
// (both from memory).
func Follow(ctx context.Context, v *volume.Volume, marks []r3.Vec, o Options) (*Path, error) {
	o = o.withDefaults()
	if err := o.check(); err != nil {
		return nil, err
	}
	if err := checkVolume(v); err != nil {
		return nil, err
	}
	if err := checkMarks(v, marks); err != nil {
		return nil, err
	}
	path, err := rough(ctx, v, marks, o)
	if err != nil {
		return nil, err
	}
	p, err := recentre(ctx, v, path, marks, o)
	if err != nil {
		return nil, err
	}
	return p.judge(marks, o)
}

// rough returns the minimal path through all marks, before re-centring.
func rough(ctx context.Context, v *volume.Volume, marks []r3.Vec, o Options) ([]r3.Vec, error) {
	var legs [][]r3.Vec
	for i := range len(marks) - 1 { // one box in memory at a time
		l, err := leg(ctx, v, marks[i], marks[i+1], o)
		if errors.Is(err, ErrNoPath) {
			return nil, fmt.Errorf("%w from mark %d to mark %d; set a mark between them", err, i+1, i+2)
		}
		if err != nil {
			return nil, err
		}
		legs = append(legs, l)
	}
	return join(legs, marks), nil
}

// join returns the legs in one row. About the marks between them it leaves a gap, because a
// mark beside the canal draws both legs aside; the re-centred path closes it.
func join(legs [][]r3.Vec, marks []r3.Vec) []r3.Vec {
	const gap = 1.5 // mm
	var path []r3.Vec
	for i, l := range legs {
		for _, p := range l {
			before := i > 0 && r3.Norm(r3.Sub(p, marks[i])) < gap
			after := i < len(legs)-1 && r3.Norm(r3.Sub(p, marks[i+1])) < gap
			if !before && !after {
				path = append(path, p)
			}
		}
	}
	return path
}

// leg returns the minimal path from mark a to mark b.
func leg(ctx context.Context, v *volume.Volume, a, b r3.Vec, o Options) ([]r3.Vec, error) {
	box, err := newBox(ctx, v, a, b, o.Reach)
	if err != nil {
		return nil, err
	}
	tube := newTube(box)
	from, to := tube.snap(a), tube.snap(b)
	tube.calibrate(from, to)
	f := newFront(box.n, box.step, tube.speed)
	if err := f.run(ctx, box.node(from), box.node(to), 2); err != nil {
		return nil, err
	}
	down, err := f.descend(box.node(to), box.node(from))
	if err != nil {
		return nil, err
	}
	path := make([]r3.Vec, len(down))
	for i, p := range down {
		path[len(down)-1-i] = box.patient(p)
	}
	return path, nil
}

func checkVolume(v *volume.Volume) error {
	if v == nil {
		return fmt.Errorf("%w: no volume", volume.ErrGrid)
	}
	if err := v.Check(); err != nil {
		return err
	}
	n := v.Size
	if len(v.Stored) != n[0]*n[1]*n[2] || (len(v.Rescale) != 1 && len(v.Rescale) != n[2]) {
		return fmt.Errorf("%w: %d values and %d rescales for %v voxels", volume.ErrGrid, len(v.Stored), len(v.Rescale), n)
	}
	return nil
}

func checkMarks(v *volume.Volume, marks []r3.Vec) error {
	if len(marks) < 2 {
		return fmt.Errorf("%w: %d given; a canal is followed between two or more", ErrMarks, len(marks))
	}
	for i, m := range marks {
		fail := func(err error, remedy string) error { return &MarkError{i, m, err, remedy} }
		switch {
		case !fit.Finite(m):
			return fail(ErrMarks, "not a finite position")
		case !v.Contains(v.Index(m)):
			return fail(ErrOutside, "move it inside the scanned field")
		case math.IsNaN(v.At(m)):
			return fail(ErrBlank, "the voxel is blank (padding); move it into the picture")
		case i > 0 && r3.Norm(r3.Sub(m, marks[i-1])) < nearest:
			return fail(ErrMarks, fmt.Sprintf("closer than %g mm to the mark before it; remove one of them", nearest))
		case i > 0 && r3.Norm(r3.Sub(m, marks[i-1])) > farthest:
			return fail(ErrMarks, fmt.Sprintf("farther than %g mm from the mark before it; set a mark between them", farthest))
		}
	}
	return nil
}
