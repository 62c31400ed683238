package fit

import (
	"math"
	"testing"
)

// A bowl |x − at| has its least where it was put, wherever that is; a slope at its end.
func TestGoldenFindsTheLeast(t *testing.T) {
	for _, at := range []float64{-2, -1.7, -0.4, 0.03, 1.1, 2.9, 3, -5, 7} {
		for _, tol := range []float64{1e-2, 1e-6, 1e-12} {
			asked := 0
			x, least := Golden(-2, 3, tol, func(x float64) float64 {
				if asked++; x < -2 || x > 3 {
					t.Fatalf("asked outside the interval: %g", x)
				}
				return 7 + math.Abs(x-at)
			})
			want := min(max(at, -2), 3)
			if math.Abs(x-want) > tol {
				t.Errorf("x = %g, want %g within %g", x, want, tol)
			}
			if least != 7+math.Abs(x-at) {
				t.Errorf("f(%g) = %g, want %g", x, least, 7+math.Abs(x-at))
			}
			// n steps leave 5·0.618ⁿ ≤ tol.
			if most := 2 + int(math.Ceil(math.Log(5/tol)/math.Log((1+math.Sqrt(5))/2))); asked > most {
				t.Errorf("f was asked %d times for %g, want at most %d", asked, tol, most)
			}
		}
	}
}

// By hand: x − ln x is least at 1, where it is 1; cos on (2, 5) at π. A smooth minimum is flat: √ε.
func TestGoldenOnSmoothFunctions(t *testing.T) {
	x, least := Golden(0.1, 4, 1e-9, func(x float64) float64 { return x - math.Log(x) })
	if math.Abs(x-1) > 1e-7 || math.Abs(least-1) > 1e-14 {
		t.Errorf("x − ln x: %.10f at %.10f, want 1 at 1", least, x)
	}
	x, least = Golden(2, 5, 1e-9, math.Cos)
	if math.Abs(x-math.Pi) > 1e-7 || math.Abs(least+1) > 1e-14 {
		t.Errorf("cos: %.10f at %.10f, want −1 at π", least, x)
	}
}

// No tolerance and no interval end, too; what is infinite on one side is left on the other.
func TestGoldenEnds(t *testing.T) {
	if x, _ := Golden(-1, 1, 0, func(x float64) float64 { return math.Abs(x - 0.3) }); math.Abs(x-0.3) > 1e-15 {
		t.Errorf("without a tolerance: %g, want 0.3", x)
	}
	if x, f := Golden(2, 2, 1e-3, func(x float64) float64 { return x * x }); x != 2 || f != 4 {
		t.Errorf("an interval of nothing: %g at %g, want 4 at 2", f, x)
	}
	x, _ := Golden(0, 1, 1e-9, func(x float64) float64 {
		if x > 0.25 {
			return math.Inf(1)
		}
		return -x
	})
	if math.Abs(x-0.25) > 1e-8 {
		t.Errorf("beside a wall: %g, want 0.25", x)
	}
}
