package volume

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// everyCellHeld answers as held does, cell by cell and in integers without end.
func everyCellHeld(i, di int64, n, size int) bool {
	for x := range n {
		at := new(big.Int).Add(big.NewInt(i), new(big.Int).Mul(big.NewInt(int64(x)), big.NewInt(di)))
		at.Rsh(at, 32)
		if at.Sign() < 0 || at.Cmp(big.NewInt(int64(size-2))) > 0 {
			return false
		}
	}
	return true
}

// What is held is within the grid at every pixel of the row; and a row within a grid of up to 2¹⁸ voxels on a side
// is held, so that none goes the slow way without need.
func FuzzHeldRowsStayInTheGrid(f *testing.F) {
	const one = 1 << 32
	for _, c := range [][4]int64{
		{0, one, 3, 4}, {0, one, 4, 4}, {0, one - 1, 4, 4}, {2 * one, -one, 3, 4}, {2 * one, -one - 1, 3, 4}, {-1, 1, 2, 4},
		{3*one - 1, 0, 9, 4}, {3 * one, 0, 1, 4}, {0, math.MaxInt64, 2, 4}, {0, math.MinInt64, 2, 4}, {math.MinInt64, 0, 1, 4},
		{math.MaxInt64, 1 << 50, stretch, 1 << 31}, {0, 1 << 50, stretch, 1 << 31}, {0, 1 << 62, 5, 4}, {0, 0, 1, 1},
		{0, one, 2, 4}, {2 * one, -one, 2, 4}, {0, 1, stretch - 1, 4}, {2 * one, -1, stretch - 1, 4}, // just in: three pixels, or as many as a stretch has
	} {
		f.Add(c[0], c[1], uint16(c[2]), uint32(c[3]))
	}
	f.Fuzz(func(t *testing.T, i, di int64, n uint16, size uint32) {
		pixels := int(n)%stretch + 1
		got, want := held(i, di, pixels, int(size)), everyCellHeld(i, di, pixels, int(size))
		if got && !want || want && !got && size <= 1<<18 && pixels > 1 {
			t.Errorf("%d + x·%d, %d pixels, %d voxels: held %v, want %v", i, di, pixels, size, got, want)
		}
	})
}

// Wherever a row is asked for, on the grid, off it, across its borders or nowhere, step gives what At gives; on
// a volume whose memory ends with its last voxel.
func FuzzStepIsTheCheckedWay(f *testing.F) {
	v, err := New(Grid{Size: [3]int{6, 5, 4}, Step: [3]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}}})
	if err != nil {
		f.Fatal(err)
	}
	r := rand.New(rand.NewPCG(5, 6))
	for n := range v.Stored {
		v.Stored[n] = int16(r.IntN(2000))
	}
	v.Rescale = []Rescale{{Slope: 1}}
	nan, inf := math.NaN(), math.Inf(1)
	for _, c := range [][6]float64{
		{0, 0, 0, 0.1, 0.1, 0.1}, {4.9, 3.9, 2.9, 0.01, 0.01, 0.01}, {5, 4, 3, -0.2, -0.1, -0.1}, {2, 2, 2, 0, 0, 0},
		{-0.5, 1, 1, 0.1, 0, 0}, {1, 1, 1, 1e9, 0, 0}, {1, 1, 1, -1e300, 0, 0}, {nan, 1, 1, 0, 0, 0}, {1, 1, 1, inf, 0, nan}, {1e12, 1e12, -1e12, 1, 1, 1},
	} {
		f.Add(c[0], c[1], c[2], c[3], c[4], c[5])
	}
	f.Fuzz(func(t *testing.T, i, j, k, di, dj, dk float64) {
		dst := make([]float32, 40)
		v.step(dst, Index{i, j, k}, Index{di, dj, dk})
		for x, got := range dst {
			n := float64(x)
			at := Index{i + n*di, j + n*dj, k + n*dk}
			if near(at, v.Size) {
				continue // whether it is in or out hangs on the last digit
			}
			if want := v.at(at); !(math.Abs(float64(got-want)) < 0.01 || got != got && want != want) {
				t.Fatalf("pixel %d at %v is %g, want %g", x, at, got, want)
			}
		}
	})
}

// near reports whether a coordinate lies within 1e-4 of the grid's border, or is too large to tell.
func near(at Index, size [3]int) bool {
	for a, x := range [3]float64{at.I, at.J, at.K} {
		if math.Abs(x) < 1e-4 || math.Abs(x-float64(size[a]-1)) < 1e-4 {
			return true
		}
	}
	return false
}
