package solid

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// Random convex pairs against an independent minimiser: scipy 1.10.1, numpy 1.24.2, script and
// table in testdata/solid. Distances to 1e-9 mm; depths to 1e-6 mm, for the minimiser stops
// on creases.
func TestConvexPairsAgainstScipy(t *testing.T) {
	f, err := os.Open("../../testdata/solid/pairs.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	worst, worstDepth := 0.0, 0.0
	for i, row := range rows[1:] {
		a, b := params(t, row[1:10]), params(t, row[11:20])
		want := params(t, row[20:])[0]
		got := distanceOf(t, row[0], a, row[10], b)
		tol := 1e-9
		if want < 0 {
			tol = 1e-6
			worstDepth = max(worstDepth, math.Abs(got-want))
		} else {
			worst = max(worst, math.Abs(got-want))
		}
		if !(math.Abs(got-want) <= tol) {
			t.Errorf("row %d: %s–%s %.10f mm, scipy %.10f mm", i+2, row[0], row[10], got, want)
		}
	}
	if len(rows) < 200 {
		t.Errorf("%d rows, want 200", len(rows))
	}
	t.Logf("%d pairs: distances within %.2g mm, depths within %.2g mm", len(rows)-1, worst, worstDepth)
}

func params(t *testing.T, cells []string) []float64 {
	t.Helper()
	var out []float64
	for _, c := range cells {
		if c == "" {
			continue
		}
		x, err := strconv.ParseFloat(c, 64)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, x)
	}
	return out
}

func body(kind string, p []float64) Body {
	if kind == "frustum" {
		return Frustum{Base: v(p[0], p[1], p[2]), Axis: v(p[3], p[4], p[5]), Length: p[6], Radius: p[7], TipRadius: p[8]}
	}
	return Chain{Path: []r3.Vec{v(p[0], p[1], p[2]), v(p[3], p[4], p[5])}, Radii: []float64{p[6], p[7]}}
}

func distanceOf(t *testing.T, ka string, a []float64, kb string, b []float64) float64 {
	t.Helper()
	if kb != "triangle" {
		return gapBetween(t, body(ka, a), body(kb, b)).Distance
	}
	tri := Triangle{v(b[0], b[1], b[2]), v(b[3], b[4], b[5]), v(b[6], b[7], b[8])}
	s, err := body(ka, a).Shape()
	if err != nil {
		t.Fatal(err)
	}
	if s.cone != nil {
		return coneTriangle(s.cone, &tri, math.Inf(1)).Distance
	}
	return lineSearch(&s.chain[0], &tri, math.Inf(-1), math.Inf(1)).Distance
}
