package phantom

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

func truthOf(t testing.TB, o Options) (*Jaw, Truth) {
	t.Helper()
	j := must[*Jaw](t)(New(o))
	return j, must[Truth](t)(j.Truth())
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %.6f, want %.6f", what, got, want)
	}
}

// The plain ridge is a half circle of radius 3.5 mm on straight walls 7 mm apart, 28 mm high,
// upright or leaning. The chord of a circle at depth d below its top is 2·√(d·(2r−d)).
// Source: Euclid III.35. The plan's curve meets the arch at an angle of some mrad between
// its points, which lengthens nothing by more than 1e-4 mm.
func TestPlainRidgeHasItsDrawnMeasures(t *testing.T) {
	for _, tilt := range []float64{0, 12, -9} {
		_, truth := truthOf(t, Options{Shape: Shape{Tilt: tilt}, Sites: []int{36, 35, 46}})
		for _, s := range truth.Sites {
			for _, a := range []AxisTruth{s.Ridge, s.Design} {
				near(t, s.ID+" tilt", a.Tilt, tilt, 0.002)
				if len(a.Widths) != 10 {
					t.Fatalf("%s: %d widths, want 10", s.ID, len(a.Widths))
				}
				for _, w := range a.Widths {
					want := 7.0
					if w.At < 3.5 {
						want = 2 * math.Sqrt(w.At*(7-w.At))
					}
					near(t, s.ID+" width", w.Width, want, 2e-4)
					if w.At > 3.5 {
						near(t, s.ID+" buccal plate", *w.Buccal, 1.6, 1e-4)
						near(t, s.ID+" lingual plate", *w.Lingual, 2, 1e-4)
					}
				}
				last := a.Heights[len(a.Heights)-1]
				near(t, s.ID+" "+last.To, last.Height, 28, 1e-4)
				if a.Buccal.Depth != 0 || a.Lingual.Depth != 0 {
					t.Errorf("%s: undercut %v %v in a straight wall", s.ID, a.Buccal, a.Lingual)
				}
			}
		}
	}
}

// The canal's roof lies CanalDepth below the crest plus the drawn dip, to the sagitta of the
// 2 mm chords of its path.
func TestCanalRoofLiesAtItsDrawnDepth(t *testing.T) {
	for _, tilt := range []float64{0, 10} {
		_, truth := truthOf(t, Options{Shape: Shape{Tilt: tilt, CanalDepth: 13}, Sites: []int{36}})
		h := truth.Sites[0].Design.Heights[0]
		q := 37.7
		want := 13 + 0.6*ramp(q, 24, 36)*(1-ramp(q, 36, 50))
		if h.To != "canal" {
			t.Fatalf("first limit %q, want canal", h.To)
		}
		near(t, "canal roof", h.Height, want, 0.02)
	}
}

// A hollow of the drawn depth in a straight wall is touched by the wall's own line above and
// below: its depth and level are the drawn ones.
func TestUndercutOfAStraightWallIsItsHollow(t *testing.T) {
	_, truth := truthOf(t, Options{Shape: Shape{Undercut: 1.7, Level: 12, Tilt: 6}, Sites: []int{37}})
	u := truth.Sites[0].Design
	near(t, "depth", u.Lingual.Depth, 1.7, 2e-3) // the hollow's amount varies along the arch by less
	near(t, "level", u.Lingual.Level, 12, 0.051) // the wall is followed every 0.05 mm
	near(t, "buccal", u.Buccal.Depth, 0, 1e-9)
}

// At every chord's end the painted shape changes from bone to not bone, at every plate's from
// cortex to marrow, at the sinus floor from cortex to its lining: truth and picture are one shape.
func TestTruthIsWhereTheSharpShapeChanges(t *testing.T) {
	const e = 2e-4 // mm either side
	for seed := range uint64(4) {
		k := Kind(seed % 2)
		o := Random(seed+40, k)
		o.Grey.Texture, o.Teeth = 0, []int{}
		j, truth := truthOf(t, o)
		g := j.opt.Grey
		for _, s := range truth.Sites {
			side := func(a AxisTruth) r3.Vec {
				return r3.Add(r3.Scale(-r3.Dot(a.Axis, s.Section.Up), s.Section.Buccal), r3.Scale(r3.Dot(a.Axis, s.Section.Buccal), s.Section.Up))
			}
			a := s.Ridge
			at := func(h, b float64) float64 {
				return j.Grey(r3.Add(a.Crest, r3.Add(r3.Scale(h, a.Axis), r3.Scale(b, side(a)))))
			}
			if at(e, 0) != g.Cortex || at(-e, 0) == g.Cortex {
				t.Errorf("seed %d site %s: crest %.0f outside %.0f inside", seed, s.ID, at(-e, 0), at(e, 0))
			}
			for _, w := range a.Widths {
				lo, hi, err := j.Chord(r3.Add(a.Crest, r3.Scale(w.At, a.Axis)), side(a), across)
				if err != nil || math.Abs(hi-lo-w.Width) > 1e-9 {
					t.Errorf("seed %d site %s %g mm: chord %g, width %g, %v", seed, s.ID, w.At, hi-lo, w.Width, err)
				}
				edges := map[string]float64{"buccal": hi, "lingual": lo}
				for name, b := range edges {
					inward := math.Copysign(e, -b)
					if in, out := at(w.At, b+inward), at(w.At, b-inward); in != g.Cortex || out == g.Cortex {
						t.Errorf("seed %d site %s %g mm: %s edge %.0f then %.0f", seed, s.ID, w.At, name, in, out)
					}
				}
				if w.Buccal == nil {
					continue
				}
				if in, out := at(w.At, hi-*w.Buccal+e), at(w.At, hi-*w.Buccal-e); in != g.Cortex || out != g.Marrow {
					t.Errorf("seed %d site %s %g mm: buccal plate %.3f: %.0f then %.0f", seed, s.ID, w.At, *w.Buccal, in, out)
				}
			}
			for _, h := range a.Heights {
				before, after := at(h.Height-e, 0), at(h.Height+e, 0)
				if h.To == "canal" {
					continue // its roof need not lie on the axis
				}
				if !(before >= g.Cortex && after < g.Cortex) {
					t.Errorf("seed %d site %s %s at %.3f: %.0f then %.0f", seed, s.ID, h.To, h.Height, before, after)
				}
			}
		}
	}
}

// The canal's roof: the highest point of the painted wall in the section, looked for on a
// fine mesh of the section, which may lie below the true one by its own pitch.
func TestCanalRoofIsThatOfAFineMesh(t *testing.T) {
	j, truth := truthOf(t, Options{Shape: Shape{Tilt: 7, Variation: 0.5}, Seed: 5, Sites: []int{46, 36}, Teeth: []int{}})
	for _, s := range truth.Sites {
		a := s.Ridge
		var l line
		l.axis, l.crest = a.Axis, a.Crest
		l.side = r3.Add(r3.Scale(-r3.Dot(a.Axis, s.Section.Up), s.Section.Buccal), r3.Scale(r3.Dot(a.Axis, s.Section.Buccal), s.Section.Up))
		const pitch = 0.01
		want := a.Heights[0].Height
		top := math.Inf(1)
		for h := want - 0.3; h < want+0.3 && math.IsInf(top, 1); h += pitch {
			for b := -4.0; b < 4; b += pitch {
				p := r3.Add(l.crest, r3.Add(r3.Scale(h, l.axis), r3.Scale(b, l.side)))
				if d, _ := nearest(j.shape.canals, j.toJaw(p)); d < 0 {
					top = h
					break
				}
			}
		}
		near(t, s.ID+" roof on the mesh", top, want+pitch/2, pitch)
	}
}

// A jaw without seeded variation is its own mirror image: left and right sites agree.
func TestMirroredSitesAgree(t *testing.T) {
	for _, k := range []Kind{Mandible, Maxilla} {
		o := Options{Jaw: k, Shape: Shape{Tilt: 8, Undercut: 1.5, Convexity: 2}}
		_, truth := truthOf(t, o)
		n := len(truth.Sites)
		for i := range n / 2 {
			a, b := truth.Sites[i], truth.Sites[n-1-i]
			near(t, a.ID+" tilt", a.Ridge.Tilt, b.Ridge.Tilt, 1e-6)
			near(t, a.ID+" crest x", a.Ridge.Crest.X, -b.Ridge.Crest.X, 1e-6)
			for q := range a.Ridge.Widths {
				near(t, a.ID+" width", a.Ridge.Widths[q].Width, b.Ridge.Widths[q].Width, 1e-6)
			}
			for q := range a.Ridge.Heights {
				near(t, a.ID+" "+a.Ridge.Heights[q].To, a.Ridge.Heights[q].Height, b.Ridge.Heights[q].Height, 1e-6)
			}
			near(t, a.ID+" undercut", a.Ridge.Lingual.Depth, b.Ridge.Lingual.Depth, 1e-6)
		}
	}
}

// The mirror holds for the scan, too, on a grid that is symmetrical about the midline; behind
// the last site the tiles, which are not mirrored, may differ (see near).
func TestMirroredVoxelsAgree(t *testing.T) {
	o := Options{Shape: Shape{Tilt: 8, Undercut: 1.5}, Scan: Scan{Voxel: [3]float64{0.8, 0.8, 0.8}, Blur: 0.8}}
	_, v := scanOf(t, o)
	n := v.Size[0]
	for k := range v.Size[2] {
		for j := range v.Size[1] * 3 / 4 {
			for i := range n / 2 {
				if d := math.Abs(v.Grey(i, j, k) - v.Grey(n-1-i, j, k)); d > 1.01 { // each rounded
					t.Fatalf("voxel %d %d %d: %g against %g", i, j, k, v.Grey(i, j, k), v.Grey(n-1-i, j, k))
				}
			}
		}
	}
}

// The ridge's own axis is a fixed point of its definition, in the plan's section and in one
// that a hand has turned: the middles of the widths at 1…8 mm lie about it without slope.
func TestRidgeAxisIsItsOwnLeastSquaresLine(t *testing.T) {
	j, truth := truthOf(t, func() Options { o := Random(9, Mandible); o.Shape.Undercut = 2; return o }())
	for _, s := range truth.Sites {
		sec := s.Section
		c, si := math.Cos(0.15), math.Sin(0.15)
		n := r3.Cross(sec.Buccal, sec.Up)
		sec.Buccal = r3.Add(r3.Scale(c, sec.Buccal), r3.Scale(si, n))
		a, err := j.TruthIn(sec, sec.Origin, nil)
		if err != nil {
			t.Fatal(err)
		}
		l := line{crest: a.Crest, axis: a.Axis}
		l.side = r3.Add(r3.Scale(-r3.Dot(a.Axis, sec.Up), sec.Buccal), r3.Scale(r3.Dot(a.Axis, sec.Buccal), sec.Up))
		slope, shift, m := j.midline(l)
		if m < 8 || math.Abs(slope) > 1e-7 || math.Abs(shift) > 1e-6 {
			t.Errorf("%s: %d widths, slope %g, shift %g", s.ID, m, slope, shift)
		}
	}
}

// Random jaws of both kinds can all be made and measured, each site inside its own small scan.
func TestRandomJawsAllHaveTruth(t *testing.T) {
	for seed := range uint64(24) {
		k := Kind(seed % 2)
		tooth := [2]int{36, 14}[k]
		o := small(t, Random(seed, k), tooth, 20)
		j, truth := truthOf(t, o)
		s := truth.Sites[0]
		if n := len(s.Ridge.Widths); n < 8 {
			t.Errorf("seed %d %v: %d widths", seed, k, n)
		}
		for _, w := range s.Ridge.Widths {
			if !(w.Width > 1 && w.Width < 25) {
				t.Errorf("seed %d %v: width %.2f mm at %g mm", seed, k, w.Width, w.At)
			}
		}
		if len(s.Ridge.Heights) == 0 {
			t.Errorf("seed %d %v: no height", seed, k)
		}
		if p := r3.Add(s.Ridge.Crest, r3.Scale(8, s.Ridge.Axis)); !j.grid.Contains(j.grid.Index(p)) {
			t.Errorf("seed %d %v: 8 mm below the crest is outside the small scan", seed, k)
		}
	}
}
