package measure

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/quantity"
	"ridgerule/measure/reformat"
	"ridgerule/measure/ridge"
	"ridgerule/measure/uncertainty"
)

// cut is where the crest of a site is levelled: a straight line in its section, of which the bone
// on the coronal side goes. It stands across the axis at a depth that the plan gives, or it is
// where the plan's levelling plane meets the section.
type cut struct {
	depth    uncertainty.Length // of the new crest below the old one, along the axis, mm; never < 0
	at       reformat.UV        // a point of the line, section mm
	normal   reformat.UV        // unit vector across the line, coronal
	slope    float64            // depth of the line along the axis per mm along the arch, no unit
	plane    bool               // from the levelling plane: it stands in the patient, not on the crest
	above    float64            // how far the line passes above the crest, mm; 0: it does not
	crest    ridge.Axis         // the site's axis with the new crest
	platform float64            // where a platform stands below the old crest, mm
	area     uncertainty.Length // removed in the section, mm²; NaN: not known
	centre   float64            // u of the removed area's centroid, mm
}

// steepest is the least cosine between the levelling plane's normal and a site's axis: beyond 60°
// a plane levels nothing.
const steepest = 0.5

// level finds where the site is levelled; nil where the plan does not ask.
func (c *run) level(s *site) (*cut, error) {
	switch {
	case s.plan.Level != nil && *s.plan.Level == 0, s.plan.Level == nil && c.plan.LevelPlane == nil:
		return nil, nil
	case s.plan.Level != nil:
		k := &cut{depth: uncertainty.Length{Value: *s.plan.Level, Budget: asPlanned()}, at: s.axis.At(*s.plan.Level)}
		k.normal = reformat.UV{U: -s.axis.Dir.U, V: -s.axis.Dir.V}
		k.crest = s.axis
		k.crest.Crest, k.platform = k.at, k.depth.Value
		return k, nil
	}
	return c.planeLevel(s)
}

// planeLevel cuts the section with the levelling plane.
//
//	depth = (P − crest)·n / (axis·n),  P a point of the plane, n its normal
func (c *run) planeLevel(s *site) (*cut, error) {
	p, n := c.plan.LevelPlane.Point, c.plan.LevelPlane.Normal
	axis, crest := s.frame.Direction(s.axis.Dir), s.frame.Patient(s.axis.Crest)
	down := r3.Dot(axis, n)
	if down > -steepest {
		return nil, errors.New("the levelling plane leans by more than 60° from across this site's axis")
	}
	depth := r3.Dot(r3.Sub(p, crest), n) / down
	k := &cut{at: s.axis.At(depth), plane: true, slope: -r3.Dot(s.frame.T, n) / down, above: math.Max(0, -depth)}
	k.normal = reformat.UV{U: r3.Dot(n, s.frame.U), V: r3.Dot(n, s.frame.V)}
	size := math.Hypot(k.normal.U, k.normal.V)
	k.normal = reformat.UV{U: k.normal.U / size, V: k.normal.V / size}
	far := ridge.Far{At: k.at, Slope: -k.slope}
	k.depth = uncertainty.Length{Value: math.Max(0, depth), Budget: s.ridge.HeightBudget(s.axis, depth, far, s.placement)}
	k.crest, k.platform = s.axis, k.depth.Value
	k.crest.Crest = s.axis.At(k.depth.Value)
	if k.above == 0 {
		k.crest.CrestSD = 0
	}
	return k, nil
}

// The names of the terms that a height owes to its crest, as package ridge gives them.
const (
	termScale   = "scale of the scan"
	termSection = "section place along the arch"
)

var crestTerms = map[string]bool{"crest": true, termSection: true}

// share is a term worked out: its sensitivity may be 0, which a [uncertainty.Term] reads as 1.
func share(name string, std, sensitivity float64) uncertainty.Term {
	return uncertainty.Term{Name: name, Std: math.Abs(std * sensitivity)}
}

// scaleShare is what the scale of the scan adds to a value that grows with the power-th power of it.
func (c *run) scaleShare(value, power float64) uncertainty.Term {
	t := uncertainty.Moved(termScale, uncertainty.Rectangular(c.plan.ScaleHalfWidth), value*power)
	t.Group = "scale"
	return t
}

// leftBudget turns the budget of a height into that of what levelling leaves of it, mm. Under a
// plane the old crest no longer counts; under a depth it does, for the cut hangs on it.
func (c *run) leftBudget(k *cut, old uncertainty.Budget, left float64) uncertainty.Budget {
	b := uncertainty.Budget{c.scaleShare(left, 1)}
	if k.plane && k.above == 0 {
		b = append(b, share(termSection, c.placed, k.slope))
	}
	for _, t := range old {
		if t.Name != termScale && !(k.plane && k.above == 0 && crestTerms[t.Name]) {
			b = append(b, t)
		}
	}
	return b
}

// height returns how far p lies coronal of the cut, in mm; negative: bone that stays.
func (k *cut) height(p reformat.UV) float64 {
	return dotUV(reformat.UV{U: p.U - k.at.U, V: p.V - k.at.V}, k.normal)
}

// shorten ends a width at the cut where it runs into bone that goes, and reports which of its
// sides (buccal, lingual) that befalls. p is the width's place on the axis.
func (k *cut) shorten(w *ridge.Width, p reformat.UV) (gone [2]bool) {
	for side, end := range []*reformat.UV{&w.Buccal, &w.Lingual} {
		from, to := k.height(p), k.height(*end)
		if to <= 1e-9 || from >= 0 {
			continue
		}
		f := from / (from - to)
		*end = reformat.UV{U: p.U + f*(end.U-p.U), V: p.V + f*(end.V-p.V)}
		gone[side] = true
	}
	w.Value = math.Hypot(w.Buccal.U-w.Lingual.U, w.Buccal.V-w.Lingual.V)
	return gone
}

// asPlanned is the budget of a number that the plan itself gives: nothing about it is uncertain.
func asPlanned() uncertainty.Budget { return uncertainty.Budget{{Name: "as planned"}} }

// levelRows answers the questions about the ridge again at the new crest.
func (c *run) levelRows(s *site) {
	k, err := c.level(s)
	if err != nil {
		s.add(newRow(quantity.LevelledDepth, "", err.Error()))
		s.add(newRow(quantity.LevelledHeight, "", err.Error()))
		return
	}
	if k == nil {
		return
	}
	s.cut = k
	row := length(quantity.LevelledDepth, nil, k.depth)
	switch {
	case !k.plane:
		row.Note = "as planned"
	case k.above > 0:
		row.Note = fmt.Sprintf("the levelling plane passes %.2f mm above the crest: nothing is taken off along the axis", k.above)
	}
	s.add(row)
	s.add(c.levelledHeight(s))
	s.levelledWidths(s.placement)
	c.levelledUsable(s)
	c.removedArea(s)
	s.out.Level = s.levelled()
}

// levelledHeight is the height from the new crest to the limit of the old height.
func (c *run) levelledHeight(s *site) Row {
	k := s.cut
	row := newRow(quantity.LevelledHeight, string(s.height.to), s.height.why)
	if s.height.to == "" {
		return row
	}
	left := s.height.Value - k.depth.Value
	if left <= 0 {
		row.Note = fmt.Sprintf("no height is left: the level lies %.2f mm past the %s", -left, quantity.InWords(s.height.to))
		return row
	}
	row = length(quantity.LevelledHeight, nil, uncertainty.Length{Value: left, Budget: c.leftBudget(k, s.height.Budget, left)})
	row.To, row.Note = string(s.height.to), s.height.why
	return row
}

// levelledNames are what the widths and plates below a new crest are called.
var levelledNames = [3]quantity.Name{quantity.LevelledWidth, quantity.LevelledBuccalPlate, quantity.LevelledLingualPlate}

// levelledWidths measures width and plates along the cut itself (depth 0) and at the plan's depths
// below the new crest.
func (s *site) levelledWidths(h ridge.Placement) {
	k := s.cut
	if k.depth.Value > 0 {
		along := k.crest
		along.Dir = reformat.UV{U: -k.normal.U, V: -k.normal.V}
		s.widths(levelledNames, along, []float64{0}, h, nil)
	}
	s.widths(levelledNames, k.crest, s.plan.Depths, h, k)
}

// levelledUsable asks for the wanted width again, from the new crest on.
func (c *run) levelledUsable(s *site) {
	k := s.cut
	if s.plan.WantedWidth <= 0 {
		return
	}
	rows := func(depth, height Row) {
		depth.To = fmt.Sprintf("%g mm", s.plan.WantedWidth)
		height.To = depth.To
		s.add(depth)
		s.add(height)
	}
	none := func(why string) Row { return newRow(quantity.LevelledUsableHeight, "", why) }
	u, err := s.ridge.UsableCrest(k.crest, s.plan.WantedWidth, s.placement)
	if err != nil {
		rows(newRow(quantity.LevelledUsableDepth, "", plain(err)), none(plain(err)))
		return
	}
	k.platform = k.depth.Value + u.Value
	depth := length(quantity.LevelledUsableDepth, nil, u)
	if left := s.height.Value - k.platform; s.height.to != "" && left > 0 {
		row := length(quantity.LevelledUsableHeight, nil, uncertainty.Length{Value: left,
			Budget: append(c.leftBudget(k, s.height.Budget, left+u.Value), u.Budget.Scaled(-1)...)})
		row.Note = s.height.why
		rows(depth, row)
		return
	}
	why := s.height.why
	if s.height.to != "" {
		why = "no height is left below the usable crest"
	}
	rows(depth, none(why))
}

// levelled is the cut as pictures draw it.
func (s *site) levelled() *Level {
	k := s.cut
	across := reformat.UV{U: k.normal.V, V: -k.normal.U}
	low, high := s.ridge.Near(k.at, across)
	if math.IsNaN(low) {
		low, high = 0, 0
	}
	end := func(t float64) reformat.UV { return reformat.UV{U: k.at.U + t*across.U, V: k.at.V + t*across.V} }
	return &Level{Depth: k.depth.Value, Line: [2]reformat.UV{end(low), end(high)}}
}

// upTo is a distance of d mm that ends at the level, which is planned and not measured.
func (c *run) upTo(d float64) uncertainty.Length {
	return uncertainty.Length{Value: d, Budget: append(asPlanned(), c.scaleShare(d, 1))}
}
