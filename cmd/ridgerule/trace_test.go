package main

import (
	"math"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio"
	"ridgerule/dicomio/volume"
)

// canalscan writes a block of bone with one canal as a DICOM series: lumen of 1.2 mm radius, wall
// of 0.5 mm, along y = 3·cos(π·x/40) at z = 0, on voxels of 0.5 mm.
func canalscan(ts *testscript.TestScript, _ bool, args []string) {
	v, err := volume.New(volume.Grid{
		Size: [3]int{76, 36, 32}, Origin: r3.Vec{X: -18.75, Y: -8, Z: -7.75},
		Step: [3]r3.Vec{{X: 0.5}, {Y: 0.5}, {Z: 0.5}},
	})
	ts.Check(err)
	const lumen, wall, marrow = 100, 1400, 700
	for k := range v.Size[2] {
		for j := range v.Size[1] {
			for i := range v.Size[0] {
				p := v.Patient(volume.Index{I: float64(i), J: float64(j), K: float64(k)})
				d := fromCanal(p)
				in := func(r float64) float64 { return 0.5 * math.Erfc((d-r)/0.25/math.Sqrt2) }
				grain := 20 * math.Sin(12.9*float64(i)+78.2*float64(j)+37.7*float64(k))
				v.Stored[(k*v.Size[1]+j)*v.Size[0]+i] = int16(marrow + (wall-marrow)*in(1.7) + (lumen-wall)*in(1.2) + grain)
			}
		}
	}
	ts.Check(dicomio.WriteCT(ts.MkAbs(args[0]), v, dicomio.WriteOptions{}))
}

// canalY is the canal's centre-line of [canalscan], mm.
func canalY(x float64) float64 { return 3 * math.Cos(math.Pi*x/40) }

// fromCanal returns the distance of p from the centre-line, mm.
func fromCanal(p r3.Vec) float64 {
	least := math.Inf(1)
	for x := p.X - 4; x <= p.X+4; x += 0.1 {
		least = min(least, math.Sqrt((p.X-x)*(p.X-x)+(p.Y-canalY(x))*(p.Y-canalY(x))+p.Z*p.Z))
	}
	return least
}

// ontrue holds the file's path lines against the centre-line: each point within half a voxel of it.
func ontrue(ts *testscript.TestScript, _ bool, args []string) {
	points := 0
	for line := range strings.Lines(ts.ReadFile(args[0])) {
		p, err := point(strings.Trim(line, " -[]\n"))
		if err != nil {
			continue
		}
		points++
		if d := fromCanal(p); d > 0.25 {
			ts.Fatalf("(%g, %g, %g) is %.2f mm off the canal", p.X, p.Y, p.Z, d)
		}
	}
	if points < 20 {
		ts.Fatalf("%d points", points)
	}
}

func TestPointIsThreePlainNumbers(t *testing.T) {
	p, err := point("1.5, -2,3e1")
	assert.NoError(t, err)
	assert.Equal(t, r3.Vec{X: 1.5, Y: -2, Z: 30}, p)
	for _, text := range []string{"", "1,2", "1,2,3,4", "1,2,NaN", "1,2,inf", "1,2,1e9", "1,2,x", "1;2;3"} {
		_, err := point(text)
		assert.Error(t, err, text)
	}
}
