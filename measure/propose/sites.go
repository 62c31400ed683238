package propose

import (
	"context"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/plan"
	"ridgerule/measure/reformat"
	"ridgerule/measure/ridge"
)

// What stands along the arch: the midline, candidate sites, and the
// floors of the cavities over an upper ridge.

const (
	farthest   = 56.0 // mm from the midline: past the second molar no site is proposed
	endMargin  = 3.0  // mm from the arch's ends
	toothWidth = 4.0  // mm: a standing tooth takes sites this near
)

// midline takes the midline from the arch's shape, as a plan's checks do, and holds the arch against the rules of a plan.
func (w *work) midline() error {
	bare := plan.Plan{Contents: plan.Contents{Case: "proposed", Jaw: w.Jaw, Arch: w.Arch}, OcclusalGiven: w.Occlusal}
	placed, err := bare.Place(w.v.Grid, nil)
	if err != nil {
		return noArch("no plan could have it: %v", err)
	}
	w.marks = placed.Landmarks
	if !w.whole || !w.marks.Known() {
		w.none("midline: the field does not show both sides of the jaw; sites have no tooth numbers")
		return nil
	}
	p := w.curve.At(w.zero())
	w.Midline = &p
	return nil
}

// zero returns the arc length of the midline, or of the arch's first point where there is none, mm.
func (w *work) zero() float64 {
	if !w.whole || !w.marks.Known() {
		return 0
	}
	return -w.marks.Leftward * w.marks.FromMidline(0)
}

func (p *Proposal) none(format string, args ...any) {
	p.None = append(p.None, fmt.Sprintf(format, args...))
}

// sites places candidates along the arch, evenly from the midline or else from the arch's first point. Where
// a tooth stands none is proposed, unless teeth stand everywhere.
func (w *work) sites(spacing float64) {
	length := w.curve.Length()
	zero, first := w.zero(), endMargin
	if w.Midline != nil {
		first = zero + spacing/2 - spacing*math.Floor((zero+spacing/2-endMargin)/spacing)
	}
	var all, free []Site
	for s := first; s <= length-endMargin; s += spacing {
		if w.Midline != nil && math.Abs(s-zero) > farthest {
			continue
		}
		site := Site{At: w.curve.At(s), Arc: s - zero, Standing: w.standing(s)}
		if w.Midline != nil {
			site.Tooth = tooth(w.Jaw, site.Arc)
		}
		all = append(all, site)
		if !site.Standing {
			free = append(free, site)
		}
	}
	w.Sites = free
	if len(free) == 0 {
		w.Sites = all
	}
	if len(w.Sites) == 0 {
		w.none("sites: the arch is too short for any at this spacing")
	}
}

// standing reports whether something denser than bone stands over the crest at arc length s.
func (w *work) standing(s float64) bool {
	for _, k := range w.cuts {
		if at, _ := w.curve.Project(k.frame.Origin); k.tooth && math.Abs(at-s) < toothWidth/2 {
			return true
		}
	}
	return false
}

// tooth returns the ISO 3950 number of the tooth whose usual place is nearest to arc mm from the midline, + to
// the patient's left.
func tooth(j plan.Jaw, arc float64) string {
	quadrant := map[plan.Jaw][2]int{plan.Maxilla: {1, 2}, plan.Mandible: {4, 3}}[j]
	side := 0
	if arc > 0 {
		side = 1
	}
	return fmt.Sprintf("%d%d", quadrant[side], plan.NearestTooth(j, math.Abs(arc)))
}

// Where along the arch which cavity is looked for, mm from the midline: over the front teeth the nose, from
// the first premolar on a sinus; over the canine either may lie, and none is proposed.
const (
	noseTo     = 14.0
	sinusFrom  = 21.0
	floorJump  = 6.0 // mm: by which a floor may change from section to section
	leastNodes = 3
)

// node is a place of a cavity's floor.
type node struct {
	at    r3.Vec
	depth float64 // below the crest, mm
}

// cavities looks for the floors of sinuses and nose over the arch.
func (w *work) cavities(ctx context.Context) {
	if w.Midline == nil {
		w.none("sinus, nasal floor: without a midline they cannot be told from each other")
		return
	}
	zero := w.zero()
	var left, right, nose []*node
	for s := endMargin; s < w.curve.Length(); s += cutStep {
		if ctx.Err() != nil {
			return
		}
		switch arc := s - zero; {
		case math.Abs(arc) <= noseTo:
			nose = append(nose, w.floor(s))
		case arc >= sinusFrom:
			left = append(left, w.floor(s))
		case arc <= -sinusFrom:
			right = append(right, w.floor(s))
		}
	}
	w.cavity("right sinus", "sinus", right)
	w.cavity("left sinus", "sinus", left)
	w.cavity("nasal floor", "nasal_floor", nose)
}

// floor looks for a cavity over the ridge at arc length s; nil where there is none.
func (w *work) floor(s float64) *node {
	f := w.curve.Frame(s)
	o, err := ridge.Trace(reformat.NewField(w.v, f), w.tissue)
	if err != nil {
		return nil
	}
	down := reformat.UV{V: -1}
	a, err := o.Fit().FindAxis(&down)
	if err != nil { // a tooth, most likely: from the curve's own height on
		a = ridge.Axis{Crest: reformat.UV{V: underTop}, Dir: down}
	}
	a.Crest.U, a.Crest.V = 0, math.Min(a.Crest.V, underTop+3)
	at, depth, ok := o.RoughFloor(a)
	if !ok {
		return nil
	}
	return &node{f.Patient(reformat.UV{U: at.U, V: at.V - CavityRadius}), depth}
}

// cavity proposes the longest run of neighbouring nodes.
func (w *work) cavity(name, kind string, nodes []*node) {
	var best, run []r3.Vec
	last := 0.0
	for _, n := range nodes {
		if n == nil || len(run) > 0 && math.Abs(n.depth-last) > floorJump {
			run = nil
		}
		if n == nil {
			continue
		}
		run, last = append(run, n.at), n.depth
		if len(run) > len(best) {
			best = run
		}
	}
	if len(best) < leastNodes {
		w.none("%s: no floor of a cavity is seen over the ridge there", name)
		return
	}
	w.Cavities = append(w.Cavities, Cavity{name, kind, append([]r3.Vec(nil), best...)})
}
