package measure

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/reformat"
	"ridgerule/measure/ridge"
	"ridgerule/measure/safety"
	"ridgerule/measure/uncertainty"
)

// implantRows holds the site's virtual implant against structures, plates and the end of the bone,
// and says what could not be assessed for want of a marking.
func (c *run) implantRows(s *site) {
	missing := safety.Missing(c.place(s, widest(s.plan)), c.plan.Structures, c.rules)
	im, why := c.implant(s)
	if im == nil {
		if s.plan.Implant != nil {
			missing = append(c.unplaced(why), missing...)
		}
		s.hold(missing)
		return
	}
	s.out.Implant = im
	findings, err := c.scene.Check(*im, c.rules, safety.Options{Terms: c.poseTerms(s), ScaleHalf: c.plan.ScaleHalfWidth})
	if err != nil {
		findings = c.unplaced(plain(err))
	}
	s.hold(append(append(findings, c.ends(s, *im)...), missing...))
	c.boneRows(s, *im)
}

// widest is the diameter (mm) that must find its structures marked: the implant's, else the largest
// of the sizes to try; 0: neither is given.
func widest(s Site) float64 {
	switch {
	case s.Implant != nil:
		return math.Max(s.Implant.Diameter, s.Implant.ApexDiameter)
	case s.Sizes != nil:
		return s.Sizes.widest()
	}
	return 0
}

// place is the site as the rules about missing structures see it, for an implant of this diameter
// (mm; 0: not known).
func (c *run) place(s *site, diameter float64) safety.Place {
	p := safety.Place{Tooth: s.plan.Tooth, At: s.frame.Origin, Tangent: s.frame.T, Occlusal: c.plan.Occlusal, Radius: diameter / 2}
	if s.height.seen {
		p.Seen = append(p.Seen, safety.Kind(s.height.to))
	}
	return p
}

// implant returns the site's virtual implant in the patient, or why there is none. What the plan
// leaves out comes from the measured site: the platform at the usable crest, else the crest; the
// axis along the ridge's.
func (c *run) implant(s *site) (*safety.Implant, string) {
	want := s.plan.Implant
	if want == nil {
		return nil, ""
	}
	if s.out.Err != "" && (want.Platform == nil || want.Axis == nil) {
		return nil, "the implant's place comes from the measured site, and " + s.out.Err
	}
	im := &safety.Implant{Diameter: want.Diameter, ApexDiameter: want.ApexDiameter, Length: want.Length}
	if want.Axis != nil {
		im.Axis = r3.Unit(*want.Axis)
	} else {
		im.Axis = r3.Unit(s.frame.Direction(s.axis.Dir))
	}
	if want.Platform != nil {
		im.Platform = *want.Platform
	} else {
		im.Platform = s.frame.Patient(s.axis.At(s.platformDepth()))
	}
	return im, ""
}

// platformDepth is where a platform without a place of its own stands below the crest, in mm: on
// the levelled crest where there is one, and there on the usable crest where that was asked.
func (s *site) platformDepth() float64 {
	if s.cut != nil {
		return s.cut.seat
	}
	if s.out.UsableDepth != nil {
		return *s.out.UsableDepth
	}
	return 0
}

// poseTerms are what the measured crest adds to every distance of an implant that hangs on it.
func (c *run) poseTerms(s *site) []uncertainty.Term {
	if s.plan.Implant.Platform != nil || s.plan.Crest != nil || s.cut != nil && s.cut.crest.CrestSD == 0 {
		return nil
	}
	return []uncertainty.Term{{Name: "crest that the implant hangs on", Std: s.axis.CrestSD}}
}

// unplaced is a finding for every marked structure of an implant that has no place.
func (c *run) unplaced(why string) []safety.Finding {
	var out []safety.Finding
	for i := range c.plan.Structures {
		st := &c.plan.Structures[i]
		rule, ok := c.rules.For(st)
		if !ok {
			continue
		}
		out = append(out, safety.Finding{To: st.Name, Kind: st.Kind, Distance: uncertainty.Length{Value: math.NaN()},
			Margin: rule.Margin, Source: rule.Source, Verdict: safety.NotAssessed, Reason: why})
	}
	return out
}

// hold records findings and their rows.
func (s *site) hold(findings []safety.Finding) {
	s.out.Findings = append(s.out.Findings, findings...)
	for _, f := range findings {
		row := Row{Quantity: "clearance", To: f.To, Unit: "mm", Verdict: f.Verdict, Note: f.Reason, Kind: f.Kind}
		if !math.IsNaN(f.Distance.Value) {
			row.Value, row.Budget = &f.Distance.Value, f.Distance.Budget
		}
		if f.Verdict != safety.NoMargin {
			row.Margin = &f.Margin
		}
		s.add(row)
	}
}

// ends are the findings of the implant's apex against the end of the bone along its axis: the
// basal border, and a cavity found in the image.
func (c *run) ends(s *site, im safety.Implant) []safety.Finding {
	if s.outline == nil || s.out.Err != "" {
		return nil
	}
	var out []safety.Finding
	if c.plan.Jaw == Mandible {
		gap := s.apexGap(im, func(a ridge.Axis) (uncertainty.Length, error) {
			_, l, err := s.outline.End(a, s.hand)
			return l, err
		})
		out = append(out, safety.Hold("border", safety.Other, gap, [2]r3.Vec{}, c.rules, safety.BasalCortex, unless(gap, "the border was not found below the apex")))
	}
	if s.height.seen {
		gap := s.apexGap(im, func(a ridge.Axis) (uncertainty.Length, error) {
			_, l, err := s.outline.Cavity(a, s.hand)
			return l, err
		})
		name := spaced(s.height.to) + " seen in the image"
		out = append(out, safety.Hold(name, safety.Kind(s.height.to), gap, [2]r3.Vec{}, c.rules, string(s.height.to), unless(gap, name+": its floor was not found under the whole apex")))
	}
	return out
}

// unless returns why where there is no distance.
func unless(d uncertainty.Length, why string) string {
	if math.IsNaN(d.Value) {
		return why
	}
	return ""
}

// apexGap returns the least distance from the implant's apical end to the end of the bone, along
// the implant's axis in the section: under its middle and under its two sides.
func (s *site) apexGap(im safety.Implant, end func(ridge.Axis) (uncertainty.Length, error)) uncertainty.Length {
	platform, dir := s.inSection(im)
	radius := math.Max(im.Diameter, im.ApexDiameter) / 2
	least := uncertainty.Length{Value: math.Inf(1)}
	for _, offset := range []float64{-radius, 0, radius} {
		a := ridge.Axis{Dir: dir}
		a.Crest = reformat.UV{U: platform.U + offset*a.Side().U, V: platform.V + offset*a.Side().V}
		l, err := end(a)
		if err != nil {
			return uncertainty.Length{Value: math.NaN()}
		}
		if l.Value -= im.Length; l.Value < least.Value {
			least = l
		}
	}
	return least
}

// inSection returns the implant's platform and axis as the section sees them.
func (s *site) inSection(im safety.Implant) (platform, dir reformat.UV) {
	platform, _ = s.frame.Section(im.Platform)
	dir = reformat.UV{U: r3.Dot(im.Axis, s.frame.U), V: r3.Dot(im.Axis, s.frame.V)}
	n := math.Hypot(dir.U, dir.V)
	return platform, reformat.UV{U: dir.U / n, V: dir.V / n}
}

// boneDepths are where the bone beside an implant is measured, mm below its platform.
var boneDepths = []float64{1, 3, 5}

// boneRows measures the bone beside the implant at 1, 3 and 5 mm below its platform and where it
// is least.
func (c *run) boneRows(s *site, im safety.Implant) {
	for _, side := range []struct {
		quantity, rule string
		sign           float64
	}{{"buccal_bone", safety.BuccalPlate, 1}, {"lingual_bone", safety.LingualPlate, -1}} {
		margin := c.rules[side.rule].Margin
		row := func(at *float64, depth float64, to string) {
			r := Row{Quantity: side.quantity, At: at, Unit: "mm", Margin: &margin, Verdict: safety.NotAssessed}
			l, err := c.boneBeside(s, im, depth, side.sign)
			if err != nil {
				r.Note = plain(err)
			} else {
				r.Value, r.Budget, r.Verdict = &l.Value, l.Budget, safety.Judge(l, margin)
			}
			if r.Note == "" {
				r.Note = to
			}
			s.add(r)
		}
		for _, d := range boneDepths {
			if d <= im.Length {
				row(&d, d, "")
			}
		}
		if d, ok := s.thinnest(im, side.sign); ok {
			row(nil, d, fmt.Sprintf("least over the whole length, %.1f mm below the platform", d))
		} else {
			row(nil, 0, "")
		}
	}
}

// radius returns the implant's radius depth mm below its platform, in mm.
func radius(im safety.Implant, depth float64) float64 {
	apex := im.ApexDiameter
	if apex == 0 {
		apex = im.Diameter
	}
	f := depth / im.Length
	return ((1-f)*im.Diameter + f*apex) / 2
}

// ray returns where the implant's axis is depth mm below its platform and the direction at right
// angles to it on one side (+1 buccal), in the section.
func (s *site) ray(im safety.Implant, depth, sign float64) (p, dir reformat.UV) {
	platform, axis := s.inSection(im)
	p = reformat.UV{U: platform.U + depth*axis.U, V: platform.V + depth*axis.V}
	side := ridge.Axis{Dir: axis}.Side()
	return p, reformat.UV{U: sign * side.U, V: sign * side.V}
}

// boneBeside returns the bone between implant and outer outline at one depth on one side.
func (c *run) boneBeside(s *site, im safety.Implant, depth, sign float64) (uncertainty.Length, error) {
	if s.outline == nil || s.out.Err != "" {
		return uncertainty.Length{}, fmt.Errorf("no outline of the bone: %s", s.out.Err)
	}
	p, dir := s.ray(im, depth, sign)
	l, err := s.outline.Beside(p, dir, s.hand)
	if to := s.cut.ahead(p, dir); to < 0 || err == nil && to < l.Value {
		l, err = c.upTo(to), nil
	}
	l.Value -= radius(im, depth)
	return l, err
}

// thinnest returns the depth below the platform at which the bone on one side is least.
func (s *site) thinnest(im safety.Implant, sign float64) (float64, bool) {
	if s.outline == nil || s.out.Err != "" {
		return 0, false
	}
	best, at := math.Inf(1), -1.0
	for d := 0.0; d <= im.Length; d += 0.1 {
		p, dir := s.ray(im, d, sign)
		if _, far := s.near(p, dir); far-radius(im, d) < best {
			best, at = far-radius(im, d), d
		}
	}
	return at, at >= 0
}
