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

// Answer says what the image shows of a canal at a piece of a marked path.
type Answer int

// The answers of [Look]. Only Elsewhere speaks against a mark; Seen does not make it surer than its sd.
const (
	NotTested Answer = iota // the image was not asked: Piece.Why says why
	Seen                    // a tube like a canal lies at the mark
	NotShown                // the image shows no canal here: the mark stands alone
	Elsewhere               // a clearly more canal-like tube lies beside the mark
)

// String returns the answer in words.
func (a Answer) String() string {
	return [...]string{"not tested", "seen", "not shown by this image", "elsewhere"}[a]
}

// Sphere is a part of the patient that is not looked at.
type Sphere struct {
	At     r3.Vec  // centre, patient LPS, mm
	Radius float64 // mm
}

// LookOptions are what [Look] is told beside the image and the path.
type LookOptions struct {
	SD float64 // of the marking, 1-sigma, mm

	// Depth returns how deep below the bone's outer surface a point (patient LPS, mm) lies, in mm:
	// negative outside the bone, NaN where nobody knows. The image is asked only where it is known.
	Depth func(r3.Vec) float64

	Skip  []Sphere // not tested inside these, such as 5 mm around a mental foramen
	Metal float64  // grey value from which a voxel is metal; 0: told from the greys of this bone
}

// Piece is the answer for a piece of the path. The pieces of a path follow each other without gaps.
type Piece struct {
	From, To float64 // arc length along the path, mm
	At       r3.Vec  // the path at the piece's middle, patient LPS, mm
	Answer   Answer
	Why      string // why it was not tested; "" where it was

	// Where the most canal-like tube outside the mark's tolerance crosses the piece's middle plane,
	// patient LPS, mm, and how far from At that is, mm. Zero where there is none; a finding only
	// where Answer is Elsewhere.
	Rival r3.Vec
	Away  float64

	// How canal-like the best place within the mark's tolerance is, the rival, and what is neither in this
	// bone; and how uneven marrow is here. Shares of the step from marrow to cortex; no unit.
	Here, There, Usual, Noise float64
}

const (
	pieceLength  = 10.0 // mm; marrow spaces average out over it, a canal does not. Shorter alarms more often
	leastLength  = 5.0  // mm; what is left between skipped parts and is shorter is not tested
	pathStep     = 0.5  // mm between the planes across the path
	leastAway    = 1.5  // mm; a rival nearer than this is the marked canal itself
	farthestAway = 8.2  // mm; 8 mm and half a cell
)

// ErrPath says that a marked path cannot be looked at: fewer than two points, or one that is not finite.
var ErrPath = errors.New("trace: unusable path")

// Look returns what the image shows along a marked canal, piece by piece (about 10 mm each): a
// canal at the mark, none, or a clearly more canal-like tube between the mark's tolerance,
//
//	max(1.5 mm, 2·SD + one voxel)
//
// and 8 mm beside it. A place is as canal-like as it is darker than the brightest grey on each of
// 16 ways out, of which the two least count: an edge of cortex, a slit between plates, a socket or a
// groove has a way out that stays dark. A wall counts for a quarter of the step from marrow to
// cortex at most, and what goes on behind it, as a plate does, for little. All greys are those of
// this bone, all along the path; their scale and offset and the volume's axes do not matter.
//
// A path that is none comes back as an error wrapping [ErrPath].
func Look(ctx context.Context, v *volume.Volume, path []r3.Vec, o LookOptions) ([]Piece, error) {
	if err := checkVolume(v); err != nil {
		return nil, err
	}
	if err := checkPath(path, o); err != nil {
		return nil, err
	}
	pieces, crossings := divide(v, path, o)
	err := parallel(ctx, len(crossings), func(i int) { crossings[i].sample(v, o.Depth) })
	if err != nil {
		return nil, err
	}
	g := levelsOf(crossings)
	err = parallel(ctx, len(crossings), func(i int) { crossings[i].search(v, o, g) })
	if err != nil {
		return nil, err
	}
	usual := usualScore(crossings)
	for _, c := range crossings {
		c.answer(usual, tolerance(v, o), &pieces[c.piece])
	}
	return pieces, nil
}

// tolerance returns how far from the mark a tube is still the marked one, mm.
func tolerance(v *volume.Volume, o LookOptions) float64 {
	s := v.Spacing()
	return max(leastAway, 2*o.SD+max(s[0], s[1], s[2]))
}

func checkPath(path []r3.Vec, o LookOptions) error {
	if !(o.SD >= 0 && o.SD < 10) {
		return fmt.Errorf("%w: sd %g mm is not within 0 to 10", ErrPath, o.SD)
	}
	length := 0.0
	for i, p := range path {
		if !fit.Finite(p) {
			return fmt.Errorf("%w: point %d is not a finite position", ErrPath, i+1)
		}
		if i > 0 {
			length += r3.Norm(r3.Sub(p, path[i-1]))
		}
	}
	if !(length > 0 && length < 10*farthest) {
		return fmt.Errorf("%w: %d points over %g mm; a canal is a line of two points or more", ErrPath, len(path), length)
	}
	return nil
}

// divide cuts the path into pieces. Those that can be tested come with a crossing.
func divide(v *volume.Volume, path []r3.Vec, o LookOptions) (pieces []Piece, crossings []*crossing) {
	points, step := evenly(path)
	why := make([]string, len(points))
	for i, p := range points {
		why[i] = untested(v, p, o)
	}
	for from := 0; from < len(points)-1; {
		to := from + 1
		for to < len(points)-1 && why[to] == why[from] {
			to++
		}
		length := step * float64(to-from)
		n, reason := max(1, int(math.Round(length/pieceLength))), why[from]
		if reason == "" && length < leastLength {
			reason = fmt.Sprintf("only %.1f mm of the path can be looked at here", length)
		}
		if reason != "" {
			n = 1
		}
		for k := range n {
			a, b := from+k*(to-from)/n, from+(k+1)*(to-from)/n
			p := Piece{From: step * float64(a), To: step * float64(b), At: points[(a+b)/2], Why: reason}
			if reason == "" {
				crossings = append(crossings, newCrossing(points[a:b+1], len(pieces)))
			}
			pieces = append(pieces, p)
		}
		from = to
	}
	return pieces, crossings
}

// untested says why the path cannot be looked at in p; "" when it can.
func untested(v *volume.Volume, p r3.Vec, o LookOptions) string {
	for _, s := range o.Skip {
		if r3.Norm(r3.Sub(p, s.At)) <= s.Radius {
			return "too near a place that is not looked at"
		}
	}
	if !v.Contains(v.Index(p)) || math.IsNaN(v.At(p)) {
		return "outside the field"
	}
	return ""
}

// evenly returns points every pathStep or so along the polyline, and their distance along it.
func evenly(path []r3.Vec) ([]r3.Vec, float64) {
	s := make([]float64, len(path))
	for i := 1; i < len(path); i++ {
		s[i] = s[i-1] + r3.Norm(r3.Sub(path[i], path[i-1]))
	}
	total := s[len(s)-1]
	n := max(1, int(math.Round(total/pathStep)))
	points, k := make([]r3.Vec, n+1), 1
	for i := range points {
		at := total * float64(i) / float64(n)
		for k < len(path)-1 && s[k] < at {
			k++
		}
		f := 0.0
		if d := s[k] - s[k-1]; d > 0 {
			f = min(1, max(0, (at-s[k-1])/d))
		}
		points[i] = r3.Add(path[k-1], r3.Scale(f, r3.Sub(path[k], path[k-1])))
	}
	return points, total / float64(n)
}
