package measure

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/cells"
	"ridgerule/measure/plan"
	"ridgerule/measure/quantity"
	"ridgerule/measure/safety"
	"ridgerule/measure/solid"
)

// Where an implant's axis leaves the planned tooth, and how much room there is between its platform and the tooth's
// surface. The numbers are information; a window that the plan gives makes verdicts of two of them.

const (
	widestTooth  = plan.WidestTooth
	farthestExit = 30.0  // mm from the platform along the axis; a tooth beyond is not this implant's
	grazing      = 0.2   // cosine: an axis within 12° of the surface has no place where it leaves it
	rimLines     = 72    // lines from the platform's rim, and as many from half-way: 0.2 mm apart on a platform of 4 mm.
	exitSideCos  = 0.707 // cosine: a surface that faces the biting side by less than 45° is a side of the tooth
)

// tooth is one planned tooth, or a piece that may hold several.
type tooth struct {
	name  string // ISO 3950; "": the plan names none
	sheet *solid.Sheet
}

// plannedTeeth returns the planned teeth of a restoration; nil has none.
func plannedTeeth(r *plan.Restoration) []tooth {
	var out []tooth
	for _, t := range r.Teeth() {
		out = append(out, tooth{t.Tooth, t.Sheet})
	}
	return out
}

// toothOf returns the planned tooth of a site's implant: the one of its name, else the unnamed one that its axis meets
// first.
func (c *run) toothOf(s *site, im *safety.Implant) (tooth, string) {
	best, nearest := tooth{}, math.Inf(1)
	for _, t := range c.teeth {
		if t.name != "" && t.name == s.plan.Tooth {
			return t, ""
		}
		if t.name != "" {
			continue
		}
		if hits := coronal(t.sheet, im.Platform, im.Axis); len(hits) > 0 && hits[0].At < nearest {
			best, nearest = t, hits[0].At
		}
	}
	if best.sheet == nil {
		return tooth{}, "no planned tooth of this number, and none that the axis meets"
	}
	return best, ""
}

// coronal returns where the line from p against the axis meets the sheet, away from the apex.
func coronal(s *solid.Sheet, p, axis r3.Vec) []solid.Crossing {
	var out []solid.Crossing
	for _, x := range s.Crossings(p, r3.Scale(-1, axis)) {
		if x.At > 0 && x.At <= farthestExit {
			out = append(out, x)
		}
	}
	return out
}

// restorationRows adds where the implant's axis leaves its planned tooth and the room under the tooth's surface.
func (c *run) restorationRows(s *site) {
	if c.plan.Restoration == nil {
		return
	}
	for _, t := range c.teeth {
		s.out.Restoration = append(s.out.Restoration, nearCut(s.frame, t.sheet)...)
	}
	if m := c.plan.Restoration.Mucosa; m != nil {
		s.out.Mucosa = nearCut(s.frame, m)
	}
	if s.plan.Implant == nil {
		return
	}
	im, why := s.out.Implant, "the implant has no place"
	var t tooth
	if im != nil {
		t, why = c.toothOf(s, im)
	}
	if other := c.otherScan(); other != "" {
		why = other
	}
	if why != "" {
		c.noRestoration(s, why)
		return
	}
	e, why := c.exitOf(s, im, t)
	if why != "" {
		c.noExit(s, why)
	} else {
		c.exitRows(s, e)
	}
	c.crownSpace(s, im, t)
	c.mucosalRows(s, im, t)
}

// otherScan says that the planned teeth were aligned with another scan than the one that is measured; "": they were not.
func (c *run) otherScan() string {
	if c.scanHash != "" && c.plan.Restoration.Align.Second.Series != "" && c.plan.Restoration.Align.Second.Series != c.scanHash {
		return "the planned teeth were aligned with another scan: align them with this one"
	}
	return ""
}

func (c *run) noExit(s *site, why string) {
	for _, q := range []quantity.Name{quantity.ExitBuccal, quantity.ExitMesial, quantity.ExitAngle} {
		row := newRow(q, "", why)
		if c.plan.Restoration.Window != nil && q != quantity.ExitAngle {
			row.Verdict = safety.NotAssessed
		}
		s.add(row)
	}
}

func (c *run) noRestoration(s *site, why string) {
	c.noExit(s, why)
	s.add(newRow(quantity.CrownSpace, "", why))
	c.noMargin(s, why)
}

// exit is where an axis leaves a tooth.
type exit struct {
	at, normal     r3.Vec     // patient LPS, mm; outward unit normal there
	way            r3.Vec     // the axis toward the tooth, unit
	buccal, mesial r3.Vec     // unit, across the occlusal direction
	off            [2]float64 // buccal and mesial of the tooth's middle, mm
	angle          float64    // to the middle of the biting side, deg
	far            float64    // from the platform, mm
	aim            r3.Vec     // the middle of the biting side
	face           string
}

// exitOf finds it. The tooth's middle is half-way between its outermost points, buccally and lingually, mesially and
// distally, as seen along the occlusal direction.
func (c *run) exitOf(s *site, im *safety.Implant, t tooth) (exit, string) {
	e, why := c.leaves(s, im, t)
	if why != "" {
		return e, why
	}
	middle, why := t.middle(e)
	if why != "" {
		return e, why
	}
	e.off = e.from(middle)
	o := c.plan.Occlusal
	on := r3.Sub(e.at, r3.Add(r3.Scale(e.off[0], e.buccal), r3.Scale(e.off[1], e.mesial)))
	top := coronal(t.sheet, r3.Sub(on, r3.Scale(farthestExit/2, o)), r3.Scale(-1, o))
	if len(top) == 0 {
		return e, "the planned tooth has no surface over its middle"
	}
	e.aim = r3.Add(on, r3.Scale(top[len(top)-1].At-farthestExit/2, o))
	e.angle = safety.Angle(e.way, r3.Sub(e.aim, im.Platform))
	e.face = faceOf(e, o, c.plan.Jaw)
	return e, ""
}

// leaves finds the place where the axis leaves the tooth, and the site's directions there.
func (c *run) leaves(s *site, im *safety.Implant, t tooth) (exit, string) {
	hits := coronal(t.sheet, im.Platform, im.Axis)
	if len(hits) == 0 {
		return exit{}, "the implant's axis does not meet its planned tooth"
	}
	last := hits[len(hits)-1]
	e := exit{way: r3.Scale(-1, im.Axis), far: last.At, buccal: s.frame.U}
	e.at = r3.Add(im.Platform, r3.Scale(last.At, e.way))
	e.mesial = c.mesial(s, s.frame.Arc)
	o := c.plan.Occlusal
	e.mesial = r3.Unit(r3.Sub(e.mesial, r3.Scale(r3.Dot(e.mesial, o), o)))
	e.normal, _ = t.sheet.Normal(last.Facet)
	if r3.Dot(e.normal, e.way) < 0 {
		e.normal = r3.Scale(-1, e.normal) // an open surface may face either way
	}
	if r3.Dot(e.normal, e.way) < grazing {
		return e, "the axis runs along the planned tooth's surface: where it leaves it is not fixed"
	}
	return e, ""
}

// middle returns how far buccal and mesial (mm, from the patient's origin) the tooth's middle lies.
func (t tooth) middle(e exit) ([2]float64, string) {
	low, high := spans(t.sheet, e.buccal, e.mesial)
	if wide := high[1] - low[1]; wide > widestTooth {
		return [2]float64{}, fmt.Sprintf("the planned surface is one piece of %.1f mm along the arch, no single tooth: name the teeth (surfaces: [{file, tooth}]) or export them as pieces", wide)
	}
	return [2]float64{(low[0] + high[0]) / 2, (low[1] + high[1]) / 2}, ""
}

// from returns how far buccal and mesial of the tooth's middle the axis leaves it, mm.
func (e exit) from(middle [2]float64) [2]float64 {
	return [2]float64{r3.Dot(e.at, e.buccal) - middle[0], r3.Dot(e.at, e.mesial) - middle[1]}
}

// spans returns the least and the greatest extent of the sheet's facets along two directions, mm.
func spans(s *solid.Sheet, u, v r3.Vec) (low, high [2]float64) {
	low, high = [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for _, t := range s.Triangles {
		for _, k := range t {
			for i, d := range []r3.Vec{u, v} {
				x := r3.Dot(s.Points[k], d)
				low[i], high[i] = min(low[i], x), max(high[i], x)
			}
		}
	}
	return low, high
}

// faceOf names the side of the tooth by which the axis leaves it.
func faceOf(e exit, o r3.Vec, jaw Jaw) string {
	if r3.Dot(e.normal, o) >= exitSideCos {
		return "through the biting side"
	}
	b, m := r3.Dot(e.normal, e.buccal), r3.Dot(e.normal, e.mesial)
	switch {
	case math.Abs(b) >= math.Abs(m) && b > 0:
		return "through the buccal side"
	case math.Abs(b) >= math.Abs(m) && jaw == Maxilla:
		return "through the palatal side"
	case math.Abs(b) >= math.Abs(m):
		return "through the lingual side"
	case m > 0:
		return "through the mesial side"
	}
	return "through the distal side"
}

// exitRows adds where the axis leaves the tooth and the angle to its middle.
func (c *run) exitRows(s *site, e exit) {
	for i, q := range []quantity.Name{quantity.ExitBuccal, quantity.ExitMesial} {
		dir := []r3.Vec{e.buccal, e.mesial}[i]
		row := newRow(q, "", "").with(e.off[i], c.exitBudget(s, e, dir))
		row.Note = "leaves " + e.face + c.alignedNote()
		if w := c.plan.Restoration.Window; w != nil {
			c.judgeExit(&row, [2]float64{[]float64{w.Buccal, w.Mesial}[i], []float64{w.Lingual, w.Distal}[i]})
			row.Note = cells.Note(row.Note, "window: "+w.String())
		}
		s.add(row)
	}
	row := newRow(quantity.ExitAngle, "", "").with(e.angle, c.aimBudget(s, e))
	row.Note = "to the middle of the biting side" + c.alignedNote()
	s.add(row)
}

// alignedNote says what an alignment that nobody accepted does to a number.
func (c *run) alignedNote() string {
	if c.plan.Restoration.Align.Accepted == nil {
		return "; the alignment of the planned teeth was accepted by nobody"
	}
	return ""
}

// judgeExit holds a place against the window's two sides, so far (mm) to the positive and to the negative one, with U as
// the guard band. An alignment that nobody accepted leaves nothing held.
func (c *run) judgeExit(r *Row, sides [2]float64) {
	reserve, U := math.Min(sides[0]-*r.Value, sides[1]+*r.Value), r.Budget.U()
	switch {
	case math.IsInf(reserve, 1):
		return // neither side is limited
	case r.Budget == nil:
		r.Verdict, r.Note = safety.NotAssessed, cells.Note("how uncertain the alignment is, is not known", r.Note)
		return
	case reserve+U < 0:
		r.Verdict = safety.NotHeld
	case reserve-U >= 0:
		r.Verdict = safety.Held
	default:
		r.Verdict = safety.Uncertain
	}
	if c.plan.Restoration.Align.Accepted == nil {
		r.Verdict = limited(r.Verdict, SeverityUncertain)
	}
}

// crownSpace adds the room between the platform and the tooth's surface: along the axis, the least over the platform.
func (c *run) crownSpace(s *site, im *safety.Implant, t tooth) {
	lines := platformLines(im)
	least, missed := solid.Crossing{At: math.Inf(1)}, 0
	from := im.Platform
	for _, p := range lines {
		hits := coronal(t.sheet, p, im.Axis)
		if len(hits) == 0 {
			missed++
			continue
		}
		if last := hits[len(hits)-1]; last.At < least.At {
			least, from = last, p
		}
	}
	if missed > 0 {
		why := fmt.Sprintf("%d of %d lines from the platform miss the planned tooth: no least room over the whole platform", missed, len(lines))
		if hits := coronal(t.sheet, im.Platform, im.Axis); len(hits) > 0 {
			why += fmt.Sprintf("; along the axis itself %s", mm(hits[len(hits)-1].At))
		}
		s.add(newRow(quantity.CrownSpace, "", why))
		return
	}
	way := r3.Scale(-1, im.Axis)
	n, _ := t.sheet.Normal(least.Facet)
	lean := math.Abs(r3.Dot(n, way))
	if lean < grazing {
		s.add(newRow(quantity.CrownSpace, "", "a line from the platform runs along the planned tooth's surface: the least room is not fixed"))
		return
	}
	b := c.alignedBudget(r3.Add(from, r3.Scale(least.At, way)), r3.Scale(1/lean, n), 1)
	if b != nil {
		b = append(append(b, c.poseTerms(s)...), c.scaleShare(least.At, 1))
	}
	row := newRow(quantity.CrownSpace, "", "information, never judged"+c.alignedNote()).with(least.At, b)
	s.add(row)
}

// platformLines returns where the lines begin: the platform's middle, its rim, and half-way between.
func platformLines(im *safety.Implant) []r3.Vec {
	u := solid.Across(im.Axis)
	v := r3.Cross(im.Axis, u)
	out := []r3.Vec{im.Platform}
	for i := range rimLines {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / rimLines)
		for _, r := range []float64{im.Diameter / 4, im.Diameter / 2} {
			out = append(out, r3.Add(im.Platform, r3.Scale(r, r3.Add(r3.Scale(cos, u), r3.Scale(sin, v)))))
		}
	}
	return out
}
