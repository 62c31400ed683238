package propose

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/fit"
	"ridgerule/measure/reformat"
)

// Which part of what was found is the arch, and whether it may be proposed.

// judge makes the last sections the proposal's arch, or refuses.
func (w *work) judge() error {
	h := w.heights()
	u, seen := w.offsets(h)
	from, to := w.ends(seen)
	from, to = w.trim(h, from, to)
	var out []r3.Vec
	var off []float64
	for i := from; i < to; i++ {
		out = append(out, w.cuts[i].frame.Patient(reformat.UV{U: u[i], V: h[i]}))
		if !math.IsNaN(seen[i]) {
			off = append(off, math.Abs(seen[i]-u[i]))
		}
	}
	if float64(len(off)) < leastCuts*float64(to-from) || len(off) < 5 {
		return noArch("only %d of %d sections along it show a ridge", len(off), to-from)
	}
	slices.Sort(off)
	if o := off[len(off)*9/10]; o > wanders {
		return noArch("the ridge's middle leaves a smooth curve by %.1f mm", o)
	}
	if width := w.width(h, from, to); width < thinnest {
		return noArch("what runs along it is a plate %.1f mm thick", width)
	}
	w.cuts = w.cuts[from:to]
	c, err := reformat.NewCurve(out, w.Occlusal)
	if err != nil {
		return noArch("the curve through the bone turns back on itself")
	}
	w.curve, w.Arch = c, out
	if w.whole {
		return w.shape()
	}
	if c.Length() < leastPiece {
		return noArch("the piece in the field is %.0f mm long", c.Length())
	}
	return nil
}

// width returns the median width of the ridge where the arch runs, in the sections [from, to), mm.
func (w *work) width(h []float64, from, to int) float64 {
	var all []float64
	for i := from; i < to; i++ {
		if r, ok := w.cuts[i].at(h[i]); ok {
			all = append(all, r.width)
		}
	}
	return fit.Median(all)
}

// trim cuts off the ends where the arch leaves its own plane, the ramus or the tuberosity, and what lies farther from
// the front than any tooth.
func (w *work) trim(h []float64, from, to int) (int, int) {
	if !w.whole {
		return from, to
	}
	var all []r3.Vec
	for i := range w.cuts {
		all = append(all, w.cuts[i].frame.Patient(reformat.UV{V: h[i]}))
	}
	n, _ := planeOf(all[from:to], w.Occlusal)
	var level []float64
	for _, p := range all[from:to] {
		level = append(level, r3.Dot(p, n))
	}
	at := fit.Quantile(level, 0.5)
	off := func(i int) bool { return math.Abs(r3.Dot(all[i], n)-at) > offPlane }
	for from < to-5 && off(from) {
		from++
	}
	for to > from+5 && off(to-1) {
		to--
	}
	for range 2 { // cutting one end moves the front a little
		front := farthestFrom(all[from:to]) + from
		reach := int(halfArch / cutStep)
		from, to = max(from, front-reach), min(to, front+reach+1)
	}
	return from, to
}

// farthestFrom returns the number of the point farthest from the line between the first and the last.
func farthestFrom(points []r3.Vec) (at int) {
	first := points[0]
	dir := r3.Unit(r3.Sub(points[len(points)-1], first))
	most := 0.0
	for i, p := range points {
		d := r3.Sub(p, first)
		if off := r3.Norm(r3.Sub(d, r3.Scale(r3.Dot(d, dir), dir))); off > most {
			most, at = off, i
		}
	}
	return at
}

// shape refuses a whole arch that has no jaw's size, mm. Widths and depths of adult arches lie well inside.
func (w *work) shape() error {
	first, last := w.Arch[0], w.Arch[len(w.Arch)-1]
	flat := func(d r3.Vec) r3.Vec { return r3.Sub(d, r3.Scale(r3.Dot(d, w.Occlusal), w.Occlusal)) }
	width := r3.Norm(flat(r3.Sub(last, first)))
	ends := r3.Scale(0.5, r3.Add(first, last))
	depth, front := 0.0, 0.0
	for _, p := range w.Arch {
		d := flat(r3.Sub(p, ends))
		depth = math.Max(depth, r3.Norm(d))
		front = math.Max(front, -d.Y)
	}
	switch {
	case width < 25 || width > 90:
		return noArch("the arch's ends lie %.0f mm apart", width)
	case depth < 20 || depth > 80:
		return noArch("the arch is %.0f mm deep", depth)
	case front < 0.7*depth:
		return noArch("the arch does not open toward the back by the scan's header")
	}
	return nil
}
