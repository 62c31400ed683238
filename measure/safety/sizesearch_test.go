package safety

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/uncertainty"
)

// Reserve − U of a ball beside a cylinder, by hand: 4 mm of distance, margin 1 mm, u² of 0.09 mm² and a scale of 5 %.
// Told where it may stop and what floor is enough, it is the same in between and on the right side beyond.
func TestReserveOfAStructureByHand(t *testing.T) {
	body, _ := upright(v(0, 0, 0), 4, 10).Shape()
	rng := rand.New(rand.NewPCG(51, 52))
	for range 400 {
		d, scale := 8*rng.Float64()+1e-3, 0.2*rng.Float64()
		ball, _ := capsule(1, v(3+d, 0, -5)).Shape()
		j := judged{shape: ball, margin: 3 * rng.Float64(), u2: rng.Float64()}
		want := d - 2*math.Sqrt(j.u2+d*d*scale*scale) - j.margin
		near(t, "reserve − U, mm", j.reserve(body, math.Inf(1), math.Inf(-1), scale), want, 1e-9)
		for range 6 {
			stop, floor := want+4*rng.NormFloat64(), want+4*rng.NormFloat64()
			if stop < floor {
				stop, floor = floor, stop
			}
			got := j.reserve(body, stop, floor, scale)
			switch {
			case want > floor && want < stop:
				near(t, "in between, mm", got, want, 1e-9)
			case want >= stop && stop > 0 && got < stop-1e-9, want <= floor && got > floor+1e-9:
				t.Errorf("reserve − U %g mm, want %g mm; stop %g mm, floor %g mm", got, want, stop, floor)
			}
		}
	}
	ball, _ := capsule(1, v(7, 0, -5)).Shape()
	j := judged{shape: ball, margin: 1, u2: 0.09}
	near(t, "by hand, mm", j.reserve(body, math.Inf(1), math.Inf(-1), 0.05), 4-2*math.Sqrt(0.09+0.04)-1, 1e-9)
	near(t, "a scale that is not known at all, mm", j.reserve(body, 100, math.Inf(-1), 0.6), 4-2*math.Sqrt(0.09+5.76)-1, 1e-9)
}

// What the search compares is what the result tells: the least reserve − U over the findings and the bone.
func TestScoreIsTheResultsReserve(t *testing.T) {
	canal, root := capsule(1.5, v(-20, 3, -15), v(20, 1, -16)), capsule(1, v(7, 0, 1), v(6, 1, -12))
	canal.SD, root.SD, root.Kind = 0.3, 0.4, Root
	f := sizeSearch{scene: scene(t, canal, root), poses: poses(), bone: slab(9, 0.7, 1.5), rules: Margins(),
		opts: Options{Terms: []uncertainty.Term{{Std: 0.2}, {Std: 0.1}}, ScaleHalf: 0.02}}
	f.prepare()
	rng := rand.New(rand.NewPCG(53, 54))
	apart := 0
	for range 60 {
		p := Pose{Lateral: rng.NormFloat64(), Depth: rng.Float64(), InSection: 5 * rng.NormFloat64(), MesioDistal: 3 * rng.NormFloat64()}
		size := Size{Diameter: 3 + rng.Float64(), Length: 8 + 2*rng.Float64()}
		r, err := f.result(size, p, nil)
		if err != nil {
			t.Fatal(err)
		}
		reserve, u, _ := f.bone.Reserve(r.Implant, math.Inf(-1))
		want := reserve - 2*u
		for _, x := range r.Findings {
			want = min(want, x.Distance.Value-x.Distance.U()-x.Margin)
		}
		if r.Findings[0].Distance.Value < 0 || r.Findings[1].Distance.Value < 0 {
			continue
		}
		apart++
		near(t, "score, mm", f.score(size, p, math.Inf(-1)), want, 1e-9)
		if got := f.score(size, p, want+1); got > want+1 {
			t.Errorf("score %g mm of %g mm, where %g mm is too little", got, want, want+1)
		}
	}
	if apart < 30 {
		t.Errorf("only %d poses apart", apart)
	}
	f.bone = unsure{1, 0.3}
	near(t, "bone of 1 ± 0.3 mm", f.inBone(Implant{}, 0), 0.4, 1e-12)
}

// unsure is bone with the same reserve everywhere.
type unsure struct{ reserve, u float64 }

func (b unsure) Reserve(Implant, float64) (reserve, u float64, limit string) {
	return b.reserve, b.u, "plate"
}

// The search's last step is a 128th of the range: a slab whose middle lies that far aside is met exactly.
func TestSearchEndsWithItsFinestStep(t *testing.T) {
	st := poses()
	st.Lateral, st.Depth, st.InSection, st.MesioDistal = [2]float64{-1, 1}, [2]float64{}, [2]float64{}, [2]float64{}
	r := trySizes(t, scene(t), st, []Size{{Diameter: 4, Length: 10}}, slab(10, 2.0/128, 1.5), nil)[0]
	near(t, "lateral shift, mm", r.Pose.Lateral, 2.0/128, 1e-9)
	near(t, "reserve, mm", r.Reserve, 5-2-1.5, 1e-9)
}

// The grid of initial poses by hand: five shifts, three leans, both ends among them, the middle of the rest.
func TestGridOfInitialPoses(t *testing.T) {
	lo, hi := PoseRange{Lateral: [2]float64{-1, 3}, Depth: [2]float64{1, 2}, InSection: [2]float64{-10, 2}, MesioDistal: [2]float64{-3, 5}}.corners()
	var got [][4]float64
	grid(lo, hi, func(x [4]float64) { got = append(got, x) })
	var want [][4]float64
	for _, lateral := range []float64{-1, 0, 1, 2, 3} {
		for _, lean := range []float64{-10, -4, 2} {
			want = append(want, [4]float64{lateral, 1.5, lean, 1})
		}
	}
	if len(got) != len(want) {
		t.Fatalf("%d poses", len(got))
	}
	for i := range want {
		for k := range 4 {
			near(t, "pose", got[i][k], want[i][k], 1e-12)
		}
	}
}

// Two directions on a cap's rim are in it, though rounding puts them 1e-16 outside; the smallest cone of three on a
// great circle is that of the outer two.
func TestSmallestConeOfDirectionsInAPlane(t *testing.T) {
	for _, dirs := range [][]r3.Vec{{leaning(20, 0), leaning(0, 0), leaning(30, 180)}, {leaning(0, 0), leaning(20, 0), leaning(30, 180)}} {
		near(t, "half opening, °", widest(dirs, smallestCone(dirs)), 25, 1e-9)
	}
}
