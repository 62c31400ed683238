package phantom

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// Each teaching site can be made, has truth, and the truth shows what it is about.
func TestLessonsHaveTheTruthOfWhatTheyTeach(t *testing.T) {
	shows := map[string]func(s SiteTruth, all Truth) bool{
		"ample ridge": func(s SiteTruth, _ Truth) bool {
			return s.Design.Widths[2].Width > 7 && s.Design.Heights[0].Height > 14
		},
		"knife-edge crest": func(s SiteTruth, _ Truth) bool { return s.Design.Widths[0].Width < 4 && s.Design.Widths[9].Width > 6 },
		"thin buccal plate": func(s SiteTruth, _ Truth) bool {
			p := s.Design.Widths[5].Buccal
			return p != nil && *p > 0.3 && *p < 0.7
		},
		"lingual undercut under the mylohyoid line": func(s SiteTruth, _ Truth) bool { return s.Design.Lingual.Depth > 2 && s.Design.Lingual.Level > 10 },
		"low sinus with septum": func(s SiteTruth, _ Truth) bool {
			h := s.Design.Heights[0]
			return h.To == "sinus" && s.Design.Beside > 3 && s.Design.Beside < 6 && h.Height > s.Design.Beside+3
		},
		"unhealed socket":      func(s SiteTruth, _ Truth) bool { return s.Design.Socket != nil && s.Design.Socket.Depth > 9 },
		"healed socket":        func(s SiteTruth, _ Truth) bool { return s.Design.Socket != nil },
		"canal near the crest": func(s SiteTruth, _ Truth) bool { h := s.Design.Heights[0]; return h.To == "canal" && h.Height < 9 },
		"anterior loop":        func(_ SiteTruth, all Truth) bool { return len(all.Loops) == 2 && math.Abs(all.Loops[0].Length-5) < 0.3 },
		"ridge tilted in its section": func(s SiteTruth, _ Truth) bool {
			return math.Abs(s.Design.Tilt-24) < 3 && s.Occlusal.Widths[4].Width > s.Design.Widths[4].Width
		},
		"root beside the site": func(s SiteTruth, _ Truth) bool {
			for _, c := range s.Implant.Clearances {
				if c.To == "root 34" {
					return c.Distance < 2
				}
			}
			return false
		},
	}
	for _, l := range TeachingSites(3) {
		_, truth := truthOf(t, l.Options)
		s := truth.Sites[0]
		if f := shows[l.Name]; f == nil || !f(s, truth) {
			t.Errorf("%s: the truth does not show it: %+v %+v", l.Name, s.Design, truth.Loops)
		}
	}
}

// The truth of a socket is where the sharp shape changes: bone beside it, soft tissue in it, bone below its floor.
func TestSocketIsPaintedWhereItsTruthIs(t *testing.T) {
	const e = 1e-3 // mm either side
	j, truth := truthOf(t, Options{Shape: Shape{Width: 9}, Sites: []int{35}, Sockets: []int{35}, Teeth: []int{}})
	s, g := truth.Sites[0], j.opt.Grey
	a := s.Design
	side := r3.Add(r3.Scale(-r3.Dot(a.Axis, s.Section.Up), s.Section.Buccal), r3.Scale(r3.Dot(a.Axis, s.Section.Buccal), s.Section.Up))
	at := func(h, b float64) float64 {
		return j.Grey(r3.Add(a.Crest, r3.Add(r3.Scale(h, a.Axis), r3.Scale(b, side))))
	}
	if in, out := at(a.Socket.Depth-e, 0), at(a.Socket.Depth+e, 0); in != g.Soft || out != g.Cortex {
		t.Errorf("floor at %.3f mm: %.0f then %.0f", a.Socket.Depth, in, out)
	}
	if got := at(e, 0); got != g.Soft {
		t.Errorf("under the level of the crest: %.0f, want soft tissue", got)
	}
	for _, w := range a.Socket.Walls {
		lo, hi, err := j.Chord(r3.Add(a.Crest, r3.Scale(w.At, a.Axis)), side, across)
		if err != nil || w.Buccal == nil || w.Lingual == nil {
			t.Fatalf("%g mm: walls %v %v, %v", w.At, w.Buccal, w.Lingual, err)
		}
		for name, b := range map[string]float64{"buccal": hi - *w.Buccal, "lingual": lo + *w.Lingual} {
			outward := math.Copysign(e, b)
			if in, out := at(w.At, b-outward), at(w.At, b+outward); in != g.Soft || out != g.Cortex {
				t.Errorf("%s wall at %g mm: %.0f then %.0f", name, w.At, in, out)
			}
		}
	}
	if len(a.Socket.Walls) < 8 {
		t.Errorf("%d chords through the socket", len(a.Socket.Walls))
	}
}

// A healing socket lets the crest sink by its share of 1.5 mm in its middle: closed form, 0.05 mm for the
// blending of the stations. Canal and base stay where they are.
func TestHealedSocketLowersTheCrest(t *testing.T) {
	heights := func(healing float64) (canal, border, width float64) {
		_, truth := truthOf(t, Options{Sites: []int{36}, Sockets: []int{36}, Healing: healing, Teeth: []int{}})
		a := truth.Sites[0].Design
		return a.Heights[0].Height, a.Heights[1].Height, a.Widths[8].Width
	}
	c0, b0, w0 := heights(0)
	c1, b1, w1 := heights(0.5)
	near(t, "canal", c0-c1, 0.75, 0.05)
	near(t, "border", b0-b1, 0.75, 0.05)
	near(t, "width", w1, 0.9*w0, 0.05)
}

// The loop's end is drawn Loop mm past the foramen along the arch, at the canal's offset from it.
func TestAnteriorLoopIsAsLongAsDrawn(t *testing.T) {
	j, truth := truthOf(t, Options{Shape: Shape{Loop: 4}, Sites: []int{33}, Teeth: []int{}})
	if len(truth.Loops) != 2 {
		t.Fatalf("loops %+v", truth.Loops)
	}
	for _, l := range truth.Loops {
		near(t, l.Side, l.Length, 4, 0.05)
	}
	kinds := map[string]int{}
	for _, s := range j.Plan().Structures {
		kinds[s.Kind]++
	}
	if kinds["anterior_loop"] != 2 || kinds["canal"] != 2 {
		t.Errorf("structures %v", kinds)
	}
}
