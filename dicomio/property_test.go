package dicomio

import (
	"crypto/sha256"
	"fmt"
	"slices"
	"testing"
	"testing/fstest"

	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"ridgerule/dicomio/volume"
)

// anyVolume draws a small volume: any direction, spacing, tilt, rescale and values.
func anyVolume(t *rapid.T) *volume.Volume {
	mm := rapid.Float64Range(-200, 200)
	step := rapid.Float64Range(0.05, 5)
	angle := rapid.Float64Range(-3.1, 3.1)
	q := r3.NewRotation(angle.Draw(t, "first turn"), r3.Vec{X: 1, Y: 0.3})
	p := r3.NewRotation(angle.Draw(t, "second turn"), r3.Vec{Y: 1, Z: 0.5})
	turn := func(v r3.Vec) r3.Vec { return p.Rotate(q.Rotate(v)) }
	tilt := rapid.Float64Range(-1, 1).Draw(t, "tilt")
	g := volume.Grid{
		Size:   [3]int{rapid.IntRange(1, 9).Draw(t, "columns"), rapid.IntRange(1, 9).Draw(t, "rows"), rapid.IntRange(3, 12).Draw(t, "slices")},
		Origin: r3.Vec{X: mm.Draw(t, "x"), Y: mm.Draw(t, "y"), Z: mm.Draw(t, "z")},
		Step: [3]r3.Vec{r3.Scale(step.Draw(t, "column step"), turn(r3.Vec{X: 1})), r3.Scale(step.Draw(t, "row step"), turn(r3.Vec{Y: 1})),
			r3.Scale(step.Draw(t, "slice step"), turn(r3.Vec{Y: tilt, Z: 1}))},
	}
	v, err := volume.New(g)
	if err != nil {
		t.Fatal(err)
	}
	seed := rapid.Uint64().Draw(t, "values")
	for i := range v.Stored {
		seed = seed*6364136223846793005 + 1442695040888963407
		v.Stored[i] = int16(seed >> 48)
	}
	v.Rescale[0] = volume.Rescale{Slope: float64(rapid.IntRange(1, 64).Draw(t, "slope")) / 16, Intercept: float64(rapid.IntRange(-4096, 4096).Draw(t, "intercept"))}
	return v
}

// What is written is read the same, whatever the names: values bit for bit, every corner where it was, to 1e-6 mm (DS
// holds 16 characters).
func TestAnyVolumeWrittenReadsTheSame(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		v := anyVolume(rt)
		w := ctWriter{v: v, options: WriteOptions{Unsigned: rapid.Bool().Draw(rt, "unsigned")}, content: make([]byte, sha256.Size)}
		names := make([]int, v.Size[2])
		for k := range names {
			names[k] = k
		}
		names = rapid.Permutation(names).Draw(rt, "names")
		fsys := fstest.MapFS{}
		for k, name := range names {
			data, err := w.slice(k)
			if err != nil {
				t.Fatal(err)
			}
			add(fsys, fmt.Sprint(name), data)
		}
		s, got := readOnly(t, fsys)
		if got.Size != v.Size || !slices.Equal(got.Stored, v.Stored) || got.Rescale[0] != v.Rescale[0] {
			rt.Fatalf("%v %v became %v %v", v.Grid, v.Rescale, got.Grid, got.Rescale)
		}
		for corner := range 8 {
			n := v.Size
			ix := volume.Index{I: float64(corner & 1 * (n[0] - 1)), J: float64(corner >> 1 & 1 * (n[1] - 1)), K: float64(corner >> 2 * (n[2] - 1))}
			if off := r3.Norm(r3.Sub(got.Patient(ix), v.Patient(ix))); off > 1e-6 {
				rt.Fatalf("%v is %g mm off (%v)", ix, off, s.Cautions)
			}
		}
	})
}
