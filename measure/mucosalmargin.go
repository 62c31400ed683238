package measure

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/quantity"
	"ridgerule/measure/reformat"
	"ridgerule/measure/safety"
)

// Where the planned mucosa meets the planned tooth, against the implant's platform. The plane through the implant's axis toward each side cuts
// both surfaces: the margin is where the mucosa's line comes nearest to the tooth's.

// farthestMargin is how far the mucosa's line may end from the tooth's, mm: a set-up's mucosa is often cut free of the teeth. Our choice.
const farthestMargin = 1.0

var marginSides = []string{"buccal", "lingual", "mesial", "distal"}

// mucosalRows adds how far above the platform the planned mucosal margin lies on each side.
func (c *run) mucosalRows(s *site, im *safety.Implant, t tooth) {
	if c.plan.Restoration.Mucosa == nil {
		return
	}
	mesial := c.mesial(s, s.frame.Arc)
	for i, dir := range []r3.Vec{s.frame.U, r3.Scale(-1, s.frame.U), mesial, r3.Scale(-1, mesial)} {
		row := newRow(quantity.MucosalMargin, marginSides[i], "")
		f, ok := sideFrame(im, dir)
		if !ok {
			row.Note = "the implant's axis runs toward this side"
			s.add(row)
			continue
		}
		sheet := c.plan.Restoration.Mucosa
		at, why := margin(f.Cut(sheet.Points, sheet.Triangles), f.Cut(t.sheet.Points, t.sheet.Triangles))
		if why != "" {
			row.Note = why
			s.add(row)
			continue
		}
		b := c.alignedBudget(f.Patient(at), f.V, 1)
		if b != nil {
			b = append(append(b, c.poseTerms(s)...), c.scaleShare(at.V, 1))
		}
		row = row.with(at.V, b)
		row.Note = "information, never judged" + c.alignedNote()
		if at.V < 0 {
			row.Note = "the platform stands above the planned mucosal margin by " + mm(-at.V) + "; " + row.Note
		}
		s.add(row)
	}
}

func (c *run) noMargin(s *site, why string) {
	if c.plan.Restoration.Mucosa == nil {
		return
	}
	for _, side := range marginSides {
		s.add(newRow(quantity.MucosalMargin, side, why))
	}
}

// sideFrame is the plane through the platform's middle, along the axis and toward dir; V is away from the apex.
func sideFrame(im *safety.Implant, dir r3.Vec) (reformat.Frame, bool) {
	u := r3.Sub(dir, r3.Scale(r3.Dot(dir, im.Axis), im.Axis))
	if r3.Norm(u) < grazing {
		return reformat.Frame{}, false
	}
	u = r3.Unit(u)
	v := r3.Scale(-1, im.Axis)
	return reformat.Frame{Origin: im.Platform, U: u, V: v, T: r3.Cross(u, v)}, true
}

// margin returns the place of the mucosa's lines nearest to the tooth's, beyond the tooth's middle toward u; of two as near the more coronal. The text says why
// there is none.
func margin(mucosa, tooth [][]reformat.UV) (at reformat.UV, why string) {
	low, high := math.Inf(1), math.Inf(-1)
	for _, line := range tooth {
		for _, p := range line {
			low, high = min(low, p.U), max(high, p.U)
		}
	}
	if low > high {
		return at, "the plane toward this side does not meet the planned tooth"
	}
	nearest := math.Inf(1)
	for _, m := range segments(mucosa, (low+high)/2) {
		for _, t := range segments(tooth, (low+high)/2) {
			p, d := nearestOf(m, t)
			if d < nearest-1e-9 || d < nearest+1e-9 && p.V > at.V {
				nearest, at = min(d, nearest), p
			}
		}
	}
	switch {
	case math.IsInf(nearest, 1):
		return at, "the planned mucosa is not there on this side"
	case nearest > farthestMargin:
		return at, fmt.Sprintf("the planned mucosa ends %s from the planned tooth on this side", mm(nearest))
	}
	return at, ""
}

// segments lists the pieces of lines that lie beyond u = from with one end at least.
func segments(lines [][]reformat.UV, from float64) (out [][2]reformat.UV) {
	for _, line := range lines {
		for i := 1; i < len(line); i++ {
			if max(line[i-1].U, line[i].U) > from {
				out = append(out, [2]reformat.UV{line[i-1], line[i]})
			}
		}
	}
	return out
}

// nearestOf returns the point of a nearest to b, and their distance, mm.
func nearestOf(a, b [2]reformat.UV) (reformat.UV, float64) {
	minus := func(p, q reformat.UV) reformat.UV { return reformat.UV{U: p.U - q.U, V: p.V - q.V} }
	along := func(s [2]reformat.UV, t float64) reformat.UV {
		return reformat.UV{U: s[0].U + t*(s[1].U-s[0].U), V: s[0].V + t*(s[1].V-s[0].V)}
	}
	da, db, off := minus(a[1], a[0]), minus(b[1], b[0]), minus(b[0], a[0])
	if den := da.U*db.V - da.V*db.U; den != 0 {
		t, k := (off.U*db.V-off.V*db.U)/den, (off.U*da.V-off.V*da.U)/den
		if t >= 0 && t <= 1 && k >= 0 && k <= 1 {
			return along(a, t), 0
		}
	}
	share := func(s [2]reformat.UV, p reformat.UV) float64 { // of s, nearest to p
		d := minus(s[1], s[0])
		n := dotUV(d, d)
		if n == 0 {
			return 0
		}
		return max(0, min(1, dotUV(minus(p, s[0]), d)/n))
	}
	best, at := math.Inf(1), a[0]
	try := func(p, q reformat.UV) {
		if d := math.Hypot(p.U-q.U, p.V-q.V); d < best {
			best, at = d, p
		}
	}
	for k := range 2 {
		try(a[k], along(b, share(b, a[k])))
		try(along(a, share(a, b[k])), b[k])
	}
	return at, best
}
