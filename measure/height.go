package measure

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/cells"
	"ridgerule/measure/fit"
	"ridgerule/measure/plan"
	"ridgerule/measure/quantity"
	"ridgerule/measure/reformat"
	"ridgerule/measure/ridge"
	"ridgerule/measure/safety"
	"ridgerule/measure/uncertainty"
)

// height is a ridge height and what it ends at. to is empty when there is none, and why says why;
// with a height, why may carry a caution.
type height struct {
	uncertainty.Length
	to   Limit
	name string // of the structure
	why  string
	end  reformat.UV
	seen bool   // found in the image, not marked
	open string // why it is not the limit that was asked for; empty: it is
}

// heightRow finds the limit that the plan asks for and adds the height's row.
func (c *run) heightRow(s *site) {
	s.height = c.findHeight(s)
	row := newRow(quantity.RidgeHeight, string(s.height.to), s.height.why)
	if s.height.to != "" {
		row = length(quantity.RidgeHeight, nil, s.height.Length)
		row.To, row.Note = string(s.height.to), s.height.why
		s.out.HeightTo, s.out.HeightEnd, s.out.HeightOpen = s.height.to, s.height.end, s.height.open
	}
	s.add(row)
}

// findHeight returns the height to the limit asked for; auto takes the first one met.
func (c *run) findHeight(s *site) height {
	want := s.plan.HeightTo
	if want != ToAuto && want != "" {
		return s.toBase(c.heightTo(s, want))
	}
	best := height{why: "no limit was marked or found along the axis"}
	var reasons []string
	for _, limit := range c.limits(s) {
		h := c.heightTo(s, limit)
		if h.to == "" {
			if best.to == "" {
				reasons = append(reasons, h.why)
				best.why = strings.Join(unique(reasons), "; ")
			}
			continue
		}
		if best.to == "" || h.Value < best.Value-sameEnd {
			best = h
		}
	}
	if best.wall() {
		best.why, best.open = NotToBase, NotToBase
	}
	if (best.to == ToBorder || best.wall()) && c.mayHaveCanal(s) {
		best.why = cells.Note(best.why, "canal not marked in this section: the height runs to the "+quantity.InWords(best.to)+", past where the canal may lie")
		best.open = cells.Note(best.open, "canal not marked")
	}
	return best
}

// NotToBase says of a length along the axis that it ends at a side wall.
const NotToBase = "not a height of bone to the base"

// wall reports whether the length ends at a side wall of the ridge.
func (h height) wall() bool { return h.to == ToBuccalWall || h.to == ToLingualWall }

// toBase returns a height that was asked for to the border, and none, with the remedy, where it is only a
// length to a side wall.
func (s *site) toBase(h height) height {
	if !h.wall() {
		return h
	}
	remedy := "give axis: occlusal, or a vector, in the plan"
	if s.plan.Axis != AxisRidge && s.plan.Axis != "" {
		remedy = "give another axis in the plan"
	}
	return height{why: fmt.Sprintf("the axis leaves the bone through its %s, %.1f mm below the crest, and not at the base: no height to the border; %s", quantity.InWords(h.to), h.Value, remedy)}
}

// sameEnd is how close two limits are one and the same surface, mm: a sinus that opens into the
// nose is a cavity and the end of the outline too, and is then called a sinus.
const sameEnd = 0.3

// limits are the limits a height can meet in this jaw, the ones with a name first.
func (c *run) limits(s *site) []Limit {
	switch {
	case c.plan.Jaw == Mandible:
		return []Limit{ToCanal, ToBorder}
	case posterior(s.plan.Tooth):
		return []Limit{ToSinus, ToBorder}
	}
	return []Limit{ToNasalFloor, ToSinus, ToBorder}
}

// posteriorFrom is the number of the first tooth over a canal or under a sinus.
const posteriorFrom = 4

// posterior reports whether the tooth is a premolar or molar.
func posterior(designation string) bool {
	t, ok := plan.ToothOf(designation)
	return ok && t.Number >= posteriorFrom
}

// mayHaveCanal reports whether a canal may lie under the site: by its number or by its place, the stricter.
func (c *run) mayHaveCanal(s *site) bool {
	return c.plan.Jaw == Mandible && (posterior(s.plan.Tooth) || c.spot(s, s.frame.Origin).Number >= posteriorFrom)
}

// heightTo returns the height to one limit.
func (c *run) heightTo(s *site, limit Limit) height {
	switch limit {
	case ToBorder:
		end, err := s.ridge.End(s.axis, s.placement)
		if err != nil {
			return height{why: plain(err)}
		}
		to := map[ridge.Surface]Limit{ridge.Base: ToBorder, ridge.BuccalWall: ToBuccalWall, ridge.LingualWall: ToLingualWall}[end.Through]
		return height{Length: end.Length, to: to, end: end.At}
	case ToCanal:
		return c.heightToTube(s)
	}
	return c.heightToCavity(s, limit)
}

// heightToTube is the height to the most coronal point of a marked canal's tube in this section,
// projected on the axis, even when the tube lies beside it.
func (c *run) heightToTube(s *site) height {
	best := height{why: "canal not marked in this section"}
	for _, st := range c.plan.Structures {
		if st.Kind != safety.Canal {
			continue
		}
		top, ok := roof(st, s.frame, s.axis)
		if !ok {
			continue
		}
		value := dotUV(reformat.UV{U: top.U - s.axis.Crest.U, V: top.V - s.axis.Crest.V}, s.axis.Dir)
		if value <= 0 || best.to != "" && value >= best.Value {
			continue
		}
		perTurn := s.axis.PerTurn(func(a ridge.Axis) float64 {
			return dotUV(reformat.UV{U: top.U - a.Crest.U, V: top.V - a.Crest.V}, a.Dir)
		})
		rise := -s.alongArch(func(f reformat.Frame) (float64, bool) {
			top, ok := roof(st, f, s.axis)
			return dotUV(top, s.axis.Dir), ok
		})
		far := ridge.Far{At: top, Slope: rise, PerTurn: perTurn}
		budget := append(s.ridge.HeightBudget(s.axis, value, far, s.placement), uncertainty.Term{Name: "marking of " + st.Name, Std: st.SD})
		best = height{Length: uncertainty.Length{Value: value, Budget: budget}, to: ToCanal, name: st.Name}
		best.end = s.axis.At(value)
	}
	return best
}

// sideReach is how far beside the axis a tube still belongs to this ridge, mm: the section's plane
// also cuts the other side of the jaw. Half the width of any jaw section; our choice.
const sideReach = 15.0

// roof returns the most coronal point, along the axis, of the tube st in the section's plane.
//
// A tube is the union of the balls along its path; a ball at distance t from the plane cuts it in a
// disc of radius √(r²−t²), whose coronal end is what is sought.
func roof(st safety.Structure, f reformat.Frame, a ridge.Axis) (reformat.UV, bool) {
	best, found := reformat.UV{}, false
	level := math.Inf(1)
	try := func(centre r3.Vec, radius float64) float64 {
		p, t := f.Section(centre)
		if math.Abs(t) > radius || math.Abs(p.U-a.Crest.U) > sideReach {
			return math.Inf(1)
		}
		r := math.Sqrt(radius*radius - t*t)
		top := reformat.UV{U: p.U - r*a.Dir.U, V: p.V - r*a.Dir.V}
		l := dotUV(top, a.Dir)
		if l < level {
			best, level, found = top, l, true
		}
		return l
	}
	if len(st.Path) == 1 {
		try(st.Path[0], st.Radii[0])
	}
	for i := 1; i < len(st.Path); i++ {
		along(func(x float64) float64 {
			return try(r3.Add(r3.Scale(1-x, st.Path[i-1]), r3.Scale(x, st.Path[i])), (1-x)*st.Radii[i-1]+x*st.Radii[i])
		})
	}
	return best, found
}

// along looks for the least value of f on 0…1: a fine scan, then golden section about its minimum.
func along(f func(x float64) float64) {
	const n = 200
	best, at := math.Inf(1), 0.0
	for i := range n + 1 {
		if v := f(float64(i) / n); v < best {
			best, at = v, float64(i)/n
		}
	}
	if math.IsInf(best, 1) {
		return
	}
	fit.Golden(max(0, at-1.0/n), min(1, at+1.0/n), 1e-11, f)
}

// heightToCavity is the height to where the axis line leaves the bone into a cavity: a marked one,
// or one found in the image, whichever the axis meets first.
func (c *run) heightToCavity(s *site, limit Limit) height {
	best := height{why: quantity.InWords(limit) + " neither marked nor found along the axis"}
	for _, st := range c.plan.Structures {
		if string(st.Kind) != string(limit) {
			continue
		}
		value, ok := entry(s.frame, s.axis, st)
		if !ok || best.to != "" && value >= best.Value {
			continue
		}
		far := ridge.Far{At: s.axis.At(value), Slope: -s.alongArch(func(f reformat.Frame) (float64, bool) { return entry(f, s.axis, st) })}
		far.PerTurn = s.axis.PerTurn(func(a ridge.Axis) float64 {
			depth, ok := entry(s.frame, a, st)
			if !ok {
				return math.NaN()
			}
			return depth
		})
		budget := append(s.ridge.HeightBudget(s.axis, value, far, s.placement), uncertainty.Term{Name: "marking of " + st.Name, Std: st.SD})
		best = height{Length: uncertainty.Length{Value: value, Budget: budget}, to: limit, name: st.Name, end: far.At}
	}
	end, l, err := s.ridge.Cavity(s.axis, s.placement)
	if err != nil || best.to != "" && l.Value >= best.Value {
		return best
	}
	found := height{Length: l, to: limit, end: end, seen: true}
	if beside, ok := s.ridge.Septum(s.axis, l.Value); ok {
		found.Budget = append(found.Budget, ridge.SeptumEdge)
		found.why = fmt.Sprintf("a bony septum stands under the axis: the floor beside it is only about %.0f mm from the crest", beside)
	}
	return found
}

// alongArch returns how much what value says of a section changes from section to section, per mm
// along the arch (mm per mm); 0 where one of the neighbours has no value.
func (s *site) alongArch(value func(f reformat.Frame) (float64, bool)) float64 {
	const h = 0.5
	var at [2]float64
	for i, off := range [2]float64{-h, h} {
		var ok bool
		if at[i], ok = value(s.frame.Along(off)); !ok {
			return 0
		}
	}
	return (at[1] - at[0]) / (2 * h)
}

// entry returns the depth at which the axis line, laid into frame f, enters a marked body, in mm.
func entry(f reformat.Frame, a ridge.Axis, st safety.Structure) (float64, bool) {
	inside := func(depth float64) bool {
		return toSurface(f.Patient(a.At(depth)), st) < 0
	}
	const step, far = 0.25, 45.0
	for d := 0.0; d < far; d += step {
		if !inside(d) {
			continue
		}
		lo, hi := math.Max(0, d-step), d
		for range 30 {
			mid := (lo + hi) / 2
			if inside(mid) {
				hi = mid
			} else {
				lo = mid
			}
		}
		return hi, hi > 0
	}
	return 0, false
}

func dotUV(a, b reformat.UV) float64 { return a.U*b.U + a.V*b.V }
