package plan

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/safety"
)

// planOf is a plan with one structure.
func planOf(s safety.Structure) *Placed {
	return &Placed{Contents: Contents{Jaw: Mandible, Structures: []safety.Structure{s}}, Occlusal: r3.Vec{Z: 1}}
}

// doubted are doubts as "code severity".
func doubted(all []Doubt) []string {
	out := []string{}
	for _, d := range all {
		out = append(out, d.Code+" "+string(d.Severity))
	}
	return out
}

// A canal's points may lie 10 mm apart; further apart its path is a chord, and past 20 mm nothing near it reads held. A root is straight.
func TestStepsOfAPath(t *testing.T) {
	for _, c := range []struct {
		kind safety.Kind
		step float64
		want []string
	}{
		{safety.Canal, 10, nil}, {safety.Canal, 10.01, []string{"path_step caution"}}, {safety.Canal, 20, []string{"path_step caution"}},
		{safety.Canal, 20.01, []string{"path_step at best uncertain"}}, {safety.AnteriorLoop, 21, []string{"path_step at best uncertain"}},
		{safety.IncisiveCanal, 11, []string{"path_step caution"}}, {safety.Root, 25, nil},
	} {
		got := planOf(safety.Structure{Name: "s", Kind: c.kind, Path: []r3.Vec{{}, {Y: 2}, {Y: 2 + c.step}, {Y: 3 + c.step}}}).checkPath(0)
		assert.Equal(t, append([]string{}, c.want...), doubted(got), "%v %g", c.kind, c.step)
		if len(got) > 0 {
			assert.Contains(t, got[0].Text, "points 2 and 3 of its path are")
			assert.Equal(t, "structures[0].path[2]", got[0].path)
		}
	}
}

// A path that comes back along itself was marked in a wrong order. Points on one another have no direction.
func TestPathThatTurnsBack(t *testing.T) {
	for _, kind := range []safety.Kind{safety.Canal, safety.Root} {
		got := planOf(safety.Structure{Name: "s", Kind: kind, Path: []r3.Vec{{}, {Y: 3}, {Y: 6}, {Y: 4}}}).checkPath(0)
		require.Equal(t, []string{"path_turns_back at best uncertain"}, doubted(got))
		assert.Contains(t, got[0].Text, "by 180° at point 3")
		assert.Equal(t, "structures[0].path[2]", got[0].path)
		assert.Empty(t, planOf(safety.Structure{Kind: kind, Path: []r3.Vec{{}, {Y: 3}, {X: 2.6, Y: 1.6}}}).checkPath(0), "118°: 90 + atan(1.4/2.6)")
		assert.NotEmpty(t, planOf(safety.Structure{Kind: kind, Path: []r3.Vec{{}, {Y: 3}, {X: 2.6, Y: 1.4}}}).checkPath(0), "122°")
		assert.Empty(t, planOf(safety.Structure{Kind: kind, Path: []r3.Vec{{}, {Y: 3}, {Y: 2.995}}}).checkPath(0))
		assert.Empty(t, planOf(safety.Structure{Kind: kind, Path: []r3.Vec{{}, {Y: 0.005}, {Y: -3}}}).checkPath(0))
	}
}

// Nothing in the jaw is less than 1 mm wide everywhere: 0.5 mm of radius will do, at one place.
func TestLeastRadius(t *testing.T) {
	for _, c := range []struct {
		kind  safety.Kind
		radii []float64
		small bool
	}{
		{safety.Canal, []float64{0.5}, false}, {safety.Canal, []float64{0.49}, true}, {safety.Canal, []float64{0.1, 0.5}, false},
		{safety.Root, []float64{0.2, 0.1}, true}, {safety.ImplantBody, []float64{0.2}, true}, {safety.Other, []float64{0.1}, false}, {safety.Sinus, []float64{0.1}, false}, {safety.Canal, nil, false},
	} {
		got := doubted(planOf(safety.Structure{Name: "s", Kind: c.kind, Radii: c.radii}).checkRadius(0))
		want := []string{}
		if c.small {
			want = []string{"radius_small at best uncertain"}
		}
		assert.Equal(t, want, got, "%v %v", c.kind, c.radii)
	}
	assert.Contains(t, planOf(safety.Structure{Name: "s", Kind: safety.Canal, Radii: []float64{0.1}}).checkRadius(0)[0].Text, "at least 1 mm wide")
}

// Roots and implants stand in the jaw and are denser than bone: of every kind there is, these two.
func TestKindsThatStandInTheJaw(t *testing.T) {
	for _, kind := range structureKinds {
		k := safety.Kind(kind)
		assert.Equal(t, kind == "root" || kind == "implant", StandsInJaw(k), kind)
		assert.Equal(t, kind != "sinus" && kind != "nasal_floor" && kind != "other", InJaw[k], kind)
	}
}

// A sinus whose name says the other side is the other one, too, though no arch runs by it; without a side in its name nothing is asked.
func TestNameOfTheOtherSide(t *testing.T) {
	l := landmarksOf(t, Maxilla, circle(-90, 90))
	at := []r3.Vec{circle(60, 60)[0], circle(70, 70)[0]} // on the left
	for name, want := range map[string][]string{"left sinus": {}, "sinus": {}, "right sinus": {"name_side at best uncertain"}} {
		p := planOf(safety.Structure{Name: name, Kind: safety.Sinus, Path: at})
		p.Jaw = Maxilla
		got := p.checkPlaceOnArch(0, l)
		assert.Equal(t, want, doubted(got), name)
		if len(got) > 0 {
			assert.Contains(t, got[0].Text, "lies on the patient's left side")
		}
	}
	partly := planOf(safety.Structure{Name: "right nerve", Kind: safety.Canal, Path: []r3.Vec{circle(60, 60)[0], circle(0, 0)[0]}})
	assert.Empty(t, partly.checkPlaceOnArch(0, l), "in front no side is told")
}

// A structure of the jaw lies within 15 mm of the arch; one past its end is not asked.
func TestStructureBesideTheArch(t *testing.T) {
	l := landmarksOf(t, Mandible, circle(-90, 90))
	beside := func(r, a float64) []r3.Vec {
		v := circle(a, a)[0]
		return []r3.Vec{{X: v.X * r / 30, Y: v.Y * r / 30, Z: -12}}
	}
	for r, want := range map[float64][]string{44.9: {}, 45.1: {"structure_off_arch not assessed"}, 15.1: {}, 14.9: {"structure_off_arch not assessed"}} {
		assert.Equal(t, want, doubted(planOf(safety.Structure{Name: "c", Kind: safety.Canal, Path: beside(r, 50)}).checkPlaceOnArch(0, l)), "%g", r)
	}
	assert.Empty(t, planOf(safety.Structure{Name: "c", Kind: safety.Canal, Path: []r3.Vec{{X: 30, Y: 60}}}).checkPlaceOnArch(0, l))
}

// Canal, foramen and loop within 8 mm of each other are one nerve: a wrong mark of one is doubt about all. Capsules of radius 1.5 mm whose axes
// lie d apart are d − 3 apart.
func TestMarksOfOneNerve(t *testing.T) {
	r := []float64{1.5}
	p := &Placed{Contents: Contents{Structures: []safety.Structure{
		{Name: "canal", Kind: safety.Canal, Path: []r3.Vec{{}, {X: 20}}, Radii: []float64{1.5, 1.5}},
		{Name: "near foramen", Kind: safety.MentalForamen, Path: []r3.Vec{{X: 10, Y: 10.9}}, Radii: r},
		{Name: "far foramen", Kind: safety.MentalForamen, Path: []r3.Vec{{X: 10, Y: -11.1}}, Radii: r},
		{Name: "loop", Kind: safety.AnteriorLoop, Path: []r3.Vec{{X: 22, Y: 2}}, Radii: r},
		{Name: "root", Kind: safety.Root, Path: []r3.Vec{{X: 10, Y: 2}}, Radii: r},
		{Name: "incisive", Kind: safety.IncisiveCanal, Path: []r3.Vec{{X: 22}}, Radii: r},
	}}}
	assert.Equal(t, []string{"near foramen", "loop"}, p.SameNerve(0))
	assert.Equal(t, []string{"canal"}, p.SameNerve(1))
	assert.Empty(t, p.SameNerve(2))
	assert.Equal(t, []string{"canal"}, p.SameNerve(3))
	assert.Empty(t, p.SameNerve(4), "a root is no nerve")
	p.Jaw, p.Arch, p.Occlusal = Mandible, circle(-90, 90), r3.Vec{Z: 1}
	p.Structures[1].Path[0] = circle(10, 10)[0] // 5 mm from the midline, where no foramen is
	p.Structures[0].Path = circle(10, 30)
	p.Structures[0].Radii = make([]float64, 9)
	require.NoError(t, p.lay())
	got := p.checkForamen(1, p.Landmarks)
	require.Equal(t, []string{"foramen_place at best uncertain"}, doubted(got))
	assert.Contains(t, got[0].Text, "lies 5 mm from the midline", "30 mm × 10°")
	assert.Equal(t, []string{"canal"}, got[0].Also)
	assert.True(t, got[0].About("near foramen") && got[0].About("canal"))
	assert.False(t, got[0].About("far foramen"))
}

// An implant of 20 mm may stand in the ridge, a longer one not; neither may one that the plan calls so.
func TestImplantsBeyondTheRidge(t *testing.T) {
	for _, c := range []struct {
		length float64
		called bool
		want   []string
	}{{20, false, []string{}}, {20.5, false, []string{"beyond_ridge not assessed"}}, {10, true, []string{"beyond_ridge not assessed"}}} {
		p := &Placed{Contents: Contents{Sites: []Site{{ID: "a", Implant: &PlannedImplant{Diameter: 4, Length: c.length, BeyondRidge: c.called}}}}}
		assert.Equal(t, c.want, doubted(p.checkImplant(0, nil)))
	}
}

// An axis may lean by 50° without a word, by 80° with one; beyond it the vector was meant otherwise. One past 90° points the wrong way, which another
// rule refuses.
func TestLeans(t *testing.T) {
	for degrees, want := range map[float64]string{0: "", 49.9: "", 50.1: "asked", 79.9: "asked", 80.1: "refused", 89.9: "refused", 90.1: "", 170: ""} {
		axis := r3.NewRotation(degrees*3.14159265358979/180, r3.Vec{X: 1}).Rotate(r3.Vec{Z: -1})
		p := &Placed{Contents: Contents{Sites: []Site{{ID: "a", Axis: AxisGiven, AxisVec: axis}, {ID: "b", Implant: &PlannedImplant{Axis: &axis}}}}, Occlusal: r3.Vec{Z: 1}}
		for i := range p.Sites {
			got := p.checkLeans(i)
			if want == "" {
				assert.Empty(t, got, "%g", degrees)
				continue
			}
			require.Len(t, got, 1, "%g", degrees)
			assert.Equal(t, want == "refused", got[0].refuse, "%g", degrees)
			assert.Equal(t, map[string]string{"asked": confirmAxis, "refused": ""}[want], got[0].Confirm, "a wrong vector cannot be confirmed")
		}
	}
	ridge := &Placed{Contents: Contents{Sites: []Site{{Axis: AxisRidge, AxisVec: r3.Vec{X: 1}}}}, Occlusal: r3.Vec{Z: 1}}
	assert.Empty(t, ridge.checkLeans(0))
}

// A site is projected from 5 mm beside the arch without a word, from 15 mm with one.
func TestSitesBesideTheArch(t *testing.T) {
	l := landmarksOf(t, Mandible, circle(-90, 90))
	for off, want := range map[float64]string{4.9: "", 5.1: "asked", 14.9: "asked", 15.1: "refused"} {
		at := r3.Scale((30+off)/30, circle(40, 40)[0])
		p := &Placed{Contents: Contents{Sites: []Site{{ID: "a", At: &at}}}}
		got := p.checkOffset(0, l)
		if want == "" {
			assert.Empty(t, got, "%g", off)
			continue
		}
		require.Equal(t, []string{"at_off_arch at best uncertain"}, doubted(got))
		assert.Equal(t, want == "refused", got[0].refuse, "%g", off)
	}
}

// A midline 15 mm off the arch is none.
func TestMidlineOffTheArch(t *testing.T) {
	for y, wrong := range map[float64]bool{-44.9: false, -45.1: true} {
		p := &Placed{Contents: Contents{Jaw: Mandible, Arch: circle(-90, 90), Midline: &r3.Vec{Y: y, Z: 5}}, Occlusal: r3.Vec{Z: 1}}
		require.NoError(t, p.lay())
		got := p.checkGeometry(p.Landmarks)
		if !wrong {
			assert.Empty(t, got)
			continue
		}
		require.Equal(t, []string{"midline_off_arch caution"}, doubted(got))
		assert.True(t, got[0].refuse)
		assert.Contains(t, got[0].Text, "15.1 mm")
	}
}

// What lies outside of the scan: every point of a site and both ends of a reading are errors, a structure is a caution, a surface has no
// points to ask.
func TestWhatLiesOutsideTheScan(t *testing.T) {
	in, out := r3.Vec{}, r3.Vec{X: 200}
	place := func(change func(*Placed)) ([]Doubt, string) {
		p := &Placed{Contents: Contents{Arch: []r3.Vec{out, in}, Sites: []Site{{ID: "36", At: &in, Crest: &in, Implant: &PlannedImplant{Platform: &in}}},
			Structures: []safety.Structure{{Name: "c", Path: []r3.Vec{out, in}}, {Name: "s"}}, Readings: []Reading{{ID: "r", From: in, To: in}}}}
		change(p)
		f := &faults{}
		got := p.checkOn(f, testGrid)
		if f.err() == nil {
			return got, ""
		}
		return got, f.err().Error()
	}
	got, why := place(func(*Placed) {})
	assert.Empty(t, got)
	assert.Empty(t, why)
	for want, change := range map[string]func(*Placed){
		"arch: no arch point is inside the scan":                         func(p *Placed) { p.Arch = []r3.Vec{out} },
		`site "36": at [200, 0, 0] mm is outside the scan`:               func(p *Placed) { p.Sites[0].At = &out },
		`site "36": crest [200, 0, 0] mm is outside the scan`:            func(p *Placed) { p.Sites[0].Crest = &out },
		`site "36": implant.platform [200, 0, 0] mm is outside the scan`: func(p *Placed) { p.Sites[0].Implant.Platform = &out },
		`reading "r": from [200, 0, 0] mm is outside the scan`:           func(p *Placed) { p.Readings[0].From = out },
		`reading "r": to [200, 0, 0] mm is outside the scan`:             func(p *Placed) { p.Readings[0].To = out },
	} {
		_, why := place(change)
		assert.Contains(t, why, want)
	}
	got, why = place(func(p *Placed) { p.Structures[0].Path = []r3.Vec{out} })
	assert.Empty(t, why)
	assert.Equal(t, []string{"structure_outside_scan caution"}, doubted(got))
}

// Points nearer than 0.01 mm have no direction; an arch may turn by 120° at a point, seen from above, and not cross itself.
func TestArchPointsInOrder(t *testing.T) {
	check := func(points ...r3.Vec) string {
		f := &faults{}
		(&Placed{Contents: Contents{Arch: points}, Occlusal: r3.Vec{Z: 1}}).checkArch(f)
		if f.err() == nil {
			return ""
		}
		return f.err().Error()
	}
	assert.Contains(t, check(r3.Vec{}, r3.Vec{X: 0.009, Z: 5}, r3.Vec{X: 5}, r3.Vec{X: 9}), "points 1 and 2 are 0.009 mm apart in the occlusal plane")
	assert.Empty(t, check(r3.Vec{}, r3.Vec{X: 0.011}, r3.Vec{X: 5}, r3.Vec{X: 9}))
	assert.Contains(t, check(r3.Vec{}, r3.Vec{X: 5}, r3.Vec{X: 9}, r3.Vec{X: 9, Z: 3}), "points 3 and 4 are 0 mm apart", "the last ones")
	turn := func(degrees float64) r3.Vec {
		return r3.Add(r3.Vec{X: 5}, r3.NewRotation(degrees*3.14159265358979/180, r3.Vec{Z: 1}).Rotate(r3.Vec{X: 3}))
	}
	assert.Empty(t, check(r3.Vec{}, r3.Vec{X: 5}, turn(119)))
	assert.Contains(t, check(r3.Vec{}, r3.Vec{X: 5}, turn(121)), "folds back at point 2 (turns by 121 degrees)")
	assert.Contains(t, check(r3.Vec{Y: 0}, r3.Vec{X: 10}, r3.Vec{X: 10, Y: 10}, r3.Vec{X: 5, Y: 10}, r3.Vec{X: 5, Y: -5}), "points 1–2 and 4–5")
	assert.Empty(t, check(r3.Vec{Y: 0}, r3.Vec{X: 10}, r3.Vec{X: 10, Y: 10}, r3.Vec{X: 5, Y: 10}, r3.Vec{X: 5, Y: 1}), "it ends before it")
}

// Three points are a plane where they lie apart: an angle of a thousandth at the first, and a hundredth of a millimetre.
func TestThreePointsOfAPlane(t *testing.T) {
	for _, c := range []struct {
		points []r3.Vec
		good   bool
	}{
		{[]r3.Vec{{}, {X: 100}, {X: 100, Y: 0.11}}, true}, {[]r3.Vec{{}, {X: 100}, {X: 100, Y: 0.09}}, false},
		{[]r3.Vec{{}, {X: 0.5}, {Y: 0.5}}, true}, {[]r3.Vec{{}, {X: 0.1}, {Y: 0.002}}, true}, {[]r3.Vec{{}, {X: 0.005}, {Y: 0.01}}, false}, {[]r3.Vec{{}, {}, {Y: 10}}, false},
	} {
		f := &faults{}
		n, ok := (&Placed{}).normal(f, "occlusal_plane", c.points)
		assert.Equal(t, c.good, ok, "%v", c.points)
		if ok {
			assert.InDelta(t, 1, n.Z, 1e-12)
		} else {
			assert.ErrorContains(t, f.err(), "lie on a line")
		}
	}
}

// A plane is refused that stands steeper than acos 0.2, 78.5° from the biting direction: it has no upper side.
func TestUprightPlanes(t *testing.T) {
	for degrees, good := range map[float64]bool{0: true, 78: true, 79: false, 90: false, 101: false, 102: true} {
		tilt := r3.NewRotation(degrees*3.14159265358979/180, r3.Vec{X: 1})
		points := []r3.Vec{{}, {X: 10}, tilt.Rotate(r3.Vec{Y: 10})}
		f := &faults{}
		p := &Placed{Contents: Contents{Jaw: Mandible}}
		p.settleOcclusal(f, &Plan{OcclusalPlane: points})
		assert.Equal(t, good, f.err() == nil, "%g", degrees)
		assert.Equal(t, good, p.Occlusal.Z > 0.19, "%g: it faces the biting side", degrees)
		p.Occlusal = r3.Vec{Z: 1}
		f = &faults{}
		plane := p.plane(f, "levelling_plane", points)
		assert.Equal(t, good, plane != nil && plane.Normal.Z > 0.19, "%g", degrees)
		assert.Equal(t, good, f.err() == nil, "%g", degrees)
	}
}

// A doubt that refuses is an error that names its site; said of the whole case it names none.
func TestRefusalsNameTheirSite(t *testing.T) {
	p := &Placed{Contents: Contents{Sites: []Site{{ID: "36"}, {ID: "46", Confirmed: []string{confirmOrder}}}}}
	d := &Doubts{plan: p, met: map[confirmation]bool{}}
	refused := func(d Doubt) Doubt { d.refuse, d.remedy = true, "mend it"; return d }
	err := d.Add(refused(p.SiteDoubt(0, ".tooth", "order", SeverityNotAssessed, "wrong %d", 1)), refused(Doubt{Caution: Cautionf("midline", SeverityCaution, "wrong 2")}),
		p.SiteDoubt(0, "", "a", SeverityNote, "said"), p.SiteDoubt(0, "", "a", SeverityNote, "said"))
	assert.EqualError(t, err, "plan: site \"36\": wrong 1; mend it\nplan: wrong 2; mend it")
	assert.Equal(t, []Caution{{Code: "a", Text: "said", Severity: SeverityNote, Site: "36"}}, d.Cautions(), "each thing once")
	assert.Equal(t, "site 36: said", d.Cautions()[0].Line())
	assert.Equal(t, "said", d.All()[0].At("").Line())
	over := refused(p.SiteDoubt(1, "", "order", SeverityNotAssessed, "wrong 3"))
	over.Confirm = confirmOrder
	require.NoError(t, d.Add(over))
	assert.Equal(t, "order confirmed by the plan: wrong 3", d.Cautions()[1].Text)
	var all Errors
	assert.True(t, errors.As(err, &all))
}
