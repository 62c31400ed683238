package trace

import (
	"context"
	"math"
	"testing"
)

func uniform(n [3]int, step float64) *front {
	return newFront(n, step, func(int) float64 { return 1 })
}

// First-order arrival times from a point source at speed 1 on a unit lattice.
// Source: reference values computed apart from this code, 12 digits.
func TestFirstOrderFrontHasItsKnownTimes(t *testing.T) {
	f := uniform([3]int{7, 7, 7}, 1)
	if err := f.run(t.Context(), [3]float64{3, 3, 3}, [3]float64{6, 6, 6}, 1); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		d    [3]int
		want float64
	}{
		{[3]int{1, 0, 0}, 1},
		{[3]int{1, 1, 0}, 1.707106781187},
		{[3]int{2, 1, 0}, 2.545328925},
		{[3]int{2, 2, 0}, 3.252435707},
		{[3]int{1, 1, 1}, 2.284457050},
	} {
		got := f.t[((3+c.d[2])*7+3+c.d[1])*7+3+c.d[0]]
		if math.Abs(got-c.want) > 1e-9 {
			t.Errorf("T%v = %.12f, want %.12f", c.d, got, c.want)
		}
	}
}

// worst returns the largest difference between arrival time and distance in a cube of 4 mm
// around a source ball of 0.8 mm.
func worst(order, perMM int) float64 {
	n := 4*perMM + 1
	f := uniform([3]int{n, n, n}, 1/float64(perMM))
	source := [3]float64{float64(n-1) / 2, float64(n-1) / 2, float64(n-1) / 2}
	f.order = order
	f.start(source, 0.8*float64(perMM))
	if err := f.spread(context.Background(), map[int]bool{-1: true}); err != nil { // a goal never reached
		panic(err)
	}
	w := 0.0
	for node, got := range f.t {
		w = max(w, math.Abs(got-f.distance(source, node)))
	}
	return w
}

// Halving the step quarters the error of a second-order front (the ball keeps its size in mm,
// so the solution is smooth outside it), and halves that of a first-order one.
func TestSecondOrderFrontConvergesQuadratically(t *testing.T) {
	a, b := worst(2, 5), worst(2, 10)
	if rate := math.Log2(a / b); rate < 1.7 {
		t.Errorf("errors %.5f mm at step 0.2 mm, %.5f mm at 0.1 mm: order %.2f, want about 2", a, b, rate)
	}
	if b > 0.01 {
		t.Errorf("error at step 0.1 mm is %.5f mm, want below 0.01 mm", b)
	}
	if c, d := worst(1, 5), worst(1, 10); math.Log2(c/d) > 1.3 || d < 3*b {
		t.Errorf("first order errs %.5f, %.5f mm: this test cannot tell the orders apart", c, d)
	}
}

// The way back in a uniform medium is the straight line.
func TestDescentIsStraightAtUniformSpeed(t *testing.T) {
	f := uniform([3]int{40, 20, 20}, 0.3)
	from, to := [3]float64{3.2, 4.7, 5.1}, [3]float64{36.3, 15.2, 11.8}
	if err := f.run(t.Context(), from, to, 2); err != nil {
		t.Fatal(err)
	}
	path, err := f.descend(to, from)
	if err != nil {
		t.Fatal(err)
	}
	long := apart(from, to)
	for _, p := range path {
		along := 0.0
		for i := range 3 {
			along += (p[i] - from[i]) * (to[i] - from[i]) / long
		}
		off := math.Sqrt(math.Max(0, apart(p, from)*apart(p, from)-along*along)) * 0.3
		if off > 0.075 { // a quarter of a step: the path is finer than the lattice
			t.Errorf("node (%.2f, %.2f, %.2f) lies %.3f mm off the line", p[0], p[1], p[2], off)
		}
	}
}

// A front does not enter where the speed is 0.
func TestFrontStopsAtAWall(t *testing.T) {
	f := newFront([3]int{9, 9, 9}, 1, func(node int) float64 {
		if node%9 == 4 {
			return 0
		}
		return 1
	})
	if err := f.run(t.Context(), [3]float64{1, 4, 4}, [3]float64{7, 4, 4}, 2); err == nil {
		t.Error("the front came through a wall")
	}
}
