package measure

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/cells"
	"ridgerule/measure/plan"
	"ridgerule/measure/quantity"
	"ridgerule/measure/reformat"
	"ridgerule/measure/ridge"
	"ridgerule/measure/safety"
	"ridgerule/measure/uncertainty"
)

// implantRows holds the site's virtual implant against structures, plates and the end of the bone,
// and says what could not be assessed for want of a marking.
func (c *run) implantRows(s *site) {
	im, why := c.implant(s)
	missing := safety.Missing(c.place(s, im, widest(s.plan)), c.plan.Structures, c.rules)
	if im == nil {
		if s.plan.Implant != nil {
			missing = append(c.unplaced(why), missing...)
			c.boneFailed(s, why)
		}
		s.hold(missing)
		return
	}
	s.out.Implant = im
	findings, err := c.scene.Check(*im, c.rules, safety.Options{Terms: c.poseTerms(s), ScaleHalf: c.plan.ScaleHalfWidth})
	if err != nil {
		findings = c.unplaced(plain(err))
	}
	s.hold(append(append(c.withoutUnmarked(s, findings, missing), c.ends(s, *im)...), missing...))
	c.boneRows(s, *im)
	c.poseRows(s, *im)
	if s.ridge != nil && s.out.Err == "" {
		c.denseDoubts(s, *im)
		c.airDoubts(s, *im)
	}
}

// withoutUnmarked takes held from the clearance to a canal of which the site's part is not marked: it is that of the
// marked piece alone. What lies on the other side of the jaw is no piece of it.
func (c *run) withoutUnmarked(s *site, findings, missing []safety.Finding) []safety.Finding {
	k := slices.IndexFunc(missing, func(m safety.Finding) bool { return m.Kind == safety.Canal })
	if k < 0 {
		return findings
	}
	for i := range findings {
		if f := &findings[i]; f.Kind == safety.Canal && (f.Distance.Value <= besideArch || c.sideOfPoint(f.Near[1]) == c.sideOf(s)) {
			f.Verdict, f.Reason = limited(f.Verdict, SeverityNotAssessed), cells.Note(missing[k].Reason, f.Reason)
		}
	}
	return findings
}

// sideOfPoint returns the patient's side of a point by its place along the arch; empty where that does not tell.
func (c *run) sideOfPoint(p r3.Vec) Side {
	arc, _ := c.curve.Project(p)
	return c.marks.Side(arc)
}

// widest is the diameter (mm) that must find its structures marked: the implant's, else the largest
// of the sizes to try; 0: neither is given.
func widest(s plan.Site) float64 {
	switch {
	case s.Implant != nil:
		return math.Max(s.Implant.Diameter, s.Implant.ApexDiameter)
	case s.Sizes != nil:
		return s.Sizes.Widest()
	}
	return 0
}

// place is the site as the rules about missing structures see it, for an implant of this diameter
// (mm; 0: not known) and, where there is one, along the whole body of im.
func (c *run) place(s *site, im *safety.Implant, diameter float64) safety.Place {
	p := safety.Place{Tooth: s.plan.Tooth, At: s.frame.Origin, Tangent: s.frame.T, Occlusal: c.plan.Occlusal, Radius: diameter / 2,
		Mesial: c.mesial(s, s.frame.Arc), CanalElsewhere: !c.canalCrosses(s)}
	if s.height.seen {
		p.Seen = append(p.Seen, safety.Kind(s.height.to))
	}
	p.Along = append(p.Along, c.spot(s, s.frame.Origin))
	if im != nil {
		beyond := im.Length + c.rules[string(safety.Canal)].Margin
		for _, d := range []float64{0, beyond / 3, 2 * beyond / 3, beyond} {
			p.Along = append(p.Along, c.spot(s, r3.Add(im.Platform, r3.Scale(d, im.Axis))))
		}
	}
	side := c.sideOf(s)
	for _, d := range c.plan.Declared {
		switch {
		case !slices.Contains(d.Sides, side):
		case d.Visible:
			p.Absent = append(p.Absent, d.Kind)
		default:
			p.NotVisible = append(p.NotVisible, d.Kind)
		}
	}
	return p
}

// sideOf returns the patient's side of a site by its place, or by its number where the place cannot tell.
func (c *run) sideOf(s *site) Side {
	if s.out.Side != "" {
		return s.out.Side
	}
	t, _ := plan.ToothOf(s.plan.Tooth)
	return t.Side()
}

// mesial returns the arch's unit tangent toward the midline at an arc length, as seen from a site.
func (c *run) mesial(s *site, arc float64) r3.Vec {
	way := c.marks.Leftward // toward the patient's left: mesial on the right side
	if c.sideOf(s) == Left {
		way = -way
	}
	return r3.Scale(way, c.curve.Tangent(arc))
}

// spot is the place on the arch that a point of the implant's body stands over.
func (c *run) spot(s *site, p r3.Vec) safety.Spot {
	arc, _ := c.arcOf(p, s.frame.Arc)
	spot := safety.Spot{At: c.curve.At(arc), Mesial: c.mesial(s, arc)}
	if !c.marks.Known() {
		return spot
	}
	spot.Number = plan.NearestTooth(c.plan.Jaw, math.Abs(c.marks.FromMidline(arc)))
	if t, _ := plan.ToothOf(s.plan.Tooth); s.height.seen && c.plan.Jaw == Maxilla && (t.Number >= posteriorFrom) != (spot.Number >= posteriorFrom) {
		spot.Number = t.Number // one cavity stands over the site, whatever it is called there
	}
	return spot
}

// canalCrosses reports whether a marked canal appears in the site's section.
func (c *run) canalCrosses(s *site) bool {
	for _, st := range c.plan.Structures {
		if st.Kind != safety.Canal {
			continue
		}
		if st.Surface != nil {
			return true // its reach along the arch is asked elsewhere
		}
		axis := ridge.Axis{Dir: reformat.UV{V: -1}}
		if _, ok := roof(st, s.frame, axis); ok {
			return true
		}
	}
	return false
}

// implant returns the site's virtual implant in the patient, or why there is none. What the plan
// leaves out comes from the measured site: the platform as [run.platformOf] says; the axis along the
// ridge's.
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
		s.stands = c.platformOf(s, want.Diameter)
		im.Platform = s.frame.Patient(s.axis.At(s.stands.depth.Value))
	}
	return im, ""
}

// poseTerms are what the measured crest adds to every distance of an implant that hangs on it.
func (c *run) poseTerms(s *site) []uncertainty.Term {
	if s.plan.Implant.Platform != nil || s.plan.Crest != nil || s.cut != nil && s.cut.crest.CrestSD == 0 {
		return nil
	}
	return []uncertainty.Term{{Name: "crest that the implant hangs on", Std: math.Max(s.axis.CrestSD, s.stands.depth.Std())}} // its crest's edge is in the depth's

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
		row := newRow(quantity.Clearance, f.To, f.Reason)
		row.Verdict, row.Kind = f.Verdict, f.Kind
		switch {
		case !(f.Distance.Value < 0):
		case f.Verdict == safety.NoMargin:
			row.Note = cells.Note("inside "+f.To+" by "+mm(-f.Distance.Value), f.Reason)
		default:
			row.Note = cells.Note("overlaps "+f.To+" by "+mm(-f.Distance.Value), f.Reason)
		}
		if !math.IsNaN(f.Distance.Value) {
			row.Value, row.Budget = &f.Distance.Value, f.Distance.Budget
		}
		if f.Verdict != safety.NoMargin {
			row.Margin = &f.Margin
		}
		s.add(row)
	}
}

// ends are the findings of the implant against the end of the bone: the basal border below its apex, and a
// cavity found in the image.
func (c *run) ends(s *site, im safety.Implant) []safety.Finding {
	if s.ridge == nil || s.out.Err != "" {
		return nil
	}
	out := c.toCavity(s, im)
	if c.plan.Jaw == Mandible {
		gap, err := c.standing(s).toBorder(im)
		why := ""
		if err != nil {
			gap, why = uncertainty.Length{Value: math.NaN()}, "the border was not found below the apex: "+plain(err)
		}
		out = append([]safety.Finding{safety.Hold("border", safety.Other, gap, [2]r3.Vec{}, c.rules, safety.BasalCortex, why)}, out...)
	}
	return out
}
