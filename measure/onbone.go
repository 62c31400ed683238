package measure

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/plan"
	"ridgerule/measure/quantity"
	"ridgerule/measure/reformat"
	"ridgerule/measure/ridge"
	"ridgerule/measure/safety"
	"ridgerule/measure/solid"
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
	return []doubt{{Caution: Cautionf("arch_off_bone", SeverityUncertain, "the arch runs beside the bone at %d of %d places: check the plan's frame, signs and unit", off, asked)}}
}

// siteOnBone asks whether the arch runs in the bone at the site.
func (c *run) siteOnBone(s *site) {
	if off := besideBone(s.ridge.Outline); off > offBone {
		s.doubts = append(s.doubts, c.plan.SiteDoubt(s.index, ".at", "site_off_bone", SeverityUncertain, "the arch runs %s beside the bone at this site", mm(off)))
	}
}

// markedBody is how far the middle of a body in the image may lie from the surface of the marked one that it is, mm, its
// marking's scatter apart. Our choice: a front tooth's neighbour stands 5 mm off, 3 mm from its surface.
const markedBody = 1.0

// denseDoubts finds a tooth, an implant or metal that the image shows in the implant's place, or nearer to
// it than a root may be, and that the plan does not mark: no distance holds what nobody marked.
func (c *run) denseDoubts(s *site, im safety.Implant) {
	if c.tissue.Edges == 0 {
		row := newRow(quantity.Clearance, "unmarked teeth and implants", "not looked for: the series has not taught how bright bone is; look whether one stands beside the implant or in its place")
		row.Verdict = safety.Uncertain
		s.add(row)
		return
	}
	t := c.standing(s)
	margin := c.rules[string(safety.Root)].Margin
	for _, off := range c.sectionsAbout(s, im) {
		f := t.about(off)
		over := func(b ridge.Body) bool { return off == 0 && toBody(wayIn(im), f, b) <= 0 }
		wanted := func(b ridge.Body) bool { return (toBody(im, f, b) < margin || over(b)) && !c.markedNear(f, b) }
		var near []ridge.Body
		if off == 0 && s.ridge != nil {
			near = s.ridge.Bodies(wanted)
		} else {
			near = ridge.Bodies(reformat.NewField(c.v, f), c.tissue, wanted)
		}
		if len(near) == 0 {
			continue
		}
		where := "stands in the implant's place"
		switch gap := toBody(im, f, near[0]); {
		case gap > 0 && over(near[0]):
			where = "stands over the implant, in its way"
		case gap > 0:
			where = "stands " + mm(gap) + " beside the implant"
		}
		s.doubts = append(s.doubts, c.plan.SiteDoubt(s.index, ".implant", "unmarked_body", SeverityUncertain,
			"something denser than cortical bone %s and is not marked: a tooth, an implant or metal", where))
		return
	}
}

// How air about the deeper half of an implant is looked for; our choice: steps of half a millimetre along it and twelve directions, and as
// many places as no noise makes.
const (
	airStep    = 0.5 // mm
	airAsked   = 12
	leastOfAir = 3
)

// airDoubts finds air about the deeper half of an implant in the upper jaw, in it or nearer than a sinus may be, that no marked structure
// holds and over which no floor was found: a sinus that the site's own axis misses has no distance.
func (c *run) airDoubts(s *site, im safety.Implant) {
	level, ok := c.tissue.AirLevel()
	if c.plan.Jaw != Maxilla || s.height.seen || !ok {
		return
	}
	margin, side := c.rules[string(safety.Sinus)].Margin, solid.Across(im.Axis)
	air := 0
	for k := range airAsked {
		out := r3.NewRotation(2*math.Pi*float64(k)/airAsked, im.Axis).Rotate(side)
		for _, r := range [2]float64{im.Diameter / 2, im.Diameter/2 + margin} {
			beside := r3.Add(im.Platform, r3.Scale(r, out))
			for x := im.Length / 2; x <= im.Length+margin; x += airStep {
				if p := r3.Add(beside, r3.Scale(x, im.Axis)); c.v.At(p) < level && !c.markedAt(isCavity, p) {
					air++
				}
			}
		}
	}
	if air >= leastOfAir {
		s.doubts = append(s.doubts, c.plan.SiteDoubt(s.index, ".implant", "unmarked_air", SeverityUncertain,
			"air stands within %s of the deeper half of the implant where no sinus or nasal floor is marked, and none was found over the site", mm(margin)))
	}
}

// wayIn is the way by which an implant comes to its place, as wide as it, along its axis over the platform as far
// as a crown reaches: what stands in it stands where the implant is planned, though its root be no denser than the
// bone around.
func wayIn(im safety.Implant) safety.Implant {
	const crown = 12.0 // mm; our choice
	return safety.Implant{Platform: r3.Sub(im.Platform, r3.Scale(crown, im.Axis)), Axis: im.Axis, Diameter: im.Diameter, Length: crown}
}

// bodySections is the distance along the arch between the sections in which a body beside an implant is
// looked for, mm: the narrowest roots are as wide. Our choice.
const bodySections = 3.0

// sectionsAbout returns where along the arch from the site's section bodies near an implant are looked for,
// mm: the site's own section first, then on both sides as far as the implant and a root's margin reach.
func (c *run) sectionsAbout(s *site, im safety.Implant) []float64 {
	reach := math.Max(im.Diameter, im.ApexDiameter)/2 + c.rules[string(safety.Root)].Margin
	low, high := 0.0, 0.0
	for _, p := range []r3.Vec{im.Platform, im.Apex()} {
		_, off := s.frame.Section(p)
		low, high = math.Min(low, off-reach), math.Max(high, off+reach)
	}
	out := []float64{0}
	for _, end := range []float64{low, high} {
		n := math.Ceil(math.Abs(end) / bodySections)
		for k := 1.0; k <= n; k++ {
			out = append(out, end*k/n)
		}
	}
	return out
}

// toBody returns the distance of a body in a section from an implant's surface, mm, negative inside: the
// body as a rod of its height and mean width.
func toBody(im safety.Implant, f reformat.Frame, b ridge.Body) float64 {
	half := b.Area / (b.Top - b.Low) / 2
	top, low := reformat.UV{U: b.Middle.U, V: b.Top - half}, reformat.UV{U: b.Middle.U, V: b.Low + half}
	if top.V < low.V {
		top.V, low.V = b.Middle.V, b.Middle.V
	}
	rod := safety.Structure{Path: []r3.Vec{f.Patient(top), f.Patient(low)}, Radii: []float64{half, half}}
	g, err := solid.Distance(im, rod)
	if err != nil {
		return math.Inf(1)
	}
	return g.Distance
}

// markedNear reports whether a root or an implant is marked where a body stands.
func (c *run) markedNear(f reformat.Frame, b ridge.Body) bool {
	foot := f.Patient(reformat.UV{U: b.Middle.U, V: b.Low}) // a crown's middle lies far over its root's mark
	return c.markedAt(plan.StandsInJaw, f.Patient(b.Middle), foot)
}

// markedAt reports whether a structure of such a kind is marked at one of these places, or as near to it as its marking scatters.
func (c *run) markedAt(kind func(safety.Kind) bool, at ...r3.Vec) bool {
	return slices.ContainsFunc(c.plan.Structures, func(st safety.Structure) bool {
		return kind(st.Kind) && slices.ContainsFunc(at, func(p r3.Vec) bool { return toSurface(p, st) <= markedBody+2*st.SD })
	})
}

// softCore is the share of the step from marrow to cortex below which what is seen in a marked root is marrow and no root.
// Dentine and metal are brighter than cortex. Our choice.
const softCore = 0.5

// rootSeen is the least share of the places in a marked root that are more than marrow where the image shows it: marked 0.8
// of its radius beside the true one, half of them lie outside that; within the hand's scatter, none. A plate beside a root
// is as dense, so that fewer than half must be enough. Our choice.
const rootSeen = 2.0 / 3

// rootCorners is the distance of the places asked from the middle of a root, as a share of its radius: the corners of a
// cube, 0.6 of the radius from the axis of an upright one, off the pulp and inside the edge. Our choice.
const rootCorners = 0.75

// denseShare returns at which share of the places in a marked root or implant the image shows more than marrow, with the
// mark moved by as much across the root as its hand may have been off, whichever way shows most; NaN where the image does
// not tell.
func (c *run) denseShare(near []place, sd float64) float64 {
	if !c.tellsRoots() {
		return math.NaN()
	}
	across := c.curve.Tangent(c.curve.Length() / 2)
	most := math.NaN()
	for _, d := range []r3.Vec{{}, across, r3.Scale(-1, across), r3.Cross(across, c.plan.Occlusal), r3.Cross(c.plan.Occlusal, across)} {
		if x := c.denseAt(near, r3.Scale(2*sd, d)); !(x <= most) {
			most = x
		}
	}
	return most
}

// tellsRoots reports whether the series has taught how bright bone is, so that a root can be told from marrow.
func (c *run) tellsRoots() bool { return c.tissue.Edges > 0 && c.tissue.Cortex > c.tissue.Marrow }

// denseAt is [run.denseShare] with the mark moved by off, mm.
func (c *run) denseAt(near []place, off r3.Vec) float64 {
	least := c.tissue.Marrow + softCore*(c.tissue.Cortex-c.tissue.Marrow)
	asked, dense := 0.0, 0.0
	for _, p := range near {
		for _, d := range corners {
			g := c.v.At(r3.Add(r3.Add(p.at, off), r3.Scale(rootCorners*p.radius/math.Sqrt(3), d)))
			if math.IsNaN(g) {
				continue
			}
			asked++
			if g >= least {
				dense++
			}
		}
	}
	return dense / asked
}

// corners are those of a cube of edge 2 about the origin.
var corners = [8]r3.Vec{{X: 1, Y: 1, Z: 1}, {X: 1, Y: 1, Z: -1}, {X: 1, Y: -1, Z: 1}, {X: 1, Y: -1, Z: -1},
	{X: -1, Y: 1, Z: 1}, {X: -1, Y: 1, Z: -1}, {X: -1, Y: -1, Z: 1}, {X: -1, Y: -1, Z: -1}}

// intoCavity reports whether a root stands in the bone with the upper end of its deeper half and the image shows it
// where it has left the bone: an upper molar's root in the sinus, under a plate too thin to be outlined.
func (c *run) intoCavity(deeper []place, sd float64) bool {
	slices.SortStableFunc(deeper, func(a, b place) int {
		return -cmp.Compare(r3.Dot(a.at, c.plan.Occlusal), r3.Dot(b.at, c.plan.Occlusal))
	})
	first := slices.IndexFunc(deeper, func(p place) bool { return c.sections.bridged(p.at) < 0 })
	return c.plan.Jaw == Maxilla && first > 0 && c.denseShare(deeper[first:], sd) > 0.5
}
