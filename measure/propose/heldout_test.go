package propose

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/phantom"
	"ridgerule/measure/plan"
)

// Held-out jaws: drawn anew from RIDGERULE_SEED, both jaws, with no, some or all teeth, with and without streaks from
// metal, heads turned by up to 20° and tilted by up to 15°. RIDGERULE_LONG says how many volumes of each jaw; each is
// held three ways. The arch runs within 1.5 mm of the ridge's middle over 95 % of its length, or there is no proposal,
// at most once in ten; the jaw is right or "cannot tell". The occlusal direction leans by more than 6°, as much as
// [TestTurnedAndTiltedHeads] allows, at most once in twenty.
func TestHeldOutJaws(t *testing.T) {
	n, _ := strconv.Atoi(os.Getenv("RIDGERULE_LONG"))
	if n == 0 {
		t.Skip("RIDGERULE_LONG=4 draws four volumes of each jaw")
	}
	r := rand.New(rand.NewPCG(seed(), 11))
	all, none, wrong, far, off95, leans := 0, 0, 0, 0, []float64(nil), []float64(nil)
	for i := range n {
		for _, kind := range []phantom.Kind{phantom.Mandible, phantom.Maxilla} {
			o, says := drawn(r, kind, i)
			j, v := jawOf(t, o)
			for range 3 {
				q := pose{40*r.Float64() - 20, 30*r.Float64() - 15, 10*r.Float64() - 5}
				s := held(j, v, q)
				p, err := Look(context.Background(), s.v, Options{})
				all++
				if err != nil {
					none++
					t.Logf("%v, %s, %.0f: %v", kind, says, q, err)
					continue
				}
				off := s.off(p)
				p95 := off[len(off)*95/100]
				if p.Jaw != s.kind {
					wrong++
				}
				if !(p95 <= 1.5) {
					far++
				}
				off95, leans = append(off95, p95), append(leans, s.lean(p))
				mid := math.NaN()
				if p.Midline != nil {
					mid = s.back(*p.Midline).X
				}
				t.Logf("%v, %s, %.0f: %v, %d mm, 95 %% within %.2f mm, most %.2f; midline %.1f mm off; lean %.1f°; floors %s", kind, says, q, p.Jaw,
					len(off), p95, off[len(off)-1], mid, s.lean(p), s.floors(p))
			}
		}
	}
	t.Logf("%d looks: %d without a proposal, %d wrong jaws, %d arches off the ridge", all, none, wrong, far)
	slices.Sort(off95)
	slices.Sort(leans)
	share := func(x []float64, p int) float64 { return x[min(len(x)-1, len(x)*p/100)] }
	t.Logf("95 %% of an arch: median %.2f mm, 95 %% %.2f, most %.2f; occlusal direction: median %.1f°, 95 %% %.1f°, most %.1f°",
		share(off95, 50), share(off95, 95), share(off95, 100), share(leans, 50), share(leans, 95), share(leans, 100))
	assert.Zero(t, wrong)
	assert.LessOrEqual(t, share(leans, 95), 6.0)
	assert.Zero(t, far)
	assert.LessOrEqual(t, none, (all+9)/10)
}

// drawn returns the options of a jaw, and what is special about it.
func drawn(r *rand.Rand, kind phantom.Kind, i int) (phantom.Options, string) {
	o := phantom.Demo(kind)
	o.Seed = r.Uint64()
	o.Shape.Arch = 0.88 + 0.24*r.Float64()
	o.Shape.Width = 5.5 + 3.5*r.Float64()
	o.Shape.Tilt = 12*r.Float64() - 2
	o.Scan.Noise = 60 + 60*r.Float64()
	quadrant := map[phantom.Kind]int{phantom.Mandible: 30, phantom.Maxilla: 10}[kind]
	o.Teeth, o.Sites = []int{}, []int{quadrant + 8}
	says := "no teeth"
	switch style := (i + int(seed()%4)) % 4; style { // each seed begins with another one
	case 1:
		says = "some teeth"
		for n := 1; n <= 7; n++ {
			for _, side := range [2]int{quadrant, quadrant + 10} {
				if r.Float64() < 0.5 {
					o.Teeth = append(o.Teeth, side+n)
				}
			}
		}
	case 2, 3:
		says = "all teeth"
		for n := 7; n >= 1; n-- {
			o.Teeth = append(o.Teeth, quadrant+n, quadrant+10+n)
		}
		if style == 3 {
			says, o.Artefacts.Streaks = "all teeth, metal", 500
		}
	}
	return o, says
}

// floors words how far the proposed floors lie over the true ones, toward the cavity, mm: along the jaw's height, at each
// node, where bone ends in the true shape and air follows within a thick lining. Over the floor is the unsafe side.
func (s subject) floors(p *Proposal) string {
	const within, lining = 6.0, 5.0
	var over []float64
	none := 0
	for _, c := range p.Cavities {
		for _, at := range c.Path {
			up := r3.Scale(-1, p.Occlusal)
			touch := r3.Sub(at, r3.Scale(CavityRadius, up))
			grey := func(d float64) float64 { return s.jaw.Grey(s.back(r3.Add(touch, r3.Scale(d, up)))) }
			best := math.Inf(1)
			for d := -within; d <= within; d += 0.1 {
				if grey(d-0.05) > 300 && grey(d+0.05) < 300 && slices.ContainsFunc([]float64{0.5, 1, 2, 3, lining}, func(x float64) bool { return grey(d+x) < -500 }) && math.Abs(d) < math.Abs(best) {
					best = d
				}
			}
			if math.IsInf(best, 1) {
				none++
				continue
			}
			over = append(over, -best)
		}
	}
	if len(over) == 0 {
		return "none"
	}
	slices.Sort(over)
	return fmt.Sprintf("%d nodes, %.1f to %.1f mm over the floor, median %.1f; %d without one", len(over), over[0], over[len(over)-1], over[len(over)/2], none)
}

// Part of a field: the quarter of a jaw that a small field shows. No midline, no tooth numbers; the jaw is right where
// it is told at all, and a named jaw's arch runs within 1.5 mm of the ridge's middle, or there is none.
func TestQuadrant(t *testing.T) {
	for _, kind := range []phantom.Kind{phantom.Mandible, phantom.Maxilla} {
		j, v := demo(t, kind)
		s := held(j, cropped(v, r3.Vec{X: 6, Y: -24, Z: -100}, r3.Vec{X: 48, Y: 20, Z: 100}), pose{})
		p, err := Look(context.Background(), s.v, Options{})
		if err == nil {
			assert.Equal(t, s.kind, p.Jaw, "%v", p.Votes)
		} else {
			assert.True(t, errors.Is(err, ErrJaw) || errors.Is(err, ErrArch), err)
			t.Log(kind, err)
		}
		p, err = Look(context.Background(), s.v, Options{Jaw: s.kind})
		if err != nil {
			assert.ErrorIs(t, err, ErrArch)
			t.Log(kind, err)
			continue
		}
		assert.Nil(t, p.Midline)
		for _, site := range p.Sites {
			assert.Empty(t, site.Tooth)
		}
		off := s.off(p)
		assert.Less(t, off[len(off)*95/100], 1.5, "%v", kind)
		t.Logf("%v: %d mm, 95 %% within %.2f mm; %v", kind, len(off), off[len(off)*95/100], p.None)
	}
}

// Held-out parts of a field: a quarter of each drawn jaw, at a side and place drawn by chance. A jaw that is told is the right
// one; of a named jaw the arch runs within 1.5 mm of the ridge's middle, or there is no proposal.
func TestHeldOutQuadrants(t *testing.T) {
	n, _ := strconv.Atoi(os.Getenv("RIDGERULE_LONG"))
	if n == 0 {
		t.Skip("RIDGERULE_LONG=4 draws four volumes of each jaw")
	}
	r := rand.New(rand.NewPCG(seed(), 12))
	all, none, told, wrong, far := 0, 0, 0, 0, 0
	for i := range n {
		for _, kind := range []phantom.Kind{phantom.Mandible, phantom.Maxilla} {
			o, says := drawn(r, kind, i)
			j, v := jawOf(t, o)
			for _, side := range [2]float64{-1, 1} {
				inner, back := 2+6*r.Float64(), 15+15*r.Float64()
				a, b := side*inner, side*(inner+42)
				s := held(j, cropped(v, r3.Vec{X: math.Min(a, b), Y: back - 45, Z: -100}, r3.Vec{X: math.Max(a, b), Y: back, Z: 100}), pose{})
				all++
				if p, err := Look(context.Background(), s.v, Options{}); err == nil {
					told++
					if p.Jaw != s.kind {
						wrong++
						t.Logf("%v, %s: told as %v: %v", kind, says, p.Jaw, p.Votes)
					}
				}
				p, err := Look(context.Background(), s.v, Options{Jaw: s.kind})
				if err != nil {
					none++
					t.Logf("%v, %s, %.0f to %.0f: %v", kind, says, a, b, err)
					continue
				}
				off := s.off(p)
				if p95 := off[len(off)*95/100]; !(p95 <= 1.5) {
					far++
					t.Logf("%v, %s, %.0f to %.0f, back to %.0f: %d mm, 95 %% within %.2f mm", kind, says, a, b, back, len(off), p95)
				}
			}
		}
	}
	t.Logf("%d parts: the jaw told of %d, wrong of %d; named: %d without a proposal, %d arches off the ridge", all, told, wrong, none, far)
	assert.Zero(t, wrong)
	assert.Zero(t, far)
}

// cropped returns the part of v between two corners of the patient's box, mm.
func cropped(v *volume.Volume, low, high r3.Vec) *volume.Volume {
	a, b := v.Index(low), v.Index(high)
	at := func(x, y float64, n int) (from, to int) {
		return max(0, int(math.Min(x, y))), min(n, int(math.Max(x, y))+1)
	}
	i0, i1 := at(a.I, b.I, v.Size[0])
	j0, j1 := at(a.J, b.J, v.Size[1])
	k0, k1 := at(a.K, b.K, v.Size[2])
	out := &volume.Volume{Grid: v.Grid, Rescale: v.Rescale, Blank: v.Blank}
	out.Size = [3]int{i1 - i0, j1 - j0, k1 - k0}
	out.Origin = v.Patient(volume.Index{I: float64(i0), J: float64(j0), K: float64(k0)})
	for k := k0; k < k1; k++ {
		for j := j0; j < j1; j++ {
			row := (k*v.Size[1] + j) * v.Size[0]
			out.Stored = append(out.Stored, v.Stored[row+i0:row+i1]...)
		}
	}
	return out
}

// Both jaws in the field are a question for the user; the one that is named is proposed, or nothing.
func TestBothJaws(t *testing.T) {
	low, mandible := demo(t, phantom.Mandible)
	high, maxilla := demo(t, phantom.Maxilla)
	lift := r3.Vec{Z: 26} // of the upper jaw: the mouth a little open
	v := stacked(mandible, maxilla, lift)
	_, err := Look(context.Background(), v, Options{})
	assert.ErrorIs(t, err, ErrJaw)
	t.Log(err)
	for _, j := range []struct {
		jaw  *phantom.Jaw
		kind plan.Jaw
		off  r3.Vec
	}{{low, plan.Mandible, r3.Vec{}}, {high, plan.Maxilla, lift}} {
		p, err := Look(context.Background(), v, Options{Jaw: j.kind})
		if err != nil {
			assert.ErrorIs(t, err, ErrArch)
			t.Log(j.kind, err)
			continue
		}
		s := subject{j.jaw, j.kind, v, func(p r3.Vec) r3.Vec { return p }}
		for i := range p.Arch {
			p.Arch[i] = r3.Sub(p.Arch[i], j.off)
		}
		off := s.off(p)
		assert.Less(t, off[len(off)*95/100], 1.5, "%v", j.kind)
		t.Logf("%v: 95 %% within %.2f mm", j.kind, off[len(off)*95/100])
	}
}

// stacked returns one field with the lower jaw and the upper one lifted, on the lower one's grid made taller: below the
// half-way height the lower jaw's values, above it the upper jaw's.
func stacked(lower, upper *volume.Volume, lift r3.Vec) *volume.Volume {
	out := &volume.Volume{Grid: lower.Grid, Rescale: lower.Rescale}
	top := upper.Bounds().Max.Z + lift.Z
	out.Size[2] = int((top-lower.Origin.Z)/lower.Step[2].Z) + 1
	half := lift.Z / 2
	for k := range out.Size[2] {
		for j := range out.Size[1] {
			for i := range out.Size[0] {
				p := out.Patient(volume.Index{I: float64(i), J: float64(j), K: float64(k)})
				g := upper.At(r3.Sub(p, lift))
				if p.Z < half {
					g = lower.At(p)
				}
				if math.IsNaN(g) {
					g = -1000
				}
				out.Stored = append(out.Stored, int16(g))
			}
		}
	}
	return out
}
