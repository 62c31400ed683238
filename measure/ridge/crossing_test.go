package ridge

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"

	"ridgerule/measure/reformat"
)

// patchOf is a fitted patch at a place, its inward normal at an angle; all its parameters but the grey values are as drawn.
func patchOf(p params) *SurfacePatch {
	w := &SurfacePatch{at: reformat.UV{U: 3, V: -2}, in: turnBy(reformat.UV{U: -1}, 0.3), reach: 0.8, plate: true, p: p}
	for i := range p {
		w.active = append(w.active, i)
	}
	w.cov = mat.NewSymDense(len(p), nil)
	return w
}

// How a crossing moves along its line with each parameter, by differences of 1e-5: U of every length rests on it, and on its signs where two
// edges of one fit are subtracted. And where it is: on the surface, or nowhere.
func TestCrossingMovesWithItsParameters(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawn(t)
		p[pCXT], p[pCTT] = 0, 0
		w := patchOf(p)
		from := add(w.at, reformat.UV{U: rapid.Float64Range(-0.4, 0.4).Draw(t, "u"), V: rapid.Float64Range(-0.4, 0.4).Draw(t, "v")})
		dir := turnBy(w.in, rapid.Float64Range(-0.8, 0.8).Draw(t, "angle"))
		for name, meet := range map[string]func(*SurfacePatch) (crossing, bool){
			"outer": func(w *SurfacePatch) (crossing, bool) { return w.outer(from, dir) }, "inner": func(w *SurfacePatch) (crossing, bool) { return w.inner(from, dir) },
		} {
			c, ok := meet(w)
			if !ok {
				continue // past the patch
			}
			rel := sub(c.at, w.at)
			n, x := dot(rel, w.in), dot(rel, left(w.in))
			behind := 0.0
			if name == "inner" {
				behind = p[pTau] + p[pTauX]*x + 0.5*p[pTauXX]*x*x
			}
			if d := p.distance(n, x, 0) - behind; math.Abs(d) > 1e-7 {
				t.Fatalf("%s: %g mm beside the surface", name, d)
			}
			if off := cross(sub(c.at, from), dir); math.Abs(off) > 1e-9 {
				t.Fatalf("%s: %g mm beside the line", name, off)
			}
			for i := range p {
				const h = 1e-5
				a, b := patchOf(p), patchOf(p)
				a.p[i] -= h
				b.p[i] += h
				low, ok1 := meet(a)
				high, ok2 := meet(b)
				if !ok1 || !ok2 {
					continue
				}
				want := dot(sub(high.at, low.at), dir) / (2 * h)
				if math.Abs(c.by[i]-want) > 1e-3*math.Abs(want)+2e-4 {
					t.Fatalf("%s by parameter %d: %g, by differences %g", name, i, c.by[i], want)
				}
			}
			// How squarely: the depth's change along the line.
			const h = 1e-5
			depth := func(s float64) float64 {
				q := sub(add(c.at, scale(s, dir)), w.at)
				x := dot(q, left(w.in))
				d := 0.0
				if name == "inner" {
					d = p.depth(x)
				}
				return p.distance(dot(q, w.in), x, 0) - d
			}
			if want := math.Min(1, math.Abs(depth(h)-depth(-h))/(2*h)); math.Abs(c.square-want) > 1e-6 {
				t.Fatalf("%s: square %g, want %g", name, c.square, want)
			}
		}
	})
}

// A line along the surface, and one that meets it far outside of what was fitted, have no crossing; without an inner surface there is none.
func TestLinesWithoutACrossing(t *testing.T) {
	w := patchOf(params{pTau: 1, pSigma: 0.2})
	_, ok := w.outer(w.at, left(w.in))
	require.False(t, ok)
	for far, want := range map[float64]bool{0: true, 3.1: true, 3.3: false} { // 4 × 0.8 mm
		_, ok := w.outer(add(w.at, scale(far, left(w.in))), w.in)
		require.Equal(t, want, ok, "%g", far)
	}
	slant := func(deg float64) bool {
		_, ok := w.outer(add(w.at, scale(0.01, w.in)), turnBy(left(w.in), deg*math.Pi/180))
		return ok
	}
	require.True(t, slant(3.2))
	require.False(t, slant(2.5), "3° off the surface")
	w.plate = false
	_, ok = w.inner(w.at, w.in)
	require.False(t, ok)
	require.InDelta(t, 1, dot(w.outwardAt(w.at), scale(-1, w.in)), 1e-12)
	// On a circle of radius 2 the normal at an arc of 0.5 mm is turned by 0.25 rad.
	round := patchOf(params{pCXX: 0.5, pSigma: 0.2})
	p := add(round.at, add(scale(2-2*math.Cos(0.25), round.in), scale(2*math.Sin(0.25), left(round.in))))
	require.InDelta(t, 0.25, math.Abs(math.Asin(cross(round.outwardAt(p), scale(-1, round.in)))), 1e-9)
	require.InDelta(t, 0, norm(sub(round.outwardAt(p), unit(sub(p, add(round.at, scale(2, round.in)))))), 1e-9)
}

// The standard uncertainty of a sum of parameters is √(jᵀ·C·j), with what correlated noise adds; that never makes it less.
func TestSpreadIsThatOfTheCovariance(t *testing.T) {
	w := &SurfacePatch{active: []int{pE, pTau}, cov: mat.NewSymDense(2, []float64{0.04, 0.01, 0.01, 0.09})}
	var by params
	by[pE], by[pTau], by[pGA] = 2, -1, 100
	require.InDelta(t, math.Sqrt(4*0.04-2*2*0.01+0.09), w.spread(by), 1e-12)
	require.InDelta(t, 0.2, w.spread(only(pE)), 1e-12)
	w.more = mat.NewSymDense(2, []float64{0.05, 0, 0, 0})
	require.InDelta(t, 0.3, w.spread(only(pE)), 1e-12)
	w.more = mat.NewSymDense(2, []float64{-0.05, 0, 0, 0})
	require.InDelta(t, 0.2, w.spread(only(pE)), 1e-12)
	require.True(t, w.near(reformat.UV{}) == false)
	w.reach = 1
	require.True(t, w.near(reformat.UV{U: 0.44}))
	require.False(t, w.near(reformat.UV{U: 0.46}))
}

// The reach of a patch's part is that share of its half-axes.
func TestPartOfAPatch(t *testing.T) {
	p := patch{across: 1, along: 2}
	all := []reformat.VoxelSample{{X: 0.79}, {X: 0.81}, {T: 1.59}, {T: -1.61}, {X: 0.56, T: 1.12}, {X: 0.57, T: 1.14}}
	require.Equal(t, []reformat.VoxelSample{all[0], all[2], all[4]}, p.part(0.8, all, nil))
}

// A fitted wall serves what lies within 0.45 of its reach and faces the same way to 26°; where the line meets it farther than 1.2 reaches from where it was
// looked for, the line runs along it.
func TestWallThatServesAgain(t *testing.T) {
	w := patchOf(params{pTau: 1, pSigma: 0.2, pG0: soft, pG1: cortex})
	w.at, w.in, w.reach = reformat.UV{}, reformat.UV{U: -1}, 2
	o := (&Outline{}).Fit()
	o.walls = []*SurfacePatch{w}
	at := func(place reformat.UV, deg float64) error {
		d := turnBy(reformat.UV{U: -1}, deg*math.Pi/180)
		p := sub(place, scale(5, d))
		c, got, err := o.edge(p, d, hit{s: 5, in: w.in})
		if err == nil {
			require.Same(t, w, got)
			require.InDelta(t, 0, c.at.U, 1e-9)
		}
		return err
	}
	require.NoError(t, at(reformat.UV{U: 0.85}, 0))
	require.NoError(t, at(reformat.UV{U: 0.5}, 70), "0.5/cos 70° = 1.5 mm")
	require.ErrorIs(t, at(reformat.UV{U: 0.5}, 80), ErrNoEdge, "2.9 mm, past 1.2 × 2")
	got, err := o.wall(reformat.UV{V: 0.5}, turnBy(w.in, 25*math.Pi/180))
	require.NoError(t, err)
	require.Same(t, w, got)
}

// A plate of 2 mm on a line that leans by 30° goes 2·cos 30° across the section. Where its wall follows the arch by 0.2 a mm it is longer by 0.2 times that per
// radian of turn, of which the second order, by a section 0.1 rad askew, takes a part: by hand (see Placement.direction).
func TestDirectionOfALeaningPlate(t *testing.T) {
	f := scene{voxel: 0.4, min: reformat.UV{U: -1, V: -1}, max: reformat.UV{U: 1, V: 1}, depth: 1}.field(t, func(reformat.UV) float64 { return soft })
	across := 2 * math.Cos(math.Pi/6)
	own := across * 0.1 / 2
	for st, want := range map[float64]float64{0: own, 0.2: math.Sqrt(math.Pow(0.2*across, 2) - own*own)} {
		w := patchOf(params{pTau: 2, pSigma: 0.2, pG0: soft, pG1: cortex, pG2: marrow, pST: st})
		w.in = turnBy(reformat.UV{U: -1}, math.Pi/6)
		o := (&Outline{field: f}).Fit()
		p := o.plate(w, sub(w.at, w.in), w.in, Placement{Rotation: 0.1})
		require.NoError(t, p.Err)
		stretch := math.Sqrt(1 + st*st) // the model's distance is square to the surface
		require.InDelta(t, 2*stretch, p.Value, 0.05)
		require.InDelta(t, 0.1*want, math.Abs(term(t, p.Budget, "section direction").Contribution()), 0.002)
	}
}
