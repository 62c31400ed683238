package align

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"
)

// ErrSource is the fault of positions that must not be used as data for a fit, however good their numbers look.
var ErrSource = errors.New("align: no data for a fit")

// Position is where one implant stands: the centre of its platform and its axis.
type Position struct {
	Name  string  // tooth (ISO 3950) or any other label
	At    r3.Vec  // centre of the platform, mm
	Axis  r3.Vec  // unit vector from the platform to the apex
	U     float64 // standard uncertainty of each coordinate of At, mm; NaN: not known
	UAxis float64 // standard uncertainty of the axis about each of two directions across it, deg; NaN: not known
}

// Set is the positions of one case in one frame.
type Set struct {
	Positions []Position
	Frame     string // name of the frame; no patient's coordinates unless it says so
	Source    string // how the positions were recorded, in the user's words; "" is not known
	Planned   bool   // a plan: its positions are exact by definition, unless they bear an uncertainty
	SHA256    string // of the file's bytes; "": there was none
}

// refusedSources are words by which a source says that the positions were read off a CT.
var refusedSources = []string{"cbct", "cone beam", "cone-beam", "ct", "dvt", "dicom", "tomography"}

// CheckSource returns [ErrSource], with the reason, where the words say that the positions were measured in a CT.
//
// Planned and placed agree to 0.1 to 0.5 mm in CBCT, and a placed implant is located in it to about 0.2 mm and 0.5°; a
// framework's fit is a matter of 0.02 to 0.1 mm. Sources: docs/positions.md.
func CheckSource(words string) error {
	text := strings.ToLower(words)
	fields := strings.FieldsFunc(text, func(r rune) bool { return r != '-' && (r < 'a' || r > 'z') })
	for _, w := range refusedSources {
		if slices.Contains(fields, w) || strings.Contains(w, " ") && strings.Contains(text, w) {
			return fmt.Errorf("%w: the positions were measured in a CT (%q): its errors, 0.1 to 0.5 mm, are ten times those of a recording "+
				"of scan bodies, and a framework made from them would not fit; record the positions with an intra-oral or a desktop scan, "+
				"by photogrammetry or on a verified model", ErrSource, words)
		}
	}
	return nil
}

// common returns the positions that both sets name, in the order of the first, and the names that only one has.
func common(a, b Set) (from, to []Position, only []string) {
	for _, p := range a.Positions {
		i := slices.IndexFunc(b.Positions, func(q Position) bool { return q.Name == p.Name })
		if i < 0 {
			only = append(only, p.Name+" (in the first set)")
			continue
		}
		from, to = append(from, p), append(to, b.Positions[i])
	}
	for _, q := range b.Positions {
		if !slices.ContainsFunc(a.Positions, func(p Position) bool { return p.Name == q.Name }) {
			only = append(only, q.Name+" (in the second set)")
		}
	}
	return from, to, only
}

func places(list []Position) []r3.Vec {
	out := make([]r3.Vec, len(list))
	for i, p := range list {
		out[i] = p.At
	}
	return out
}

// alongArch returns the places of the positions in the order in which they stand along the arch, from the patient's right
// in the upper jaw's numbers and the lower's alike, where all names are teeth of one jaw; else false.
func alongArch(list []Position) ([]int, bool) {
	order := make([]int, len(list))
	rank := make([]int, len(list))
	upper := 0
	for i, p := range list {
		order[i] = i
		n, err := strconv.Atoi(p.Name)
		q, k := n/10, n%10
		if err != nil || q < 1 || q > 4 || k < 1 || k > 8 {
			return nil, false
		}
		if rank[i] = k; q == 1 || q == 4 { // the patient's right
			rank[i] = -k
		}
		if q <= 2 {
			upper++
		}
	}
	if upper != 0 && upper != len(list) {
		return nil, false
	}
	slices.SortStableFunc(order, func(a, b int) int { return rank[a] - rank[b] })
	return order, true
}

// Directions are the two directions across an implant's axis into which a deviation is split, unit vectors.
type Directions struct{ Mesial, Buccal r3.Vec }

// directionsOf returns the directions at each position; nil where the names or the places do not tell them.
//
// The line along the arch runs from the neighbour before to the neighbour behind; mesial of it is toward the midline,
// buccal is across it and the axis, away from the centroid of all platforms.
func directionsOf(list []Position) []*Directions {
	out := make([]*Directions, len(list))
	order, ok := alongArch(list)
	if !ok || len(list) < 3 {
		return out
	}
	c := centroid(places(list))
	for k, i := range order {
		p := list[i]
		before, behind := list[order[max(k-1, 0)]], list[order[min(k+1, len(order)-1)]]
		left := across(r3.Sub(behind.At, before.At), p.Axis)
		outward := r3.Sub(p.At, c)
		if r3.Norm(left) < 1 { // two platforms over one another say no direction
			continue
		}
		left = r3.Unit(left)
		buccal := r3.Cross(left, p.Axis)
		side := r3.Dot(buccal, outward)
		if math.Abs(side) < leastOffLine { // on a straight row nobody can tell buccal from lingual
			continue
		}
		d := &Directions{Mesial: left, Buccal: r3.Scale(math.Copysign(1, side), buccal)}
		if n, _ := strconv.Atoi(p.Name); n/10 == 2 || n/10 == 3 {
			d.Mesial = r3.Scale(-1, left)
		}
		out[i] = d
	}
	return out
}

// across returns the part of v perpendicular to the unit vector axis.
func across(v, axis r3.Vec) r3.Vec { return r3.Sub(v, r3.Scale(r3.Dot(v, axis), axis)) }

// frameOf returns two unit vectors across a unit vector and each other.
func frameOf(axis r3.Vec) (u, w r3.Vec) {
	u = r3.Vec{X: 1}
	if math.Abs(axis.X) > 0.7 {
		u = r3.Vec{Y: 1}
	}
	u = r3.Unit(across(u, axis))
	return u, r3.Cross(axis, u)
}
