package practice

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/phantom"
)

// sitesOf draws n sites of a kind.
func sitesOf(t *testing.T, name string, n int) []Sealed {
	t.Helper()
	o := Options{Seed: 8, Salt: []byte("sixteen bytes...")}
	var out []Sealed
	for i := range n {
		it, err := o.site(i, wish{kindNamed(name), []Level{Easy, Middle, Hard}[i%3], -1})
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, it)
	}
	return out
}

// grey is the phantom's sharp grey value at a point of a sheet.
func grey(t *testing.T, it *Sealed) func(UV) float64 {
	t.Helper()
	jaw, _, err := it.place()
	if err != nil {
		t.Fatal(err)
	}
	return func(p UV) float64 { return jaw.Grey(it.Sheet.Frame.Patient(p)) }
}

// The clearance ends where the phantom paints the root: dentine behind the end of the true line, none before it; and no
// point of the picture nearer to the implant is dentine (a grid of 0.2 mm).
func TestTheClearanceEndsAtThePaintedRoot(t *testing.T) {
	const e = 0.01 // mm: the discs of a root stand 0.02 mm apart
	dentine := 2000.0
	for _, it := range sitesOf(t, "root beside the site", 6) {
		at, line := grey(t, &it), it.trueLine()
		n := UV{U: (line[1].U - line[0].U) / it.Truth, V: (line[1].V - line[0].V) / it.Truth}
		in := at(UV{U: line[1].U + e*n.U, V: line[1].V + e*n.V})
		out := at(UV{U: line[1].U - e*n.U, V: line[1].V - e*n.V})
		if in != dentine || out == dentine {
			t.Errorf("%.2f mm: %.0f before the root, %.0f in it", it.Truth, out, in)
		}
		for u := 0.0; u < it.Sheet.Width; u += 0.2 {
			for v := 0.0; v < it.Sheet.Height; v += 0.2 {
				q := UV{U: u, V: v}
				c := it.Sheet.Body.clamp(q)
				if d := math.Hypot(q.U-c.U, q.V-c.V); d < it.Truth-e && v < line[0].V+5 && at(q) == dentine {
					t.Fatalf("dentine %.2f mm from the implant, the clearance is %.2f mm", d, it.Truth)
				}
			}
		}
	}
}

// The loop is what the sharp picture shows: the canal's mesial end is found by walking along rows of the sheet from mesial to
// distal until the grey value is the canal's wall, and the foramen's border by walking along the wall. Both
// to 0.02 mm, the step of the walk.
func TestTheLoopIsWhereItIsPainted(t *testing.T) {
	const step = 0.02
	for _, it := range sitesOf(t, "anterior loop", 4) {
		at, line := grey(t, &it), it.trueLine()
		_, from, to := it.Profile.loopAlong(UV{U: 1})
		end := math.Inf(-1)
		for v := to.V - 0.4; v < to.V+0.4; v += step { // the buccal plate lies further up
			for u := to.U + 0.5; u > to.U-0.5; u -= step {
				if at(UV{U: u, V: v}) > 1000 { // marrow (400, and its texture) lies beyond the loop; its wall is cortex, 1600
					end = math.Max(end, u)
					break
				}
			}
		}
		if math.Abs(end-to.U) > 2*step {
			t.Errorf("the loop ends at %.3f mm, painted to %.3f mm", to.U, end)
		}
		// just under the wall: cortex mesial of the border, the canal distal of it
		under := func(u float64) float64 { return at(UV{U: u, V: from.V - 0.05}) }
		if mesial, distal := under(from.U+0.35), under(from.U-0.7); mesial == distal {
			t.Errorf("under the wall at %.2f mm: %.0f on both sides", from.U, mesial)
		}
		if math.Abs(line[1].U-line[0].U-it.Truth) > 1e-9 || line[0].V != line[1].V {
			t.Errorf("line %v of a loop of %.3f mm", line, it.Truth)
		}
	}
}

// A loop drawn so long (along the arch, between centres: the phantom's truth) is about so long on the sheet, where the canal
// leaves the bone at a slant, and the arch bends away from the section: not longer by more than 0.1 mm, not shorter by more than a
// fifth, and longer where it was drawn longer.
func TestALongerLoopIsLonger(t *testing.T) {
	o := Options{Salt: []byte("sixteen bytes...")}
	k, last := kindNamed("anterior loop"), 0.0
	for _, long := range []float64{2.5, 3.5, 4.5, 5.5, 6.5} {
		one := k
		one.draw = func(s *phantom.Options, _ int, _ spread) { s.Shape.Loop, s.Shape.Width = long, 7.5 }
		it := o.sketch(0, wish{one, Easy, -1}, rand.New(rand.NewPCG(1, 1)))
		if err := it.solve(); err != nil {
			t.Fatal(err)
		}
		t.Logf("drawn %.1f mm, shown %.2f mm", long, it.Truth)
		if it.Truth > long+0.1 || it.Truth < 0.8*long || it.Truth <= last {
			t.Errorf("drawn %.1f mm, shown %.2f mm, the one before %.2f mm", long, it.Truth, last)
		}
		last = it.Truth
	}
}

// Truth along the true line is the truth, a slanting line across the gap is longer, and the least of all lines through the
// implant is the truth: a symmetry of the measure.
func TestClearanceAlongALine(t *testing.T) {
	for _, it := range sitesOf(t, "root beside the site", 3) {
		q, line := it.Sheet.Question, it.trueLine()
		got, err := it.Profile.along(q, line[0], line[1])
		if err != nil || math.Abs(got-it.Truth) > 0.005 {
			t.Errorf("along the true line %.4f mm, truth %.4f mm (%v)", got, it.Truth, err)
		}
		for _, turn := range []float64{-0.1, -0.03, 0.03, 0.1} {
			a, b := turned(line, turn, 0)
			got, err := it.Profile.along(q, b, a)
			if err != nil || got < it.Truth-0.005 || got > it.Truth+0.1 {
				t.Errorf("along a line turned by %g: %.4f mm, truth %.4f mm (%v)", turn, got, it.Truth, err)
			}
		}
		// from the implant's axis on the truth is the same: only what lies outside the implant counts
		inside := UV{U: line[0].U - 0.5*(line[1].U-line[0].U)/it.Truth, V: line[0].V - 0.5*(line[1].V-line[0].V)/it.Truth}
		if got, err := it.Profile.along(q, inside, line[1]); err != nil || math.Abs(got-it.Truth) > 0.005 {
			t.Errorf("from inside the implant: %.4f mm, truth %.4f mm (%v)", got, it.Truth, err)
		}
		if _, err := it.Profile.along(q, UV{}, UV{U: 1}); err == nil {
			t.Error("a line beside implant and root has a clearance")
		}
	}
}

// What a section along the arch shows stands where it does whatever the truth: two loops of two lengths have one frame.
func TestTheSectionOfALoopTellsNothing(t *testing.T) {
	frames := map[r3.Vec]bool{}
	for _, long := range []float64{2.5, 6} {
		one := kindNamed("anterior loop")
		one.draw = func(s *phantom.Options, _ int, _ spread) { s.Shape.Loop, s.Shape.Width = long, 7.5 }
		it := Options{Salt: []byte("sixteen bytes...")}.sketch(0, wish{one, Easy, -1}, rand.New(rand.NewPCG(1, 1)))
		if err := it.solve(); err != nil {
			t.Fatal(err)
		}
		frames[it.Sheet.Frame.Origin] = true
	}
	if len(frames) != 1 {
		t.Errorf("two loops lie at %v", frames)
	}
}

// Every sheet lies in the field of its scan, however far the salt shifts the two (each along every axis by scatter at most): no
// corner pixel is beyond the middle of its outermost voxels, for every tooth, side and view.
func TestSheetsLieInTheirField(t *testing.T) {
	const half = 0.05 // of a pixel, mm
	seen := map[string]bool{}
	for _, k := range kinds {
		for _, tooth := range k.teeth {
			it := Options{Salt: []byte("sixteen bytes...")}.sketch(0, wish{k, Easy, -1}, rand.New(rand.NewPCG(1, 1)))
			it.Sheet.Tooth, it.Sheet.Question, it.Offset = tooth, k.ask[0], [5]float64{}
			lies := fmt.Sprint(tooth, measurands[k.ask[0].Quantity].view)
			if seen[lies] {
				continue
			}
			seen[lies] = true
			for range 2 {
				jaw, _, err := it.place()
				if err != nil {
					t.Fatal(err)
				}
				field, f := jaw.Options().Scan, it.Sheet.Frame
				for _, p := range []UV{{U: half, V: half}, {U: it.Sheet.Width - half, V: half}, {U: half, V: it.Sheet.Height - half}, {U: it.Sheet.Width - half, V: it.Sheet.Height - half}} {
					d := r3.Sub(f.Patient(p), *field.Centre)
					for axis, x := range [][3]float64{{d.X, f.U.X, f.V.X}, {d.Y, f.U.Y, f.V.Y}, {d.Z, f.U.Z, f.V.Z}} {
						far := math.Abs(x[0]) + scatter*(1+math.Abs(x[1])+math.Abs(x[2]))
						if most := voxelSize * float64(field.Size[axis]-1) / 2; far > most {
							t.Errorf("%s, tooth %d, %s: a corner lies up to %.2f mm from the middle, the field reaches %.2f mm", k.name, it.Sheet.Tooth, "xyz"[axis:axis+1], far, most)
						}
					}
				}
				it.mirror()
			}
		}
	}
}

// Every teaching site of the phantom is a kind of a set, with its jaw and its reason.
func TestEveryLessonIsAKind(t *testing.T) {
	for _, l := range phantom.TeachingSites(0) {
		if k := kindNamed(l.Name); k.name != l.Name || k.jaw != l.Options.Jaw || k.why != l.Teaches {
			t.Errorf("teaching site %q: kind %q, %v, %q", l.Name, k.name, k.jaw, k.why)
		}
	}
}
