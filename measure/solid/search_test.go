package solid

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// counted is a body that counts how often it is asked.
type counted struct {
	flatCone
	asked int
}

func (c *counted) signed(x r3.Vec) (float64, r3.Vec) { c.asked++; return c.flatCone.signed(x) }
func (c *counted) support(d r3.Vec) r3.Vec           { c.asked++; return c.flatCone.support(d) }

// drawn returns a random cone or cylinder within reach of the origin, mm, and a random piece of a chain.
func drawn(rng *rand.Rand, reach float64) (flatCone, roundCone) {
	vec := func() r3.Vec { return v(rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()) }
	f := newFlatCone(Frustum{Base: r3.Scale(reach, vec()), Axis: unit(vec()), Length: 5 + 8*rng.Float64(), Radius: 1.5 + rng.Float64(), TipRadius: 0.5 + rng.Float64()})
	a := r3.Scale(reach, vec())
	return f, newRoundCone(a, r3.Add(a, r3.Scale(5, vec())), 0.3+rng.Float64(), 0.3+rng.Float64())
}

// Two tangents close in on the least distance in a dozen questions in the mean, where halving the interval from 10 mm
// to 1e-12 mm would take 43 and never certify; a search that may stop, at a near gap or beyond a far one, asks fewer.
func TestLineSearchAsksFewPlaces(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 22))
	const n = 400
	all, stopped, enough := 0, 0, 0
	for range n {
		f, c := drawn(rng, 12)
		body := &counted{flatCone: f}
		g := lineSearch(&c, body, math.Inf(-1), math.Inf(1))
		all += body.asked
		if body.asked > 60 {
			t.Errorf("%d questions for %+v and %+v", body.asked, c, f)
		}
		body.asked = 0
		if h := lineSearch(&c, body, math.Inf(-1), g.Distance-1); h.Distance < g.Distance-1e-9 {
			t.Errorf("stopped beyond the distance: %g mm, want at least %g mm", h.Distance, g.Distance)
		}
		stopped += body.asked
		body.asked = 0
		if h := lineSearch(&c, body, g.Distance+1, math.Inf(1)); h.Distance >= g.Distance+1 {
			t.Errorf("ended with %g mm, want less than %g mm", h.Distance, g.Distance+1)
		}
		enough += body.asked
	}
	t.Logf("questions in the mean: %.2f, stopped %.2f, near enough %.2f", float64(all)/n, float64(stopped)/n, float64(enough)/n)
	if all > 8*n || 4*stopped > 3*all || 4*enough > 3*all {
		t.Errorf("%d questions, %d where it may stop, %d where a near gap is enough", all, stopped, enough)
	}
}

// Two cones apart are 1e-11 mm certain after a few dozen support points of each.
func TestGJKAsksFewSupports(t *testing.T) {
	rng := rand.New(rand.NewPCG(23, 24))
	all, apart := 0, 0
	for range 400 {
		f, _ := drawn(rng, 15)
		o, _ := drawn(rng, 15)
		a := &counted{flatCone: f}
		if _, ok := gjk(a, &o, r3.Sub(o.c, f.c)); !ok {
			continue
		}
		all, apart = all+a.asked, apart+1
	}
	t.Logf("%d pairs apart, %.2f supports in the mean", apart, float64(all)/float64(apart))
	if apart < 200 || all > 20*apart {
		t.Errorf("%d pairs apart, %d supports", apart, all)
	}
}

// What the boxes show to be farther than the nearest piece is never compared: pieces far along a chain are replaced by
// balls that would overlap everything, behind boxes that still say where the pieces were.
func TestFarPiecesAreNeverCompared(t *testing.T) {
	path, radii := []r3.Vec{}, []float64{}
	for i := range 129 {
		path, radii = append(path, v(float64(i), 0, 0)), append(radii, 0.5)
	}
	chain, err := Chain{path, radii}.Shape()
	if err != nil {
		t.Fatal(err)
	}
	for _, at := range []float64{3, 40.5, 77, 126} {
		trap := *chain
		trap.chain = append([]roundCone{}, chain.chain...)
		for i := range trap.chain {
			if math.Abs(float64(i)+0.5-at) > 8.5 { // beyond two leaves of four pieces
				trap.chain[i] = newRoundCone(v(at, 0, 0), v(at, 0, 0), 50, 50)
			}
		}
		im, _ := upright(v(at, 0, 15), 2, 10).Shape()
		for _, g := range []Gap{im.Gap(&trap), trap.Gap(im)} {
			near(t, "distance past the traps, mm", g.Distance, 4.5, 1e-9)
		}
		ball, _ := capsule(1, v(at, 5, 0)).Shape()
		near(t, "of a ball, mm", ball.Gap(&trap).Distance, 3.5, 1e-9)
	}
}

// A search told how near is near enough, and how far is too far, is right in between and on the right side beyond.
func TestEstimateIsTheDistanceInBetween(t *testing.T) {
	rng := rand.New(rand.NewPCG(25, 26))
	mesh, _ := sphereMesh(v(0, 0, 0), 3, 2)
	for range 300 {
		f, c := drawn(rng, 8)
		a := &Shape{cone: &f, tree: newTree([]box{f.box()})}
		b := &Shape{chain: []roundCone{c}, tree: newTree([]box{c.box()})}
		if rng.IntN(4) == 0 {
			b, _ = mesh.Shape()
		}
		d := a.Gap(b).Distance
		if got := a.Estimate(b, math.Inf(-1), math.Inf(1)); d > 0 && math.Abs(got-d) > 1e-9 || d < -0.02 && got > 0 {
			t.Errorf("estimate %g mm of %g mm", got, d)
		}
		if got := a.Estimate(b, d+1, math.Inf(1)); got > d+1 {
			t.Errorf("estimate %g mm of %g mm, %g mm is enough", got, d, d+1)
		}
		if got := a.Estimate(b, math.Inf(-1), d-1); d > 1 && got < d-1 {
			t.Errorf("estimate %g mm of %g mm, stop at %g mm", got, d, d-1)
		}
	}
	// By hand: the axis of a cylinder of 2 mm radius lies 1 mm under the roof of a capsule of 3 mm; 5 mm deep in a ball.
	im, _ := upright(v(0, 0, 0), 4, 10).Shape()
	across, _ := capsule(3, v(-20, 2, -5), v(20, 2, -5)).Shape()
	near(t, "axis in a capsule, mm", im.Estimate(across, math.Inf(-1), math.Inf(1)), -1-2, 1e-9)
	beside, _ := capsule(1, v(-20, 2.5, -5), v(20, 2.5, -5)).Shape()
	near(t, "axis beside a capsule, mm", im.Estimate(beside, math.Inf(-1), math.Inf(1)), 1.5-2, 1e-9)
	ball, dip := sphereMesh(v(0, 0, -5), 6, 4)
	in, _ := ball.Shape()
	near(t, "wholly in a surface, mm", im.Estimate(in, math.Inf(-1), math.Inf(1)), -6-2, dip+1e-9)
	half, _ := boxMesh(v(-30, -30, -30), v(30, 30, -6)).Shape()
	near(t, "in a surface as deep as the apex, mm", im.Estimate(half, math.Inf(-1), math.Inf(1)), -4-2, 1e-9)
	// Deeper in, the estimate is less, before the wall, through it and beyond.
	last := math.Inf(1)
	for z := 6.0; z > -8; z -= 0.5 {
		low, _ := upright(v(0, 0, z), 4, 10).Shape()
		now := low.Estimate(half, math.Inf(-1), math.Inf(1))
		if z < 4 && !(now < last) {
			t.Errorf("estimate %g mm at %g mm, %g mm half a millimetre higher", now, z, last)
		}
		last = now
	}
}

// Least translation of a cone out of a piece of a chain, over 40,000 directions n: hA(n) + hB(−n) by the bodies'
// definitions, which lies above the least by no more than a grid of 0.016 rad allows.
func TestDepthOfConeAndPieceByDirections(t *testing.T) {
	rng := rand.New(rand.NewPCG(27, 28))
	overlaps := 0
	for range 120 {
		f, c := drawn(rng, 2.5)
		a := &Shape{cone: &f, tree: newTree([]box{f.box()})}
		b := &Shape{chain: []roundCone{c}, tree: newTree([]box{c.box()})}
		d := a.Gap(b).Distance
		near(t, "swapped, mm", b.Gap(a).Distance, d, 1e-6)
		if d > -0.05 {
			continue
		}
		if overlaps++; overlaps > 12 {
			break
		}
		tip, end := r3.Add(f.c, r3.Scale(f.l, f.a)), r3.Add(c.a, r3.Scale(c.l, c.u))
		least := math.Inf(1)
		for i := range 200 {
			for j := range 200 {
				s, o := math.Sincos(math.Pi * (float64(i) + 0.5) / 200)
				sl, cl := math.Sincos(2 * math.Pi * float64(j) / 200)
				n := v(s*cl, s*sl, o)
				aside := math.Sqrt(max(1-r3.Dot(n, f.a)*r3.Dot(n, f.a), 0))
				ha := max(r3.Dot(n, f.c)+f.r0*aside, r3.Dot(n, tip)+f.r1*aside)
				hb := max(c.ra-r3.Dot(n, c.a), c.rb-r3.Dot(n, end))
				least = min(least, ha+hb)
			}
		}
		if -d > least+1e-9 || -d < least-0.3 {
			t.Errorf("depth %g mm, least over the directions %g mm", -d, least)
		}
	}
	if overlaps < 10 {
		t.Errorf("only %d overlaps", overlaps)
	}
}

// By hand: inside a cone of radii 3 and 2 over 10 mm the nearest side is as far as its normal says; on a chain's axis
// the way out is the radius there; the middles of both lie half way.
func TestSignedDistancesInsideByHand(t *testing.T) {
	f := newFlatCone(Frustum{Axis: v(0, 0, 1), Length: 10, Radius: 3, TipRadius: 2})
	for _, x := range []float64{0, 0.5, 1.5} {
		near(t, "inside a cone, mm", signedAt(&f, v(x, 0, 5)), (x-2.5)*10/math.Hypot(10, 1), 1e-12)
	}
	for _, z := range []float64{0.4, 9.5} { // nearer to an end
		d, n := f.signed(v(0.5, 0, z))
		near(t, "inside a cone at an end, mm", d, -min(z, 10-z), 1e-12)
		near(t, "its normal", n.Z, map[bool]float64{true: -1, false: 1}[z < 5], 1e-12)
	}
	c := newRoundCone(v(0, 0, 0), v(10, 0, 0), 3, 1)
	cos := math.Sqrt(1 - 0.04)
	d, n := c.signed(v(4, 0, 0))
	near(t, "on a chain's axis, mm", d, -(3 - 4*0.2), 1e-12)
	near(t, "length of the normal", r3.Norm(n), 1, 1e-12)
	near(t, "off the axis, mm", signedAt(&c, v(4, 1, 0)), cos-(3-4*0.2), 1e-12)
	for middle, want := range map[r3.Vec]r3.Vec{first(f.normals()): v(0, 0, 5), first(c.normals()): v(5, 0, 0)} {
		near(t, "middle", r3.Norm(r3.Sub(middle, want)), 0, 1e-12)
	}
}

func first(middle r3.Vec, _ func(r3.Vec) []r3.Vec) r3.Vec { return middle }
