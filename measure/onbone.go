package measure

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/reformat"
	"ridgerule/measure/ridge"
	"ridgerule/measure/safety"
)

// The arch, and the implants on it, held against the bone that the image shows: a plan whose frame is
// another one's runs beside the bone somewhere, and an implant may stand in a tooth that nobody marked.

// How the arch must lie in the bone; our choice. A right curve runs within the bone seen along the occlusal
// direction, its ends may run past it.
const (
	archAskEvery = 5    // of the sections along the arch is asked: 10 mm apart
	offBone      = 2.0  // mm beside the bone, buccally or lingually
	shareOff     = 0.25 // of the places asked
	fewestAsked  = 4
)

// besideBone returns how far the arch runs buccal or lingual of the bone in a section, mm.
func besideBone(o *ridge.Outline) float64 {
	low, high := math.Inf(1), math.Inf(-1)
	for _, p := range o.Points {
		low, high = math.Min(low, p.U), math.Max(high, p.U)
	}
	return math.Max(0, math.Max(low, -high))
}

// archDoubts asks along the whole arch, as far as the field shows it, whether it runs in the bone.
func (c *run) archDoubts() []doubt {
	asked, off := 0, 0
	for i := archAskEvery / 2; i < len(c.sections.frames); i += archAskEvery {
		if f := c.sections.frames[i]; !c.v.Contains(c.v.Index(f.Origin)) {
			continue
		}
		asked++
		if o := c.sections.made[i](); o == nil || besideBone(o) > offBone {
			off++
		}
	}
	if asked < fewestAsked || float64(off) <= shareOff*float64(asked) {
		return nil
	}
	return []doubt{{Caution: Cautionf("arch_off_bone", SeverityUncertain, "the arch runs beside the bone at %d of %d places: check the plan's frame, signs and unit", off, asked), mark: c.plan.markAt(archPath(0))}}
}

// siteOnBone asks whether the arch runs in the bone at the site.
func (c *run) siteOnBone(s *site) {
	if off := besideBone(s.outline); off > offBone {
		s.doubts = append(s.doubts, c.plan.siteDoubt(s.index, ".at", "site_off_bone", SeverityUncertain, "the arch runs %s beside the bone at this site", mm(off)))
	}
}

// Where a body in the image belongs to a marked one, and where it stands in an implant's way, mm. Our choice.
const (
	markedBody = 3.0 // between its middle and the marked surface
	inTheWay   = 1.0 // between its middle and the implant's surface
)

// denseDoubts finds a tooth, an implant or metal that the image shows in the implant's place and that the
// plan does not mark.
func (c *run) denseDoubts(s *site, im safety.Implant) {
	for _, b := range s.outline.Bodies() {
		top := reformat.UV{U: b.Middle.U, V: b.Top}
		if toBody(im, s.frame.Patient(b.Middle)) > inTheWay && toBody(im, s.frame.Patient(top)) > inTheWay {
			continue
		}
		if c.markedNear(s, b) {
			continue
		}
		d := c.plan.siteDoubt(s.index, ".implant", "unmarked_body", SeverityUncertain,
			"something denser than cortical bone stands in the implant's place and is not marked: a tooth, an implant or metal")
		s.doubts = append(s.doubts, d)
		return
	}
}

// toBody returns the distance of a point from an implant's surface, mm, negative inside.
func toBody(im safety.Implant, p r3.Vec) float64 {
	g, err := safety.Distance(pointAt(p), im)
	if err != nil {
		return math.Inf(1)
	}
	return g.Distance
}

// markedNear reports whether a root or an implant is marked where a body stands.
func (c *run) markedNear(s *site, b ridge.Body) bool {
	for _, st := range c.plan.Structures {
		if st.Kind != safety.Root && st.Kind != safety.ImplantBody {
			continue
		}
		if g, err := safety.Distance(pointAt(s.frame.Patient(b.Middle)), st); err == nil && g.Distance <= markedBody {
			return true
		}
	}
	return false
}
